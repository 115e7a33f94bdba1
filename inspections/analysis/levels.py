"""One level a visit for a wall that is read at several heights, depths and points.

A mean over the places of a visit shifts when one place is missed. Here a reading is the sum of the visit's
level and its place's own effect (Tukey 1977, Exploratory Data Analysis, ch. 10 and 11), so it does not.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from inspections.analysis.cleaning import places_of
from inspections.analysis.kendall import IntArray
from inspections.analysis.linear import HUBER, NORMAL_MAD
from inspections.analysis.records import FloatArray, Readings, TextArray
from inspections.analysis.trends import Series, merge_days

_SINGULAR = 1e-9
_ROUNDS = 100
#: The fit has settled when it moves by less than this share of the scatter, or of the readings' size.
_SETTLED, _NOTHING = 1e-5, 1e-9


@dataclass(frozen=True, slots=True)
class Level:
    """Level of one quantity, in one unit, on each visit day; parallel arrays (days,).

    ``low`` and ``high`` differ where all readings of the day were off the scale. ``n`` counts readings,
    ``instrument`` is the one that most of them were made with. ``height_slope`` is the change per metre of
    height, NaN with its standard error where all were read at one height. ``connected`` is false where some
    places were never read on the same day as others, nor through third ones: then a change of places may pass
    for a change of level. ``offset_sd`` is what taken-out steps add to the standard deviation of each day
    against the last, ``rate_sd`` what they add to that of a rate per year.
    """

    time: FloatArray
    value: FloatArray
    low: FloatArray
    high: FloatArray
    n: IntArray
    instrument: TextArray
    unit: str
    height_slope: float = np.nan
    height_slope_error: float = np.nan
    connected: bool = True
    offset_sd: FloatArray = field(default_factory=lambda: np.zeros(0))
    rate_sd: float = 0.0

    def __len__(self) -> int:
        return len(self.time)


def levels_by_scale(readings: Readings) -> dict[str, Level]:
    """The level in each unit that the readings of one quantity were made in: scales are never mixed."""
    units = np.unique(readings.unit)
    return {str(unit): wall_level(readings.where(readings.unit == unit)) for unit in units}


def wall_level(readings: Readings) -> Level:
    """Level of each day from readings of one quantity and one unit at any places; ValueError on two units.

    Repeats at a place on a day are merged first (median). Visits and places are fitted by least squares with
    outliers drawn in to Huber's limit; a reading off the scale stands at the nearest value that it allows.
    The level is that of the average place, weighted by how often each was read.
    """
    units = np.unique(readings.unit)
    if len(units) != 1:
        raise ValueError(f"readings of one unit are wanted, these have {', '.join(units) or 'none'}")
    cells = _merge_repeats(readings)
    visits, places = _additive(cells)
    value = visits + cells.share @ places
    low, high = _bounds(cells, value)
    slope, slope_error = _height_slope(cells, visits, places)
    return Level(
        time=cells.days,
        value=value,
        low=low,
        high=high,
        n=np.bincount(cells.day, weights=cells.n, minlength=len(cells.days)).astype(np.int64),
        instrument=most_used(readings, cells.days),
        unit=str(units[0]),
        height_slope=slope,
        height_slope_error=slope_error,
        connected=_connected(cells.day, cells.place),
        offset_sd=np.zeros(len(cells.days)),
    )


def summed_area(readings: Readings) -> Series:
    """Areas of one quantity summed over each day, with the bounds of the sum (lower bounds add to such)."""
    days, day = np.unique(np.floor(readings.time), return_inverse=True)
    value, low, high = (np.zeros(len(days)) for _ in range(3))
    columns = (readings.value, np.maximum(readings.low, 0.0), readings.high)
    for total, column in zip((value, low, high), columns, strict=True):
        np.add.at(total, day, column)
    return Series(days, value, low, high, np.bincount(day, minlength=len(days)).astype(np.int64))


def additive_days(
    day: npt.ArrayLike, group: npt.ArrayLike, value: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Days (d,) and their common level (d,), from values (n,) of several groups that each have their own."""
    group_names, place = np.unique(np.asarray(group), return_inverse=True)
    days, index = np.unique(np.asarray(day, dtype=float), return_inverse=True)
    share = np.bincount(place, minlength=len(group_names)) / len(place)
    ones = np.ones(len(value))
    cells = _Cells(days, index, place, value, value, value, ones, np.full(len(share), np.nan), share)
    visits, places = _additive(cells)
    return days, visits + share @ places


@dataclass(frozen=True, slots=True)
class _Cells:
    """One reading for each day and place that has any: indices, values, bounds; heights of places in m."""

    days: FloatArray
    day: IntArray
    place: IntArray
    value: FloatArray
    low: FloatArray
    high: FloatArray
    n: FloatArray
    height: FloatArray
    share: FloatArray


def _merge_repeats(readings: Readings) -> _Cells:
    place = places_of(readings)
    days, day = np.unique(np.floor(readings.time), return_inverse=True)
    count = int(place.max()) + 1
    merged = merge_days((day * count + place).astype(float), readings.value, readings.low, readings.high)
    cell = merged.time.astype(np.int64)
    height = np.full(count, np.nan)
    height[place] = readings.height_mm / 1000
    share = np.bincount(cell % count, minlength=count) / len(cell)
    return _Cells(
        days, cell // count, cell % count, merged.value, merged.low, merged.high,
        merged.n.astype(float), height, share,
    )  # fmt: skip


def _additive(cells: _Cells) -> tuple[FloatArray, FloatArray]:
    """Effects of visits (v,) and of places (k,) on the readings."""
    visits, places = len(cells.days), len(cells.share)
    if places == 1:
        return cells.value, np.zeros(1)
    table = np.zeros((visits, places))
    table[cells.day, cells.place] = 1.0
    per_visit, per_place = table.sum(axis=1), table.sum(axis=0)
    reduced = np.diag(per_place) - table.T @ (table / per_visit[:, None])
    # The shortest solution: what places never read together differ by is put down to the visits.
    inverse = np.linalg.pinv(reduced, hermitian=True, rcond=_SINGULAR)

    def solve(value: FloatArray) -> tuple[FloatArray, FloatArray]:
        mean = np.bincount(cells.day, weights=value, minlength=visits) / per_visit
        by_place = np.bincount(cells.place, weights=value - mean[cells.day], minlength=places)
        effect = inverse @ by_place
        return np.asarray(mean - table @ effect / per_visit), np.asarray(effect)

    freedom = max(len(cells.value) - visits - places + 1, 1)
    crowded = per_visit[cells.day] > 1
    drawn = cells.value
    size = float(np.abs(cells.value).max()) or 1.0
    level, effect = solve(drawn)
    for _ in range(_ROUNDS):
        fitted = level[cells.day] + effect[cells.place]
        allowed = np.clip(fitted, cells.low, cells.high)
        residual = allowed - fitted
        scale = _scale(residual[crowded], int(crowded.sum()) / freedom)
        reach = HUBER * scale if scale > _NOTHING * size else np.inf
        drawn = fitted + np.clip(residual, -reach, reach)
        before = fitted
        level, effect = solve(drawn)
        moved = np.abs(level[cells.day] + effect[cells.place] - before).max()
        if moved < _SETTLED * scale + _NOTHING * size:
            break
    return level, effect


def _scale(residual: FloatArray, inflation: float) -> float:
    if not len(residual):
        return 0.0
    # np.median costs several times as much on arrays as short as these.
    middle = len(residual) // 2
    return float(np.partition(np.abs(residual), middle)[middle] / NORMAL_MAD * np.sqrt(inflation))


def _bounds(cells: _Cells, value: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Bounds of each day: the level itself where a reading of the day was exact, else open."""
    days = len(cells.days)
    exact = np.bincount(cells.day, weights=cells.low == cells.high, minlength=days) > 0
    open_above = np.bincount(cells.day, weights=np.isinf(cells.high), minlength=days) > 0
    open_below = np.bincount(cells.day, weights=np.isinf(cells.low), minlength=days) > 0
    low = np.where(~exact & open_below, -np.inf, value)
    high = np.where(~exact & open_above, np.inf, value)
    return low, high


def _height_slope(cells: _Cells, visits: FloatArray, places: FloatArray) -> tuple[float, float]:
    """Weighted least squares of the places' effects on their heights, with the larger of two errors."""
    known = ~np.isnan(cells.height)
    height, effect = cells.height[known], places[known]
    weight = np.bincount(cells.place, minlength=len(places)).astype(float)[known]
    if len(np.unique(height)) < 2:
        return np.nan, np.nan
    centred = height - np.average(height, weights=weight)
    information = float(weight @ centred**2)
    slope = float((weight * centred) @ effect / information)
    fitted = visits[cells.day] + places[cells.place]
    freedom = max(len(cells.value) - len(visits) - len(places) + 1, 1)
    within = float(((np.clip(fitted, cells.low, cells.high) - fitted) ** 2).sum()) / freedom
    off_line = effect - np.average(effect, weights=weight) - slope * centred
    lack = float(weight @ off_line**2) / max(len(effect) - 2, 1)
    return slope, float(np.sqrt(max(within, lack) / information))


def most_used(readings: Readings, days: FloatArray) -> TextArray:
    """The instrument that most readings of each of ``days`` (d,) were made with."""
    codes, code = np.unique(readings.instrument, return_inverse=True)
    day = np.searchsorted(days, np.floor(readings.time))
    table = np.zeros((len(days), len(codes)))
    np.add.at(table, (day, code), 1)
    return np.asarray(codes[table.argmax(axis=1)], dtype=np.str_)


def _connected(day: IntArray, place: IntArray) -> bool:
    """Whether every place can be reached from every other through days on which both were read."""
    reached = {int(place[0])}
    while True:
        days = np.unique(day[np.isin(place, list(reached))])
        wider = {int(one) for one in np.unique(place[np.isin(day, days)])}
        if wider == reached:
            return len(reached) == len(np.unique(place))
        reached = wider
