"""A real radon survey as readings of houses: Minnesota, US EPA / State Residential Radon Surveys (1980s).

Facts of the survey: 919 homes in 85 counties (Gelman & Hill, Data Analysis Using Regression and Multilevel
Models, 2006, chapter 12), 766 of them read in the basement, 377 of those at or above the 4 pCi/L at which the
EPA advises to act.
"""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path

import numpy as np
import pytest

from inspections.models import Reading
from inspections.queries.series import building_record, building_records
from inspections.records import export_folder, load_folder
from portfolio.models import Building, Organisation
from tests.records.books import Row, Tables, read_folder, write_book

pytestmark = pytest.mark.django_db

SURVEY = Path(__file__).parents[1] / "data" / "radon_minnesota.csv"
#: The EPA's level, in Bq/m³ as 4 pCi/L of 37 Bq/m³ each.
ACT_AT = 148.0
COUNTIES = {"buildings": 919, "counties": 85, "basements": 766, "basements at or above": 377}


def survey() -> list[Row]:
    lines = [line for line in SURVEY.read_text().splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


def moment(day: str, hour: str) -> dt.datetime:
    """The survey writes 20 January 1988, 9:30 as 12088.0 and 930.0."""
    digits, time = f"{int(float(day)):06}", int(float(hour))
    return dt.datetime(1900 + int(digits[4:]), int(digits[:2]), int(digits[2:4]), time // 100, time % 100)


def as_book(homes: list[Row]) -> Tables:
    """The survey as a folder of records: a building for each home, and its reading, when it ended."""
    buildings, readings = [], []
    for home in homes:
        code = f"MN{int(float(home['idnum']))}"
        buildings.append(
            dict.fromkeys(("name", "street", "locality", "postal_code", "year_built"), "")
            | {"code": code, "region": home["county"], "country": "US", "timezone": "America/Chicago"}
        )
        stop = moment(home["stopdt"], home["stoptm"])
        hours = (stop - moment(home["startdt"], home["starttm"])).total_seconds() / 3600
        readings.append(
            dict.fromkeys(("section", "height_mm", "depth_mm", "instrument", "qualifier"), "")
            | {"building": code, "taken_at": stop.isoformat(), "quantity": "radon"}
            | {"value": home["activity"], "unit": "pCi_per_L", "inspector": "", "note": ""}
            | {"point": "basement" if float(home["floor"]) == 0 else "ground floor"}
            # Some homes have no usable start.
            | {"duration_h": f"{hours:g}" if hours > 0 else ""}
        )
    return {"buildings": buildings, "readings": readings}


@pytest.fixture
def organisation(tmp_path: Path) -> Organisation:
    load_folder(write_book(tmp_path / "survey", as_book(survey())), "survey")
    return Organisation.objects.get(slug="survey")


def test_the_surveys_facts_come_back_by_queries(organisation: Organisation) -> None:
    readings = Reading.objects.of(organisation).filter(quantity="radon", section=None)
    basements = readings.filter(point="basement")
    assert {
        "buildings": readings.values("building").distinct().count(),
        "counties": Building.objects.of(organisation).values("region").distinct().count(),
        "basements": basements.count(),
        "basements at or above": basements.filter(value__gte=ACT_AT).count(),
    } == COUNTIES
    assert set(readings.values_list("unit", flat=True)) == {"pCi_per_L"}


def test_the_analysis_gets_what_the_survey_read(organisation: Organisation) -> None:
    """Radon is of the house, in Bq/m³; its regression on the floor is the one that was published.

    Gelman & Hill (2006), section 12.3, complete pooling, from memory: 1.33 (0.03) and -0.61 (0.07) for the
    logarithm of pCi/L, residual 0.82; a reading of 0 counts as 0.1 there.
    """
    records = list(building_records(organisation))
    assert all(record.sections == () and len(record.readings) == 1 for record in records)
    assert {str(unit) for record in records for unit in record.readings.unit} == {"Bq_per_m3"}
    level = np.array([record.readings.value[0] for record in records]) / 37
    upstairs = np.array([record.readings.point[0] == "ground floor" for record in records], dtype=float)
    design = np.column_stack([np.ones_like(upstairs), upstairs])
    response = np.log(np.where(level == 0, 0.1, level))
    found, squares, *_ = np.linalg.lstsq(design, response)
    residual = np.sqrt(squares[0] / (len(response) - 2))
    errors = residual * np.sqrt(np.diag(np.linalg.inv(design.T @ design)))
    np.testing.assert_allclose([*found, *errors, residual], [1.33, -0.61, 0.03, 0.07, 0.82], atol=0.005)


def test_the_files_own_logarithms_are_of_the_readings(organisation: Organisation) -> None:
    """The package adds 0.1 pCi/L before it takes the logarithm."""
    by_home = {f"MN{int(float(home['idnum']))}": float(home["log_radon"]) for home in survey()}
    readings = Reading.objects.of(organisation).values_list("building__code", "value")
    for code, value in readings:
        assert np.log(value / 37 + 0.1) == pytest.approx(by_home[code], abs=1e-9)


def test_the_survey_leaves_as_it_came(organisation: Organisation, tmp_path: Path) -> None:
    export_folder(tmp_path / "one", organisation)
    load_folder(tmp_path / "one", "again")
    export_folder(tmp_path / "two", Organisation.objects.get(slug="again"))
    assert read_folder(tmp_path / "two") == read_folder(tmp_path / "one")
    home = Building.objects.of(organisation).get(code="MN5081")
    assert building_record(home).readings.value == pytest.approx([2.2 * 37])
