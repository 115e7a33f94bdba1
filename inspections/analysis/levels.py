"""One level a visit for a wall that is read at several heights, depths and points.

A mean over the places of a visit shifts when one place is missed. Here a reading is the sum of the visit's
level and its place's own effect (Tukey 1977, Exploratory Data Analysis, ch. 10 and 11), so it does not.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from inspections.analysis.cleaning import places_of
from inspections.analysis.kendall import BoolArray, IntArray
from inspections.analysis.linear import HUBER, NORMAL_MAD
from inspections.analysis.records import FloatArray, Readings, TextArray, numbered
from inspections.analysis.tabulating import group_medians, ranks

_SINGULAR = 1e-9
_ROUNDS = 100
#: Levels are rounded: days that differ by the rounding of their sums alone are ties to Kendall's test.
_DECIMALS = 10
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
    """As :func:`wall_levels`, of readings of one quantity and one unit; ValueError on two units."""
    units = np.unique(readings.unit)
    if len(units) != 1:
        raise ValueError(f"readings of one unit are wanted, these have {', '.join(units) or 'none'}")
    return wall_levels(readings, np.zeros(len(readings), dtype=np.int64), 1)[0]


def wall_levels(readings: Readings, series: IntArray, count: int) -> list[Level]:
    """Level of each day of ``count`` series, from readings at any places; ``series`` (n,) numbers theirs.

    Each has readings, of one quantity and one unit. Repeats at a place on a day are merged first (median).
    Visits and places are fitted by least squares with outliers drawn in to Huber's limit; a reading off the
    scale stands at the nearest value that it allows. The level is that of the average place, weighted by how
    often each was read.
    """
    if not count:
        return []
    cells, visit = _merge_repeats(readings, series, count)
    visits, places, connected = _additive(cells)
    value = visits + np.bincount(cells.place_series, cells.share * places, count)[cells.visit_series]
    value = np.round(value, _DECIMALS)
    low, high = _bounds(cells, value)
    slope, slope_error = _height_slopes(cells, visits, places)
    columns = _columns(readings, visit, cells.days, value, low, high)
    unit = _last(series, readings.unit, count)
    return [
        Level(
            **own,
            unit=unit[i],
            height_slope=float(slope[i]),
            height_slope_error=float(slope_error[i]),
            connected=bool(connected[i]),
        )
        for i, own in enumerate(_apart(columns, cells.visit_series, count))
    ]


def area_levels(readings: Readings, series: IntArray, count: int) -> list[Level]:
    """Areas summed over each day of ``count`` series, with the bounds of the sums, as :func:`wall_levels`.

    Lower bounds add up to such; a sum that may be nothing has no lower end.
    """
    if not count:
        return []
    days, owner, visit = _visits(readings, series)
    value, low, high = (
        np.round(np.asarray(np.bincount(visit, column, len(days)), dtype=float), _DECIMALS)
        for column in (readings.value, np.maximum(readings.low, 0.0), readings.high)
    )
    low = np.where((low < high) & (low <= 0), -np.inf, low)
    columns = _columns(readings, visit, days, value, low, high)
    unit = _last(series, readings.unit, count)
    return [Level(**own, unit=unit[i]) for i, own in enumerate(_apart(columns, owner, count))]


def additive_days(
    day: npt.ArrayLike, group: npt.ArrayLike, value: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Days (d,) and their common level (d,), from values (n,) of several groups that each have their own."""
    group_names, place = np.unique(np.asarray(group), return_inverse=True)
    days, visit = np.unique(np.asarray(day, dtype=float), return_inverse=True)
    share = np.bincount(place) / len(place)
    visit_series, place_series = (np.zeros(len(names), dtype=np.int64) for names in (days, group_names))
    height = np.full(len(share), np.nan)
    cells = _Cells(days, visit_series, place_series, visit, place, value, value, value, height, share)
    visits, places, _ = _additive(cells)
    return days, visits + share @ places


@dataclass(frozen=True, slots=True)
class _Cells:
    """One reading (c,) for each visit and place that has any: numbers of both, values and bounds.

    ``days`` and ``visit_series`` (v,) belong to the visits; ``place_series``, ``height`` (m) and ``share``,
    how much of its series' cells it holds, (p,) to the places. All are in order of series.
    """

    days: FloatArray
    visit_series: IntArray
    place_series: IntArray
    visit: IntArray
    place: IntArray
    value: FloatArray
    low: FloatArray
    high: FloatArray
    height: FloatArray
    share: FloatArray


def _visits(readings: Readings, series: IntArray) -> tuple[FloatArray, IntArray, IntArray]:
    """Days (v,) and series (v,) of the visits, in order of both, and each reading's visit (n,)."""
    day = np.floor(readings.time)
    start = day.min()
    width = int(day.max() - start) + 1
    keys, visit = np.unique(series * width + (day - start).astype(np.int64), return_inverse=True)
    return keys % width + start, keys // width, visit


def _merge_repeats(readings: Readings, series: IntArray, count: int) -> tuple[_Cells, IntArray]:
    """The cells, and each reading's visit (n,)."""
    days, visit_series, visit = _visits(readings, series)
    places = places_of(readings)
    width = int(places.max()) + 1
    keys, place = np.unique(series * width + places, return_inverse=True)
    height = np.full(len(keys), np.nan)
    height[place] = readings.height_mm / 1000
    cell, own = np.unique(visit * len(keys) + place, return_inverse=True)
    value, low, high = (
        group_medians(column, own, len(cell)) for column in (readings.value, readings.low, readings.high)
    )
    place_series, of = keys // width, cell % len(keys)
    share = (
        np.bincount(of, minlength=len(keys)) / np.bincount(place_series[of], minlength=count)[place_series]
    )
    return _Cells(
        days, visit_series, place_series, cell // len(keys), of, value, low, high, height, share
    ), visit  # fmt: skip


def _additive(cells: _Cells) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Effects of visits (v,) and of places (p,) on the readings, and whether a series' places connect."""
    several = np.bincount(cells.place_series) > 1
    visits, places = np.zeros(len(cells.days)), np.zeros(len(cells.share))
    visits[cells.visit] = cells.value
    connected = np.ones(len(several), dtype=bool)
    own = np.flatnonzero(several[cells.visit_series[cells.visit]])
    if len(own):
        number = np.cumsum(several) - 1
        which = number[cells.visit_series[cells.visit[own]]]
        row, column = (
            at[of[own]]
            for at, of in ((ranks(cells.visit_series), cells.visit), (ranks(cells.place_series), cells.place))
        )
        tables = _Tables(which, row, column, cells.value[own], cells.low[own], cells.high[own])
        level, effect = tables.fitted()
        visits[cells.visit[own]], places[cells.place[own]] = level[which, row], effect[which, column]
        connected[several] = tables.connected()
    return visits, places, connected


class _Tables:
    """Series (b,) of several places as tables of visits by places, empty where nothing was read."""

    def __init__(
        self,
        which: IntArray,
        row: IntArray,
        column: IntArray,
        value: FloatArray,
        low: FloatArray,
        high: FloatArray,
    ) -> None:
        shape = (int(which.max()) + 1, int(row.max()) + 1, int(column.max()) + 1)
        self.filled, self.value, self.low, self.high = (np.zeros(shape) for _ in range(4))
        for table, cells in ((self.filled, 1.0), (self.value, value), (self.low, low), (self.high, high)):
            table[which, row, column] = cells
        self.places = self.filled.any(axis=1)

    def fitted(self) -> tuple[FloatArray, FloatArray]:
        """Effects of visits (b, v) and places (b, k)."""
        filled = self.filled
        per_visit = np.maximum(filled.sum(axis=2), 1.0)
        share = filled / per_visit[:, :, None]
        across = np.ascontiguousarray(np.swapaxes(filled, 1, 2))
        reduced = filled.sum(axis=1)[:, :, None] * np.eye(filled.shape[2]) - across @ share
        # The shortest solution: what places never read together differ by is put down to the visits.
        inverse = np.linalg.pinv(reduced, hermitian=True, rcond=_SINGULAR)

        def solve(value: FloatArray, own: IntArray) -> tuple[FloatArray, FloatArray]:
            mean = (value * share[own]).sum(axis=2)
            by_place = ((value - mean[:, :, None]) * filled[own]).sum(axis=1)
            effect = (inverse[own] @ by_place[:, :, None])[:, :, 0]
            return mean - (share[own] @ effect[:, :, None])[:, :, 0], effect

        crowded = (filled > 0) & (filled.sum(axis=2, keepdims=True) > 1)
        inflation = crowded.sum(axis=(1, 2)) / self.freedom()
        size = np.abs(self.value).max(axis=(1, 2))
        size[size == 0] = 1.0
        own = np.arange(len(filled))
        level, effect = solve(self.value, own)
        for _ in range(_ROUNDS):
            before = level[own][:, :, None] + effect[own][:, None, :]
            residual = np.clip(before, self.low[own], self.high[own]) - before
            scale = _scales(residual, crowded[own], inflation[own])
            reach = np.where(scale > _NOTHING * size[own], HUBER * scale, np.inf)[:, None, None]
            drawn = before + np.clip(residual, -reach, reach)
            level[own], effect[own] = solve(drawn, own)
            after = level[own][:, :, None] + effect[own][:, None, :]
            moved = (np.abs(after - before) * filled[own]).max(axis=(1, 2))
            own = own[moved >= _SETTLED * scale + _NOTHING * size[own]]
            if not len(own):
                break
        return level, effect

    def freedom(self) -> IntArray:
        """Readings less visits and places, of each series; at least one."""
        visits, places = self.filled.any(axis=2).sum(axis=1), self.places.sum(axis=1)
        return np.asarray(np.maximum(self.filled.sum(axis=(1, 2)) - visits - places + 1, 1))

    def connected(self) -> BoolArray:
        """Whether every place can be reached from every other through visits at which both were read."""
        linked = (np.swapaxes(self.filled, 1, 2) @ self.filled > 0).astype(float)
        for _ in range(int(linked.shape[1]).bit_length()):
            linked = (linked @ linked > 0).astype(float)
        return np.asarray(((linked[:, 0] > 0) == self.places).all(axis=1))


def _scales(residual: FloatArray, crowded: BoolArray, inflation: FloatArray) -> FloatArray:
    """Robust scatter (b,) of residuals (b, v, k) where visits hold several readings; 0 where none does."""
    count = crowded.sum(axis=(1, 2))
    ordered = np.sort(np.where(crowded, np.abs(residual), np.inf).reshape(len(residual), -1), axis=1)
    middle = ordered[np.arange(len(residual)), np.minimum(count // 2, ordered.shape[1] - 1)]
    middle[count == 0] = 0.0
    return np.asarray(middle / NORMAL_MAD * np.sqrt(inflation), dtype=float)


def _bounds(cells: _Cells, value: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Bounds of each visit: the level itself where a reading of the visit was exact, else open."""
    exact, above, below = (
        np.bincount(cells.visit, weights=which, minlength=len(value)) > 0
        for which in (cells.low == cells.high, np.isinf(cells.high), np.isinf(cells.low))
    )
    return np.where(~exact & below, -np.inf, value), np.where(~exact & above, np.inf, value)


def _height_slopes(cells: _Cells, visits: FloatArray, places: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Weighted least squares of the places' effects on their heights, with the larger of two errors (s,)."""
    known = np.flatnonzero(~np.isnan(cells.height))
    count = int(cells.visit_series[-1]) + 1
    owner, height, effect = cells.place_series[known], cells.height[known], places[known]
    weight = np.bincount(cells.place, minlength=len(places)).astype(float)[known]

    def total(column: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(owner, column, count), dtype=float)

    slope, error = np.full(count, np.nan), np.full(count, np.nan)
    lowest, highest = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(lowest, owner, height)
    np.maximum.at(highest, owner, height)
    told = lowest < highest
    if not told.any():
        return slope, error
    mass = np.where(told, total(weight), 1.0)
    centred = height - (total(weight * height) / mass)[owner]
    information = np.where(told, total(weight * centred**2), 1.0)
    slopes = total(weight * centred * effect) / information
    fitted = visits[cells.visit] + places[cells.place]
    of = cells.visit_series[cells.visit]
    freedom = _counted(of, count) - _counted(cells.visit_series, count) - _counted(cells.place_series, count)
    missed = (np.clip(fitted, cells.low, cells.high) - fitted) ** 2
    within = np.bincount(of, missed, count) / np.maximum(freedom + 1, 1)
    off_line = effect - (total(weight * effect) / mass)[owner] - slopes[owner] * centred
    lack = total(weight * off_line**2) / np.maximum(_counted(owner, count) - 2, 1)
    slope[told] = slopes[told]
    error[told] = np.sqrt(np.maximum(within, lack) / information)[told]
    return slope, error


def _counted(numbers: IntArray, count: int) -> IntArray:
    return np.bincount(numbers, minlength=count).astype(np.int64)


def _most_used(readings: Readings, visit: IntArray, visits: int) -> TextArray:
    """The instrument (v,) that most readings of each visit were made with; of several the first by code."""
    codes, code = numbered(readings.instrument)
    keys, count = np.unique(visit * len(codes) + code, return_counts=True)
    order = np.lexsort((-keys, count))
    most = np.zeros(visits, dtype=np.int64)
    most[keys[order] // len(codes)] = keys[order] % len(codes)
    return np.array(codes, dtype=np.str_)[most]


def _last(series: IntArray, column: TextArray, count: int) -> list[str]:
    """The last word of each series."""
    last = np.zeros(count, dtype=np.int64)
    last[series] = np.arange(len(series))
    return [str(word) for word in column[last].tolist()]


def _columns(
    readings: Readings,
    visit: IntArray,
    days: FloatArray,
    value: FloatArray,
    low: FloatArray,
    high: FloatArray,
) -> dict[str, npt.NDArray[Any]]:
    """What a :class:`Level` has of each visit (v,); ``visit`` (n,) numbers the readings'."""
    n, instrument = _counted(visit, len(days)), _most_used(readings, visit, len(days))
    columns = {"time": days, "value": value, "low": low, "high": high, "n": n, "instrument": instrument}
    return columns | {"offset_sd": np.zeros(len(days))}


def _apart(columns: dict[str, npt.NDArray[Any]], owner: IntArray, count: int) -> Iterator[dict[str, Any]]:
    """Columns (v,) in order of their owner, taken apart."""
    edges = np.searchsorted(owner, np.arange(count + 1)).tolist()
    for start, stop in pairwise(edges):
        yield {name: column[start:stop] for name, column in columns.items()}
