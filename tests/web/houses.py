"""An invented house with walls, coats, readings and a stored verdict, for the tests of pages."""

from __future__ import annotations

import copy
import datetime as dt
import math
from dataclasses import dataclass
from typing import Any

from inspections.models import (
    Allocation,
    Assessment,
    Flag,
    Instrument,
    Plan,
    Reading,
    Trial,
    Visit,
)
from portfolio.models import Building, Event, Organisation, Section, Treatment

TODAY = dt.date(2025, 2, 10)
FIRST_YEAR, LAST_YEAR = 2017, 2024

RESULT: dict[str, Any] = {
    "building": "K14",
    "section": "N1",
    "as_of": "2025-01-20",
    "verdict": "trapped_water",
    "probability": {
        "trapped_water": 0.93,
        "water_entry": 0.02,
        "condensation": 0.01,
        "surface_wear": 0.01,
        "drying_out": 0.01,
        "stable": 0.02,
    },
    "log_odds": {"against": "water_entry", "prior": -1.2, "total": 3.84},
    "since": "2019-04-01",
    "evidence": [
        {"quantity": "surface_moisture", "weight": -0.26, "statement": "The face was damp on two visits."},
        {"quantity": "deep_moisture", "weight": 3.1, "statement": "Deep moisture rose 4.1 a year."},
        {"quantity": "hollow_area", "weight": 2.2, "statement": "Hollow area grew to 1.2 m²."},
    ],
    "trends": {
        "hollow_area": {
            "rate_per_year": 0.3,
            "low": 0.2,
            "high": 0.4,
            "p_value": 0.0004,
            "readings": 22,
            "first": "2017-01-15",
            "last": "2024-07-15",
            "unit": "m2",
            "method": "isotonic regression",
        },
        "surface_moisture": {
            "rate_per_year": None,
            "low": None,
            "high": None,
            "p_value": None,
            "readings": 3,
            "first": "2017-01-15",
            "last": "2024-07-15",
            "unit": "relative",
            "method": "too few visits",
        },
    },
    "forecast": {
        "quantity": "affected_area_fraction",
        "threshold": 0.10,
        "expected": "2028-02-01",
        "early": "2027-01-15",
        "late": None,
    },
    "advice": [{"quantity": "in_wall_humidity", "reason": "would tell held water from a dry wall"}],
    "next_inspection": "2025-03-03",
}


def result(verdict: str, **changes: Any) -> dict[str, Any]:
    """A stored result with another verdict, its probability the largest."""
    made = copy.deepcopy(RESULT) | {"verdict": verdict}
    if verdict != "insufficient_data":
        made["probability"]["trapped_water"], made["probability"][verdict] = (
            made["probability"][verdict],
            made["probability"]["trapped_water"],
        )
        made["log_odds"]["against"] = "stable" if verdict != "stable" else "water_entry"
    return made | changes


@dataclass(frozen=True)
class Kiln:
    """14 Kiln Row and what was made for it."""

    building: Building
    wet: Section
    quiet: Section
    bare: Section


def kiln_row(organisation: Organisation, code: str = "K14", name: str = "14 Kiln Row") -> Kiln:
    """A house of three walls: one holding water with a flag, one stable, one with too few readings."""
    building = Building.objects.create(
        organisation=organisation, code=code, name=name, locality="Harrow Weir", year_built=1890
    )
    wet = _section(building, "N1", "north", 4.0, 1.4)
    quiet = _section(building, "E1", "E", 3.0, 1.2)
    bare = _section(building, "S1", "South wall", 2.5, 1.0)
    _coat(wet, "portland_cement", dt.date(2016, 5, 1))
    _coat(quiet, "NHL 2", dt.date(2015, 5, 1))
    _events(building, wet)
    _readings(organisation, building, (wet, quiet))
    _assess(wet, RESULT)
    _assess(quiet, result("stable", forecast=None, advice=[], since=None))
    _assess(bare, result("insufficient_data", trends={}, evidence=[], forecast=None))
    Flag.objects.create(section=wet, verdict="trapped_water", opened_on=dt.date(2024, 5, 4))
    Plan.objects.create(building=building, section=wet, due_on=dt.date(2025, 3, 3), reason="flag")
    Plan.objects.create(building=building, section=quiet, due_on=dt.date(2025, 1, 31), reason="policy")
    return Kiln(building, wet, quiet, bare)


def trial(organisation: Organisation, sections: tuple[Section, ...], allocated_by: str, code: str) -> Trial:
    """A trial of two arms, dealt out over the sections in turn."""
    made = Trial.objects.create(
        organisation=organisation,
        code=code,
        question="Does lime last longer than cement?",
        outcome="affected_area_rate",
        started_on=dt.date(2018, 4, 1),
    )
    for i, section in enumerate(sections):
        arm = "cement" if i % 2 else "lime"
        Allocation.objects.create(trial=made, section=section, arm=arm, allocated_by=allocated_by)
    return made


def _section(building: Building, code: str, wall: str, length: float, below: float) -> Section:
    return Section.objects.create(
        building=building,
        code=code,
        wall=wall,
        start_m=0.0,
        length_m=length,
        height_m=2.0,
        below_grade_m=below,
        substrate="rubble_stone",
        bedding_mortar="lime",
    )


def _coat(section: Section, binder: str, applied_on: dt.date) -> None:
    Treatment.objects.create(
        section=section, layer=1, kind="parge_coat", binder=binder, thickness_mm=20, applied_on=applied_on
    )


def _events(building: Building, wet: Section) -> None:
    Event.objects.create(building=building, section=wet, happened_on=dt.date(2018, 6, 1), kind="source_check")
    Event.objects.create(building=building, happened_on=dt.date(2020, 9, 9), kind="flood", note="<b>Sump</b>")


def _readings(organisation: Organisation, building: Building, sections: tuple[Section, ...]) -> None:
    """Twice a year: face and deep moisture with a season, hollow and fallen area, the room's air."""
    meter, _ = Instrument.objects.get_or_create(
        organisation=organisation,
        code="M1",
        defaults={"kind": "moisture_meter", "scale": "relative", "minimum": 0, "maximum": 100},
    )
    rows = []
    for year in range(FIRST_YEAR, LAST_YEAR + 1):
        for month in (1, 7):
            day = dt.date(year, month, 15)
            visit = Visit.objects.create(building=building, day=day, inspector="MB")
            moment = dt.datetime(year, month, 15, 10, tzinfo=dt.UTC)
            season = 6 * math.cos(2 * math.pi * (month - 1) / 12)
            age = year - FIRST_YEAR
            shared = {"building": building, "visit": visit, "taken_at": moment}
            for section in sections:
                rows += [
                    _reading("surface_moisture", 30 + season, section, shared, meter, height_mm=300),
                    _reading("deep_moisture", 40 + 4 * age + season, section, shared, meter, depth_mm=80),
                    _reading("hollow_area", 0.15 * age, section, shared),
                    _reading("spall_area", 0.02 * age, section, shared),
                    _reading("air_temperature", 14.0, section, shared),
                    _reading("air_humidity", 62.0, section, shared),
                    _reading("surface_temperature", 12.0, section, shared),
                ]
    last = rows[-1].visit
    radon = {"building": building, "visit": last, "taken_at": rows[-1].taken_at}
    rows.append(_reading("radon", 111.0, None, radon))
    Reading.objects.bulk_create(rows)


_UNITS = {
    "surface_moisture": "relative",
    "deep_moisture": "relative",
    "hollow_area": "m2",
    "spall_area": "m2",
    "air_temperature": "degC",
    "surface_temperature": "degC",
    "air_humidity": "percent_rh",
    "radon": "Bq_per_m3",
}


def _reading(
    quantity: str,
    value: float,
    section: Section | None,
    shared: dict[str, Any],
    instrument: Instrument | None = None,
    **place: float,
) -> Reading:
    return Reading(
        quantity=quantity,
        value=value,
        entered_value=str(value),
        unit=_UNITS[quantity],
        section=section,
        instrument=instrument,
        **shared,
        **place,
    )


def _assess(section: Section, stored: dict[str, Any]) -> Assessment:
    return Assessment.objects.create(
        section=section,
        as_of=dt.date(2025, 1, 20),
        model_version="2026.1",
        verdict=stored["verdict"],
        trapped_probability=stored["probability"]["trapped_water"],
        next_inspection=dt.date(2025, 3, 3),
        result=stored,
    )
