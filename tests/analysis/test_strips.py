"""Strips of a section: what is marked how, where the line begins, and what the line recovers."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from inspections.analysis.records import (
    YEAR,
    BuildingRecord,
    Coat,
    Instrument,
    SectionRecord,
    readings_from_columns,
)
from inspections.analysis.strips import Strip, section_strips

START = float((dt.date(2010, 1, 15) - dt.date(1970, 1, 1)).days)
VISITS = START + np.arange(32) * YEAR / 4
AS_OF = float(VISITS[-1] + 1)
RATE = 2.5
SEASON = 5.0


def house(
    rows: list[dict[str, object]], coats: tuple[Coat, ...] = (), **instruments: Instrument
) -> BuildingRecord:
    """One section with these readings; what a row leaves out is plain and unknown."""
    columns: dict[str, list[object]] = {}
    for row in rows:
        value = row["value"]
        plain: dict[str, object] = {
            "low": value, "high": value, "unit": "relative", "height_mm": np.nan, "depth_mm": np.nan,
            "instrument": "", "point": "", "inspector": "",
        }  # fmt: skip
        for name, cell in (plain | row).items():
            columns.setdefault(name, []).append(cell)
    section = SectionRecord(
        "S1", length_m=4.0, height_m=2.0, coats=coats, readings=readings_from_columns(columns)
    )
    return BuildingRecord("H1", (section,), instruments=instruments)


def moisture(noise: float = 0.5, **changes: object) -> list[dict[str, object]]:
    rng = np.random.default_rng(5)
    years = (VISITS - START) / YEAR
    level = 40 + RATE * years + SEASON * np.cos(2 * np.pi * VISITS / YEAR) + rng.normal(0, noise, len(VISITS))
    return [
        {"time": float(time), "quantity": "deep_moisture", "value": float(value)} | changes
        for time, value in zip(VISITS, level, strict=True)
    ]


def strip_of(building: BuildingRecord, quantity: str, **options: float) -> Strip:
    strips = section_strips(building, "S1", AS_OF, **options)
    return next(strip for strip in strips if strip.quantity == quantity)


def test_the_line_is_the_level_without_its_season() -> None:
    strip = strip_of(house(moisture()), "deep_moisture")
    assert strip.line is not None
    assert strip.season is not None
    years = (strip.line.time - START) / YEAR
    truth = 40 + RATE * years
    assert np.abs(strip.line.mean - truth).max() < 1.0
    assert ((strip.line.low <= truth) & (truth <= strip.line.high)).mean() > 0.8
    swing = strip.season.value - strip.line.mean
    assert swing.max() == pytest.approx(SEASON, abs=0.6)


def test_nothing_later_than_the_day_asked_for_is_drawn() -> None:
    strips = section_strips(house(moisture()), "S1", float(VISITS[10]))
    assert [len(strip.points) for strip in strips] == [11]


def test_the_line_begins_with_the_present_coat() -> None:
    coat = Coat(
        layer=1, kind="parge_coat", binder="portland_cement", thickness_mm=20, applied=float(VISITS[12] - 5)
    )
    strip = strip_of(house(moisture(), (coat,)), "deep_moisture")
    assert len(strip.points) == len(VISITS)
    assert strip.line is not None
    assert strip.line.time[0] == np.floor(VISITS[12])


def test_readings_beyond_the_scale_and_slips_are_marked_and_kept() -> None:
    rows = moisture(noise=0.1)
    rows[5] |= {"high": np.inf}
    rows[9] |= {"low": -np.inf}
    rows[14] |= {"value": 980.0, "low": 980.0, "high": 980.0}
    for row in rows:
        row["instrument"] = "M1"
    meter = Instrument("M1", "moisture_meter", "relative", 0.0, 100.0)
    strip = strip_of(house(rows, M1=meter), "deep_moisture")
    kinds = {float(t): str(kind) for t, kind in zip(strip.points.time, strip.points.kind, strict=True)}
    assert kinds[float(VISITS[5])] == "above"
    assert kinds[float(VISITS[9])] == "below"
    assert kinds[float(VISITS[14])] == "aside"
    assert sum(kind == "read" for kind in kinds.values()) == len(VISITS) - 3
    assert 980.0 in strip.points.value


def test_no_line_goes_beyond_what_air_can_hold() -> None:
    years = (VISITS - START) / YEAR
    rising = 80 + 3 * years + 6 * np.cos(2 * np.pi * VISITS / YEAR)
    rows = [
        {"time": float(time), "quantity": "in_wall_humidity", "unit": "percent_rh"}
        | ({"value": 97.0, "high": np.inf} if humidity > 97 else {"value": float(humidity)})
        for time, humidity in zip(VISITS, rising, strict=True)
    ]
    strip = strip_of(house(rows), "in_wall_humidity")
    assert strip.line is not None
    assert strip.season is not None
    assert strip.line.mean.max() == strip.season.value.max() == 100


def test_a_new_instrument_is_named_on_its_first_day() -> None:
    rows = moisture()
    for i, row in enumerate(rows):
        row["instrument"] = "M1" if i < 16 else "M2"
    (change,) = strip_of(house(rows), "deep_moisture").changes
    assert (change.time, change.before, change.after) == (float(VISITS[16]), "M1", "M2")


def test_scales_are_never_drawn_in_one_strip() -> None:
    rows = moisture()
    for row in rows[:16]:
        row["unit"] = "percent_wme"
    strips = section_strips(house(rows), "S1", AS_OF)
    assert [(strip.unit, len(strip.points), strip.line is None) for strip in strips] == [
        ("relative", 16, False),
        ("percent_wme", 16, True),
    ]


def test_the_affected_share_sums_a_days_areas_and_is_a_lower_bound_where_one_is_missing() -> None:
    day = float(VISITS[20])
    area = {"time": day, "quantity": "hollow_area", "unit": "m2"}
    fallen = {"time": day, "quantity": "spall_area", "unit": "m2", "value": 0.4}
    rows: list[dict[str, object]] = [
        area | {"value": 0.3, "point": "a"},
        area | {"value": 0.1, "point": "b"},
        fallen,
    ]
    rows.append(fallen | {"time": day + 90})
    strip = strip_of(house(rows), "affected_area_fraction", failure_threshold=0.2)
    assert strip.threshold == 0.2
    assert strip.points.value.tolist() == pytest.approx([0.8 / 8, 0.4 / 8])
    assert strip.points.kind.tolist() == ["read", "above"]


def test_the_threshold_is_reached_only_where_a_visit_found_it_so_under_the_present_coat() -> None:
    """Of 8 m²: 1.6 m² before the coat, then 0.4 m², 0.8 m² and 0.5 m² (after a patch)."""
    visits, areas = VISITS[:4], (1.6, 0.4, 0.8, 0.5)
    rows: list[dict[str, object]] = [
        {"time": float(time), "quantity": quantity, "value": value, "unit": "m2"}
        for time, area in zip(visits, areas, strict=True)
        for quantity, value in (("hollow_area", area), ("spall_area", 0.0))
    ]
    coat = Coat(layer=1, kind="parge_coat", binder="NHL 2", applied=float(visits[1]) - 5, thickness_mm=20)
    found = house(rows, coats=(coat,))
    assert strip_of(found, "affected_area_fraction", failure_threshold=0.10).reached == np.floor(visits[2])
    assert strip_of(found, "affected_area_fraction", failure_threshold=0.15).reached is None


def test_what_has_fallen_never_falls_in_the_line() -> None:
    rng = np.random.default_rng(2)
    rows: list[dict[str, object]] = [
        {
            "time": float(t),
            "quantity": "spall_area",
            "unit": "m2",
            "value": max(0.0, 0.05 * i + rng.normal(0, 0.2)),
        }
        for i, t in enumerate(VISITS)
    ]
    line = strip_of(house(rows), "spall_area").line
    assert line is not None
    assert (np.diff(line.mean) >= 0).all()
    assert (line.low <= line.mean).all()
    assert (line.mean <= line.high).all()


def test_the_dew_point_margin_says_when_the_face_was_assumed() -> None:
    # ASHRAE Handbook of Fundamentals (2017), by PsychroLib 2.5.0: the dew point at 20 °C and 50 % is 9.27 °C.
    air = [("air_temperature", 20.0, "degC"), ("air_humidity", 50.0, "percent_rh")]
    face = ("surface_temperature", 12.0, "degC")
    rows = [
        {"time": float(VISITS[3]), "quantity": name, "value": value, "unit": unit}
        for name, value, unit in [*air, face]
    ]
    strip = strip_of(house(rows), "dew_point_margin")
    assert strip.points.value[0] == pytest.approx(12.0 - 9.27, abs=0.03)
    assert strip.assumed == ""
    assert strip_of(house(rows[:2]), "dew_point_margin").assumed != ""


def test_a_section_without_readings_has_no_strips() -> None:
    assert section_strips(BuildingRecord("H1", (SectionRecord("S1"),)), "S1", AS_OF) == ()


def test_strips_stand_in_the_order_of_the_page() -> None:
    read = {
        "timber_moisture": "percent_wme",
        "spall_area": "m2",
        "surface_moisture": "relative",
        "air_humidity": "percent_rh",
        "in_wall_humidity": "percent_rh",
    }
    rows: list[dict[str, object]] = [
        {"time": float(VISITS[i]), "quantity": name, "value": 1.0, "unit": unit}
        for i in range(3)
        for name, unit in read.items()
    ]
    order = [strip.quantity for strip in section_strips(house(rows), "S1", AS_OF)]
    assert order[:4] == ["surface_moisture", "in_wall_humidity", "spall_area", "affected_area_fraction"]
    assert order[4:] == ["air_humidity", "timber_moisture"]
