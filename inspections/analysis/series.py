"""From readings to one level a visit: slips set aside, heights reconciled, steps of new meters taken out."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from inspections.analysis.records import (
    CANONICAL_UNIT,
    BuildingRecord,
    FloatArray,
    Instrument,
    Readings,
    no_readings,
)

#: Quantities read with a moisture meter on its own scale.
MOISTURE = ("surface_moisture", "deep_moisture")
#: Quantities that are sums over a day's places rather than a level of the wall.
AREAS = ("hollow_area", "spall_area", "salt_area")

#: A slip of the decimal point moves a value tenfold; anything within this factor of ten times, or a tenth of,
#: its neighbours is taken for one. Common practice.
SLIP_FACTOR = 1.7
#: Fewer readings than this in a series give no ground to call one of them a slip.
SLIP_MINIMUM = 5
#: Visits on either side of a change of instrument that are compared: two years of half-yearly visits, so that
#: both sides hold every season.
STEP_VISITS = 4


@dataclass(frozen=True, slots=True)
class Level:
    """One level a day: ``time`` (n,) in days and the bounds ``low``, ``high`` (n,), equal where exact.

    ``meter`` names the instrument of each day. ``height_slope`` is the change per metre of height, NaN where
    heights do not differ. ``unit`` is the canonical unit or the meter's scale.
    """

    time: FloatArray
    low: FloatArray
    high: FloatArray
    meter: npt.NDArray[np.str_]
    unit: str
    height_slope: float = np.nan
    step_error: float = 0.0

    def __len__(self) -> int:
        return len(self.time)

    @property
    def value(self) -> FloatArray:
        """The finite bound of each day: the reading itself where exact. For drawing and ordering only."""
        return np.where(np.isfinite(self.low), self.low, self.high)

    def since(self, start: float) -> Level:
        """The days on or after ``start``."""
        keep = self.time >= start
        return replace(
            self, time=self.time[keep], low=self.low[keep], high=self.high[keep], meter=self.meter[keep]
        )


@dataclass(frozen=True, slots=True)
class Step:
    """A change of instrument in a building, and how far the readings jumped with it."""

    quantity: str
    unit: str
    time: float
    before: str
    after: str
    size: float
    error: float
    sections: int


@dataclass(frozen=True, slots=True)
class PreparedBuilding:
    """A house's record as levels by section and quantity, with what was set aside and stepped out."""

    record: BuildingRecord
    levels: dict[str, dict[str, Level]]
    kept: dict[str, Readings]
    aside: dict[str, Readings]
    steps: tuple[Step, ...] = field(default=())


def prepare(building: BuildingRecord) -> PreparedBuilding:
    """Clean a house's record and reduce it to levels, keyed by section; the house itself is ``""``."""
    everywhere = {section.code: section.readings for section in building.sections}
    everywhere[""] = building.readings
    kept, aside, levels = {}, {}, {}
    for code, readings in everywhere.items():
        good = ~slips(readings, building.instruments)
        kept[code], aside[code] = readings.where(good), readings.where(~good)
        levels[code] = {name: level_of(kept[code].of(name), name) for name in np.unique(kept[code].quantity)}
    steps = []
    for quantity in MOISTURE:
        found = instrument_steps(
            quantity, {code: own[quantity] for code, own in levels.items() if quantity in own}
        )
        steps += found
        for own in levels.values():
            if quantity in own:
                own[quantity] = without_steps(own[quantity], found)
    return PreparedBuilding(building, levels, kept, aside, tuple(steps))


# Setting aside --------------------------------------------------------------------------------------------


def slips(readings: Readings, instruments: dict[str, Instrument]) -> npt.NDArray[np.bool_]:
    """Which readings to set aside, shape (n,): beyond their instrument's range, or a factor of ten off."""
    wrong = _beyond_range(readings, instruments)
    for quantity in np.unique(readings.quantity):
        for unit in np.unique(readings.unit[readings.quantity == quantity]):
            own = np.flatnonzero((readings.quantity == quantity) & (readings.unit == unit) & ~wrong)
            if "temperature" not in quantity:
                wrong[own[_tenfold(readings.value[own], cumulative=quantity in AREAS)]] = True
    return wrong


def _beyond_range(readings: Readings, instruments: dict[str, Instrument]) -> npt.NDArray[np.bool_]:
    wrong = np.zeros(len(readings), dtype=bool)
    for code in np.unique(readings.instrument):
        instrument = instruments.get(code)
        if instrument is None:
            continue
        own = (readings.instrument == code) & (readings.low == readings.high)
        for unit in np.unique(readings.unit[own]):
            low, high = range_in(instrument, unit)
            mine = own & (readings.unit == unit)
            wrong |= mine & ((readings.value < low) | (readings.value > high))
    return wrong


def range_in(instrument: Instrument, unit: str) -> tuple[float, float]:
    """The instrument's range in ``unit``, infinite where unknown or where the scale says nothing of it."""
    low, high = instrument.minimum, instrument.maximum
    if instrument.scale == "degF" and unit == "degC":
        low, high = (low - 32) / 1.8, (high - 32) / 1.8
    elif instrument.scale != unit:
        low = high = np.nan
    return (low if low == low else -np.inf), (high if high == high else np.inf)


def _tenfold(value: FloatArray, *, cumulative: bool) -> npt.NDArray[np.bool_]:
    """Which values lie about ten times above or below the middle of their neighbours in time."""
    n = len(value)
    wrong = np.zeros(n, dtype=bool)
    if n < SLIP_MINIMUM:
        return wrong
    size = np.abs(value)
    middle = _middle_of_neighbours(size)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.abs(np.log(size / middle))
    wrong[:] = np.abs(ratio - np.log(10)) < np.log(SLIP_FACTOR)
    if cumulative:
        # An area that grows may well be ten times its past; only one that others contradict later is a slip.
        later = np.array([size[i + 1 : i + 4].max(initial=-1.0) for i in range(n)])
        wrong &= (later >= 0) & (later < size / 3)
    return wrong


def _middle_of_neighbours(size: FloatArray, reach: int = 3) -> FloatArray:
    """Median (n,) of up to ``reach`` values on either side of each, itself left out."""
    padded = np.pad(size, reach, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
    ordered = np.sort(np.delete(windows, reach, axis=1), axis=1)
    count = np.isfinite(ordered).sum(axis=1)
    row = np.arange(len(size))
    return np.asarray((ordered[row, (count - 1) // 2] + ordered[row, count // 2]) / 2)


# One level a visit ----------------------------------------------------------------------------------------


def level_of(readings: Readings, quantity: str) -> Level:
    """The level of one quantity, one value a day, in the latest scale that it was read in.

    Areas of a day are summed. Other quantities follow an additive model, level of the day plus an effect of
    the place (height, depth and point), so that a height missed on one day does not move that day's level.
    """
    readings = readings.where(readings.unit == readings.unit[-1])
    unit = str(readings.unit[-1])
    if quantity in AREAS:
        return _summed(readings, unit)
    day, day_index = _days(readings)
    places, place = _places(readings)
    effect = _place_effects(readings.value, day_index, place, len(day), len(places))
    count = np.bincount(day_index, minlength=len(day))
    low = _mean_by(readings.low - effect[place], day_index, count)
    high = _mean_by(readings.high - effect[place], day_index, count)
    first = np.searchsorted(day_index, np.arange(len(day)))
    return Level(day, low, high, readings.instrument[first], unit, _slope_with_height(places, effect))


def _days(readings: Readings) -> tuple[FloatArray, npt.NDArray[np.intp]]:
    """The distinct days, sorted, and for each reading the position of its own."""
    day, index = np.unique(np.floor(readings.time), return_inverse=True)
    return np.asarray(day, dtype=np.float64), index


def _summed(readings: Readings, unit: str) -> Level:
    day, index = _days(readings)
    low = np.bincount(index, np.maximum(readings.low, 0.0), minlength=len(day)).astype(np.float64)
    high = np.zeros(len(day))
    np.add.at(high, index, readings.high)
    first = np.searchsorted(index, np.arange(len(day)))
    exact = np.bincount(index, readings.low != readings.high, minlength=len(day)) == 0
    low = np.where(exact | (low > 0), low, -np.inf)
    return Level(day, low, np.where(exact, low, high), readings.instrument[first], unit)


def affected_share(levels: dict[str, Level], area: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Days, and bounds of the share of ``area`` (m²) that is hollow or has fallen; arrays (n,).

    Where one of the two was not surveyed on a day the sum is a lower bound: its upper end is inf.
    """
    both = [levels[quantity] for quantity in AREAS[:2] if quantity in levels]
    days = np.unique(np.concatenate([level.time for level in both])) if both else np.zeros(0)
    low, high, surveys = np.zeros(len(days)), np.zeros(len(days)), np.zeros(len(days))
    for level in both:
        at = np.searchsorted(days, level.time)
        low[at] += np.maximum(level.low, 0.0)
        high[at] += level.high
        surveys[at] += 1
    high[surveys < 2] = np.inf
    return days, low / area, high / area


def _places(readings: Readings) -> tuple[list[tuple[float, float, str]], npt.NDArray[np.intp]]:
    keys = list(
        zip(
            np.nan_to_num(readings.height_mm, nan=-1.0).tolist(),
            np.nan_to_num(readings.depth_mm, nan=-1.0).tolist(),
            readings.point.tolist(),
            strict=True,
        )
    )
    places = sorted(set(keys))
    position = {key: i for i, key in enumerate(places)}
    return places, np.array([position[key] for key in keys], dtype=np.intp)


def _place_effects(
    value: FloatArray, day: npt.NDArray[np.intp], place: npt.NDArray[np.intp], days: int, places: int
) -> FloatArray:
    """Effects (places,) of an additive two-way table by alternating means, weighted to sum to zero."""
    effect = np.zeros(places)
    if places == 1:
        return effect
    per_day = np.bincount(day, minlength=days)
    per_place = np.bincount(place, minlength=places)
    for _ in range(8):
        level = _mean_by(value - effect[place], day, per_day)
        effect = _mean_by(value - level[day], place, per_place)
        effect -= np.average(effect, weights=per_place)
    return effect


def _mean_by(value: FloatArray, index: npt.NDArray[np.intp], count: npt.NDArray[np.intp]) -> FloatArray:
    total = np.zeros(len(count))
    np.add.at(total, index, value)
    return total / count


def _slope_with_height(places: list[tuple[float, float, str]], effect: FloatArray) -> float:
    height = np.array([place[0] for place in places]) / 1000
    known = height >= 0
    if len(np.unique(height[known])) < 2:
        return np.nan
    centred = height[known] - height[known].mean()
    return float(centred @ effect[known] / (centred @ centred))


# Changes of instrument --------------------------------------------------------------------------------------


def instrument_steps(quantity: str, levels: dict[str, Level]) -> list[Step]:
    """Jumps that came with a change of meter, each estimated from all sections of the house that changed.

    The jump of one section is the difference of the means of up to four visits on either side; the house's
    is their median, with its standard error from the median absolute deviation (1.4826 makes it a standard
    deviation at the normal; the median's efficiency there is 2/pi).
    """
    changes: dict[tuple[str, str, str], list[tuple[float, float]]] = {}
    for level in levels.values():
        seen: set[str] = set()
        for i in range(len(level)):
            meter = str(level.meter[i])
            before = str(level.meter[i - 1]) if i else meter
            if before != meter and meter not in seen and before and meter:
                key = (level.unit, before, meter)
                changes.setdefault(key, []).append((float(level.time[i]), _jump(level, i)))
            seen.add(meter)
    steps = []
    for (unit, before, after), found in changes.items():
        jumps = np.array([jump for _, jump in found])
        size = float(np.median(jumps))
        scatter = (
            1.4826 * float(np.median(np.abs(jumps - size))) if len(jumps) > 2 else float(np.abs(jumps).max())
        )
        error = scatter * np.sqrt(np.pi / 2 / len(jumps))
        steps.append(
            Step(quantity, unit, min(t for t, _ in found), before, after, size, float(error), len(found))
        )
    return sorted(steps, key=lambda step: step.time)


def _jump(level: Level, i: int) -> float:
    value = level.value
    k = min(STEP_VISITS, i, len(value) - i)
    return float(value[i : i + k].mean() - value[i - k : i].mean())


def without_steps(level: Level, steps: Iterable[Step]) -> Level:
    """The level as if the first meter had been kept: each later meter's jumps are taken off."""
    offset: dict[str, float] = {}
    variance = 0.0
    for step in steps:
        if step.unit == level.unit and step.after not in offset:
            offset[step.after] = offset.get(step.before, 0.0) + step.size
            if step.after in level.meter:
                variance += step.error**2
    if not offset:
        return level
    shift = np.array([offset.get(str(meter), 0.0) for meter in level.meter])
    return replace(level, low=level.low - shift, high=level.high - shift, step_error=float(np.sqrt(variance)))


def canonical_unit(quantity: str, level: Level | None) -> str:
    """The unit a level is given in."""
    return level.unit if level is not None else CANONICAL_UNIT[quantity]


def empty_level(quantity: str) -> Level:
    """A level without a single day."""
    none = no_readings()
    return Level(none.time, none.low, none.high, none.instrument, CANONICAL_UNIT[quantity])
