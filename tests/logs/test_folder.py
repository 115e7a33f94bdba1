"""What loggers recorded, in and out by logs.csv, and corrected beside its history."""

from __future__ import annotations

from pathlib import Path

import pytest

from inspections.models import LogSeries, LogValue
from inspections.records import RecordsRefused, export_folder, load_folder
from portfolio.models import Change, Organisation
from tests.records.books import Row, Tables, good_book, read_folder, write_book
from tests.records.state import everything

pytestmark = pytest.mark.django_db

HEADER = "building,section,quantity,unit,height_mm,depth_mm,instrument,point,taken_at,value"


def logged(*lines: str) -> list[Row]:
    return [dict(zip(HEADER.split(","), line.split(","), strict=True)) for line in lines]


@pytest.fixture
def tables() -> Tables:
    """The good book with three series: of the house, and of a wall at two heights."""
    return good_book() | {
        "logs": logged(
            "K1,,air_humidity,percent_rh,,,HY,,2016-03-27T01:00:00,61.5",
            "K1,,air_humidity,percent_rh,,,HY,,2016-03-27T03:00:00,62",
            "K1,W1,in_wall_temperature,degF,900,80,,left,2016-01-11T08:30:15.5Z,51.1",
            "K1,W1,in_wall_temperature,degF,200,80,,left,2016-01-11T08:30:00Z,50.9",
            "K1,W1,in_wall_temperature,degF,200,80,,left,2016-01-11T08:40:00Z,51",
        )
    }


@pytest.fixture
def folder(tmp_path: Path, tables: Tables) -> Path:
    return write_book(tmp_path / "book", tables)


def refused(folder: Path) -> str:
    before = everything()
    with pytest.raises(RecordsRefused) as refusal:
        load_folder(folder, "larch-row")
    assert everything() == before
    return str(refusal.value)


def test_each_place_has_its_series(folder: Path) -> None:
    report = load_folder(folder, "larch-row")
    assert report.files["logs"].new == 5
    assert LogSeries.objects.count() == 3
    low = LogSeries.objects.get(height_mm=200)
    assert (low.section.code, low.unit, low.point, low.source) == ("W1", "degF", "left", "book/logs.csv")
    assert list(low.values.values_list("value", flat=True)) == [50.9, 51.0]


def test_a_time_without_offset_is_on_the_buildings_clock(folder: Path) -> None:
    load_folder(folder, "larch-row")
    hours = LogValue.objects.filter(series__quantity="air_humidity").values_list("at__hour", flat=True)
    assert list(hours) == [0, 1]  # an hour apart: the clocks skipped one


def test_export_load_export_gives_the_same_bytes(folder: Path, tmp_path: Path) -> None:
    load_folder(folder, "larch-row")
    export_folder(tmp_path / "one", Organisation.objects.get(slug="larch-row"))
    load_folder(tmp_path / "one", "mill-lane")
    export_folder(tmp_path / "two", Organisation.objects.get(slug="mill-lane"))
    assert read_folder(tmp_path / "two") == read_folder(tmp_path / "one")
    assert (tmp_path / "one" / "logs.csv").read_text().splitlines() == [
        HEADER,
        "K1,,air_humidity,percent_rh,,,HY,,2016-03-27T01:00:00+01:00,61.5",
        "K1,,air_humidity,percent_rh,,,HY,,2016-03-27T03:00:00+02:00,62",
        "K1,W1,in_wall_temperature,degF,200,80,,left,2016-01-11T09:30:00+01:00,50.9",
        "K1,W1,in_wall_temperature,degF,200,80,,left,2016-01-11T09:40:00+01:00,51",
        "K1,W1,in_wall_temperature,degF,900,80,,left,2016-01-11T09:30:15.500000+01:00,51.1",
    ]


def test_the_same_folder_again_changes_nothing(folder: Path) -> None:
    load_folder(folder, "larch-row")
    before = everything(except_loads=True)
    report = load_folder(folder, "larch-row")
    assert everything(except_loads=True) == before
    assert (report.files["logs"].new, report.files["logs"].unchanged) == (0, 5)


def test_a_corrected_value_leaves_its_old_one_in_the_history(folder: Path, tables: Tables) -> None:
    load_folder(folder, "larch-row")
    tables["logs"][4]["value"] = "52"
    report = load_folder(write_book(folder, tables), "larch-row")
    assert (report.files["logs"].changed, report.files["logs"].unchanged) == (1, 4)
    change = Change.objects.get()
    series = LogSeries.objects.get(height_mm=200)
    assert (change.model, change.record_id, change.reason) == ("logseries", series.pk, "load of book")
    assert change.fields == {"value at 2016-01-11T08:40:00Z": [51.0, 52.0]}
    assert series.revision == 2
    assert list(series.values.values_list("value", flat=True)) == [50.9, 52.0]


def test_a_unit_is_mended_with_the_whole_series_only(folder: Path, tables: Tables) -> None:
    load_folder(folder, "larch-row")
    for row in tables["logs"][3:]:
        row["unit"] = "degC"
    half = write_book(folder / "half", {"logs": tables["logs"][3:4]})
    assert refused(half) == (
        "logs.csv:2: unit: the series stands in degF, with 1 values that are not in this file; give degF, or "
        "mend the unit with all of the series' values"
    )
    load_folder(write_book(folder, tables), "larch-row")
    assert LogSeries.objects.get(height_mm=200).unit == "degC"
    assert Change.objects.get().fields["unit"] == ["degF", "degC"]


@pytest.mark.parametrize(
    ("line", "column", "cell", "message"),
    [
        (4, "taken_at", "2016-01-11T08:30Z", "taken_at: the same series and moment as line 5; keep one"),
        (4, "unit", "degC", "unit: line 5 has the same series in degF; a series has one unit"),
        (0, "unit", "degC", "unit: air_humidity is not read in 'degC'; write one of: percent_rh"),
        (0, "value", "", "value: is missing"),
        (0, "value", "1,5", "value: decimal comma: write 1.5"),
        (0, "taken_at", "2016-03-27T02:30", "taken_at: '2016-03-27T02:30' does not exist in Europe/Brussels"),
        (0, "section", "W9", "section: no section 'W9' of building 'K1'"),
        (0, "instrument", "M9", "instrument: no instrument 'M9'"),
    ],
)
def test_bad_rows_are_named(
    folder: Path, tables: Tables, line: int, column: str, cell: str, message: str
) -> None:
    tables["logs"][line][column] = cell
    assert f"logs.csv:{line + 2}: {message}" in refused(write_book(folder, tables))


def test_what_was_voided_stays_behind(folder: Path, tmp_path: Path) -> None:
    load_folder(folder, "larch-row")
    organisation = Organisation.objects.get(slug="larch-row")
    LogSeries.objects.filter(quantity="air_humidity").update(voided_at=organisation.entered_at)
    export_folder(tmp_path / "one", organisation)
    assert "air_humidity" not in (tmp_path / "one" / "logs.csv").read_text()


def test_an_instrument_that_only_logged_is_exported_though_voided(tmp_path: Path, tables: Tables) -> None:
    tables["readings"] = [row | {"instrument": ""} for row in tables["readings"]]
    load_folder(write_book(tmp_path / "book", tables), "larch-row")
    organisation = Organisation.objects.get(slug="larch-row")
    organisation.instruments.update(voided_at=organisation.entered_at)
    export_folder(tmp_path / "one", organisation)
    load_folder(tmp_path / "one", "mill-lane")
    assert [i.code for i in Organisation.objects.get(slug="mill-lane").instruments.all()] == ["HY"]
