"""What was seen: an inspector's rounds with ordinary instruments."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inspections.analysis.records import YEAR
from tests.simulation.blind.bucket import Climate, Course, saturation
from tests.simulation.blind.plan import KITS, STEP_DAYS, FloatArray, House, Plan, Wall
from tests.simulation.book import Book, Row, iso_day

HEIGHTS = (200, 900, 1600)
#: How much a face meter sees of the water deeper in: it reads through a thin coat.
SEES_THROUGH = 0.37
#: How much of the wall's water is met above the ground line, beside 1 below it.
ABOVE_GROUND = 0.4
#: A hygrometer's end, % RH.
RH_END = 98.0
#: A slip of the pen by a factor of ten, per meter reading.
SLIP = 0.0007
#: Smallest hollow area that is found, m².
HOLLOW_LIMIT = 0.02
SQUARE_FOOT = 0.3048**2


@dataclass(slots=True)
class Meter:
    """A moisture meter as one house's rounds use it."""

    code: str
    scale: str
    end: float
    step: float
    gain: float
    shift: float


def write_rounds(rng: np.random.Generator, plan: Plan, climate: Climate, course: Course, book: Book) -> None:
    """Visit every house and add instruments and readings to the book."""
    book.add("instruments", code="HY", kind="hygrometer", scale="percent_rh", minimum=5, maximum=RH_END)
    book.tables["instruments"][-1] |= {"resolution": 0.1, "repeatability": 2}
    book.add("instruments", code="TH", kind="thermometer", scale="degC", minimum=-20, maximum=60)
    book.tables["instruments"][-1] |= {"resolution": 0.1, "repeatability": 0.5}
    for number, house in enumerate(plan.houses):
        meters = _meters(rng, house)
        for meter in meters:
            book.add("instruments", code=meter.code, kind="moisture_meter", scale=meter.scale, minimum=0)
            book.tables["instruments"][-1] |= {
                "maximum": meter.end,
                "resolution": meter.step,
                "repeatability": 3 * meter.gain,
            }
        days = _visit_days(rng, plan, house)
        for index, wall in enumerate(plan.walls):
            if wall.house == number:
                book.tables["readings"] += _section_rows(rng, plan, climate, course, index, days, meters)


def _meters(rng: np.random.Generator, house: House) -> list[Meter]:
    meters = []
    for code in house.instruments:
        if rng.random() < 0.12:
            meters.append(Meter(code, "percent_wme", 40.0, 0.1, 0.35, 3.0 + rng.normal(0, 0.7)))
        else:
            gain = float(np.exp(rng.normal(0, 0.1)))
            meters.append(Meter(code, "relative", 100.0, 1.0, gain, rng.normal(0, 1.5)))
    return meters


def _visit_days(rng: np.random.Generator, plan: Plan, house: House) -> FloatArray:
    gap = YEAR if plan.yearly else YEAR / 2
    new_year = np.floor(plan.first / YEAR) * YEAR
    days = new_year + YEAR * house.visit_phase + gap * np.arange((plan.last - new_year) / gap)
    days = np.floor(days + rng.normal(0, 10, len(days)))
    return days[(rng.random(len(days)) > 0.04) & (days < plan.last) & (days > plan.first)]


def _section_rows(
    rng: np.random.Generator,
    plan: Plan,
    climate: Climate,
    course: Course,
    index: int,
    days: FloatArray,
    meters: list[Meter],
) -> list[Row]:
    wall = plan.walls[index]
    house = plan.houses[wall.house]
    days = days[rng.random(len(days)) > 0.03]
    at = ((days - climate.day[0]) / STEP_DAYS).astype(int)
    changed = (days >= house.changed_on).astype(int)
    kit = KITS[house.kit]
    columns = _air(rng, house, wall, climate, at, "surface_temperature" in kit, course.surface_t[index, at])
    rh = next(c for c in columns if c[0] == "air_humidity")[1]
    columns += _areas(rng, wall, course, index, at, kit, house.imperial)
    shown = course.store[index, at]
    face = _face(rng, wall, course, index, days, at, rh)
    offset, gain = rng.uniform(8, 22), 55 * np.exp(rng.normal(0, 0.15))
    stamps = [
        f"{iso_day(day)}T{9 + int(wall.code[1:]) // 6:02d}:{int(wall.code[1:]) % 6 * 10:02d}:00"
        for day in days
    ]
    rows: list[Row] = []
    for k, height in enumerate(HEIGHTS):
        value = offset + gain * face[k] + rng.normal(0, 1.8, len(days))
        rows += _meter_rows(rng, "surface_moisture", value, changed, meters, stamps, height, 0)
    if "deep" in kit:
        value = offset + 0.9 * gain * (0.1 + 0.9 * shown) + rng.normal(0, 3.5, len(days))
        rows += _meter_rows(rng, "deep_moisture", value, changed, meters, stamps, 900, 80)
    if "in_wall" in kit:
        rows += _in_wall(rng, shown, rh, stamps)
    for quantity, values, unit in columns:
        for stamp, value in zip(stamps, values.tolist(), strict=True):
            if np.isfinite(value):
                instrument = {"percent_rh": "HY", "degC": "TH", "degF": "TH"}.get(unit, "")
                rows.append(
                    {
                        "taken_at": stamp,
                        "quantity": quantity,
                        "value": value,
                        "unit": unit,
                        "instrument": instrument,
                    }
                )
    who = "KM" if wall.house % 3 else "RT"
    for row in rows:
        row["building"], row["section"], row["inspector"] = house.code, wall.code, who
    return rows


def _face(
    rng: np.random.Generator,
    wall: Wall,
    course: Course,
    index: int,
    days: FloatArray,
    at: np.ndarray,
    rh: FloatArray,
) -> FloatArray:
    """Wetness of the face at the three heights, shape (3, visits)."""
    store = course.store[index, at]
    season = wall.face_swing * np.cos(2 * np.pi * (days - wall.face_peak) / YEAR)
    sees_store = SEES_THROUGH * np.where(course.drained[index, at], 0.1, 1.0)
    water = (sees_store + 0.65 * course.capillary[index, at]) * store
    room = (
        0.5 * course.film[index, at]
        + 0.18 * course.fresh[index, at]
        + wall.salt * np.clip((rh - 55) / 30, 0, 1.2)
        + season
        + rng.normal(0, 0.02, len(at))
    )
    grounded = np.array(HEIGHTS) < 1000 * wall.below_grade_m
    face = room + np.where(grounded, [1.1, 1.0, 0.9], ABOVE_GROUND)[:, None] * water
    face[wall.leak_height] += 0.45 * course.leaking[index, at] * (0.4 + 0.6 * course.capillary[index, at])
    return face


def _meter_rows(
    rng: np.random.Generator,
    quantity: str,
    value: FloatArray,
    changed: np.ndarray,
    meters: list[Meter],
    stamps: list[str],
    height: int,
    depth: int,
) -> list[Row]:
    rows: list[Row] = []
    missed, slipped = rng.random(len(stamps)) < 0.03, rng.random(len(stamps)) < SLIP
    for i, stamp in enumerate(stamps):
        if missed[i]:
            continue
        meter = meters[min(changed[i], len(meters) - 1)]
        seen = max(meter.gain * value[i] + meter.shift, 0.0)
        over = seen > meter.end
        seen = meter.end if over else round(round(seen / meter.step) * meter.step, 1)
        row: Row = {
            "taken_at": stamp,
            "quantity": quantity,
            "value": seen * (10 if slipped[i] else 1),
            "unit": meter.scale,
            "height_mm": height,
            "depth_mm": depth,
            "instrument": meter.code,
        }
        if over:
            row["qualifier"] = ">"
        rows.append(row)
    return rows


def _in_wall(rng: np.random.Generator, store: FloatArray, rh: FloatArray, stamps: list[str]) -> list[Row]:
    """Relative humidity in a hole of 80 mm: near its end in any wall that is more than damp."""
    value = rh + (99.5 - rh) * (1 - np.exp(-store / 0.16)) + rng.normal(0, 1.5, len(stamps))
    rows: list[Row] = []
    for stamp, seen in zip(stamps, value.tolist(), strict=True):
        row: Row = {
            "taken_at": stamp,
            "quantity": "in_wall_humidity",
            "value": round(min(seen, RH_END), 1),
            "unit": "percent_rh",
            "height_mm": 900,
            "depth_mm": 80,
            "instrument": "HY",
        }
        if seen > RH_END:
            row["qualifier"] = ">"
        rows.append(row)
    return rows


Column = tuple[str, FloatArray, str]


def _air(
    rng: np.random.Generator,
    house: House,
    wall: Wall,
    climate: Climate,
    at: np.ndarray,
    with_surface: bool,
    surface_t: FloatArray,
) -> list[Column]:
    """The room as it was on the day, a little off the fortnight's mean."""
    room_t, room_p = climate.room_t[wall.house, at], climate.room_p[wall.house, at]
    air_t = room_t + rng.normal(0, 0.6, len(at))
    rh = np.clip(100 * room_p / saturation(room_t) + rng.normal(0, 2.5, len(at)), 15, 97)
    columns: list[Column] = [_temperature("air_temperature", air_t, house.imperial)]
    columns.append(("air_humidity", np.round(rh, 0), "percent_rh"))
    if with_surface:
        seen = surface_t + 0.5 * (air_t - room_t) + rng.normal(0, 0.4, len(at))
        columns.append(_temperature("surface_temperature", seen, house.imperial))
    return columns


def _temperature(quantity: str, value: FloatArray, imperial: bool) -> Column:
    if imperial:
        return quantity, np.round(value * 1.8 + 32, 1), "degF"
    return quantity, np.round(value, 1), "degC"


def _areas(
    rng: np.random.Generator,
    wall: Wall,
    course: Course,
    index: int,
    at: np.ndarray,
    kit: frozenset[str],
    imperial: bool,
) -> list[Column]:
    """Hollow by the hammer, fallen by the tape, salt by eye, soft mortar where the coat is off."""
    count = len(at)
    hollow = (course.hollow_water + course.hollow_wear)[index, at] * wall.area_m2
    fallen = course.fallen[index, at] * wall.area_m2
    seen = hollow * np.exp(rng.normal(0, 0.2, count)) + rng.normal(0, 0.01, count)
    columns = [_area("spall_area", fallen * np.exp(rng.normal(0, 0.06, count)), imperial)]
    if "hollow" in kit:
        columns.append(_area("hollow_area", np.where(seen > HOLLOW_LIMIT, seen, 0), imperial))
    if "salt" in kit:
        salt = wall.area_m2 * np.clip(wall.salt + 0.05 * course.capillary[index, at], 0, 0.6)
        columns.append(_area("salt_area", 0.3 * salt * np.exp(rng.normal(0, 0.4, count)), imperial))
    if "mortar" in kit:
        soft = np.round(course.soft_mm[index, at] + np.abs(rng.normal(0, 1.5, count)), 0)
        columns.append(("mortar_soft_depth", np.where(course.fallen[index, at] > 0.02, soft, np.nan), "mm"))
    return columns


def _area(quantity: str, value: FloatArray, imperial: bool) -> Column:
    if imperial:
        return quantity, np.round(value / SQUARE_FOOT, 1), "ft2"
    return quantity, np.round(value, 2), "m2"
