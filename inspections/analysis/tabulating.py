"""From readings in any order to one value a season and year, for many series at once.

A year is counted from the season that a series begins in, so that years match between its seasons. Days of
one season of one year are merged (median), as in the program of the US Geological Survey for the seasonal
Kendall test (Helsel, Mueller and Slack 2006), unless a series has but one season.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from inspections.analysis.kendall import IntArray, Table
from inspections.analysis.records import YEAR, FloatArray


@dataclass(frozen=True, slots=True)
class Days:
    """Readings merged to days, ordered by ``series`` and ``time``; arrays of one length."""

    series: IntArray
    time: FloatArray
    value: FloatArray
    low: FloatArray
    high: FloatArray
    n: IntArray
    season: IntArray

    def of(self, which: IntArray) -> Days:
        """The days of some series (sorted numbers), numbered from 0."""
        kept = np.isin(self.series, which)
        rows = Days(*(getattr(self, name)[kept] for name in Days.__slots__))
        return replace(rows, series=np.searchsorted(which, rows.series))

    def merged(self, group: IntArray, groups: int) -> Days:
        """One row a group, medians of its rows; groups must be numbered in order of series."""
        first = np.empty(groups, dtype=np.int64)
        first[group[::-1]] = np.arange(len(group))[::-1]
        medians = {
            name: group_medians(getattr(self, name), group, groups)
            for name in ("time", "value", "low", "high")
        }
        counted = np.bincount(group, weights=self.n, minlength=groups).astype(np.int64)
        return replace(self, **medians, n=counted, series=self.series[first], season=self.season[first])


def merged_days(
    series: IntArray, time: FloatArray, value: FloatArray, low: FloatArray, high: FloatArray, season: IntArray
) -> Days:
    """One row a day of each series, the median of its readings; rows without time or value are left out.

    A day's season is that of its first reading.
    """
    known = np.isfinite(time) & ~np.isnan(value)
    once = np.ones(int(known.sum()), dtype=np.int64)
    days = np.floor(time[known])
    rows = Days(series[known], days, value[known], low[known], high[known], once, season[known])
    onward = np.diff(rows.series)
    if np.any((onward < 0) | (onward == 0) & (np.diff(rows.time) < 0)):
        order = np.lexsort((rows.time, rows.series))
        rows = Days(*(getattr(rows, name)[order] for name in Days.__slots__))
    new = _begins(rows.series, rows.time)
    return rows if new.all() else rows.merged(np.cumsum(new) - 1, int(new.sum()))


def alike(lengths: Sequence[int], most: int) -> Iterator[list[int]]:
    """Numbers of series in groups of at most ``most`` of like length: to be rows of one table."""
    order = np.argsort(np.asarray(lengths), kind="stable")
    ordered = np.asarray(lengths)[order]
    start = 0
    while start < len(order):
        longest = 2 * int(ordered[start]) + 4
        stop = min(int(np.searchsorted(ordered, longest, side="right")), start + most)
        yield order[start:stop].tolist()
        start = stop


def median(values: npt.ArrayLike) -> float:
    """Median of a few numbers (n,), NaN of none: numpy's own takes many times as long on short arrays."""
    ordered = np.sort(np.asarray(values, dtype=float))
    n = len(ordered)
    if not n or np.isnan(ordered[-1]):
        return np.nan
    return float((ordered[(n - 1) // 2] + ordered[n // 2]) / 2)


def group_medians(column: FloatArray, group: IntArray, groups: int) -> FloatArray:
    """Median of ``column`` (n,) in each of ``groups`` groups, none empty; infinite bounds stay infinite."""
    result = np.empty(groups)
    result[group] = column
    counts = np.bincount(group, minlength=groups)
    if len(column) == groups:
        return result
    several = counts > 1
    own = several[group]
    column, group = column[own], group[own]
    order = np.lexsort((column, group))
    ordered, counts = column[order], counts[several]
    start = np.cumsum(counts) - counts
    below, above = ordered[start + (counts - 1) // 2], ordered[start + counts // 2]
    with np.errstate(invalid="ignore"):
        middle = (below + above) / 2
    result[several] = np.where(below == above, below, middle)
    return result


def tabulate(days: Days, count: int) -> Table:
    """The table of ``count`` series; a season with a single reading is left out of it."""
    exact = bool(np.all(days.low == days.high))
    if not len(days.series):
        return _table(days, np.zeros(0, np.int64), np.zeros(0, np.int64), count, exact)
    season, several = _numbered_seasons(days, count)
    place = np.where(several[days.series], _years(days, season), ranks(days.series))
    kept = days
    if several.any():
        width = int(place.max()) + 1
        cell = (days.series * (int(season.max()) + 1) + season) * width + place
        cells, group = np.unique(cell, return_inverse=True)
        if len(cells) < len(cell):
            kept = days.merged(group, len(cells))
            season, place = cells // width % (int(season.max()) + 1), cells % width
    sizes = np.zeros((count, int(season.max()) + 1), dtype=np.int64)
    np.add.at(sizes, (kept.series, season), 1)
    alone = sizes[kept.series, season] < 2
    if alone.any():
        kept = Days(*(getattr(kept, name)[~alone] for name in Days.__slots__))
        season, place = season[~alone], place[~alone]
    return _table(kept, season, place, count, exact)


def _begins(*columns: npt.NDArray[np.generic]) -> npt.NDArray[np.bool_]:
    """Whether each row of sorted columns differs from the one before it."""
    new = np.ones(len(columns[0]), dtype=bool)
    new[1:] = np.any([column[1:] != column[:-1] for column in columns], axis=0)
    return new


def ranks(series: IntArray) -> IntArray:
    """Place of each row within its series; rows are ordered by series."""
    at = np.arange(len(series))
    return at - np.maximum.accumulate(np.where(_begins(series), at, 0))


def _numbered_seasons(days: Days, count: int) -> tuple[IntArray, npt.NDArray[np.bool_]]:
    """Seasons of each series numbered from 0, and whether a series has several."""
    names, label = np.unique(days.season, return_inverse=True)
    held = np.zeros((count, len(names)), dtype=np.int64)
    held[days.series, label] = 1
    return (np.cumsum(held, axis=1) - 1)[days.series, label], held.sum(axis=1) > 1


def _years(days: Days, season: IntArray) -> IntArray:
    """Year of each row, counted from its series' first, by the middle of each season (a circular mean)."""
    first = np.maximum.accumulate(np.where(_begins(days.series), np.arange(len(days.series)), 0))
    elapsed = days.time - days.time[first]
    width = int(season.max()) + 1
    group = days.series * width + season
    angle = 2 * np.pi * elapsed / YEAR
    size = int(days.series.max() + 1) * width
    across, along = (np.bincount(group, part, minlength=size) for part in (np.sin(angle), np.cos(angle)))
    middle = np.arctan2(across, along) / (2 * np.pi) * YEAR
    earliest = middle[group[first]]
    year = np.round((elapsed - earliest - (middle[group] - earliest) % YEAR) / YEAR).astype(np.int64)
    least = np.full(int(days.series.max()) + 1, np.iinfo(np.int64).max)
    np.minimum.at(least, days.series, year)
    return np.asarray(year - least[days.series], dtype=np.int64)


def _table(days: Days, season: IntArray, place: IntArray, count: int, exact: bool) -> Table:
    shape = (count, int(season.max(initial=0)) + 1, int(place.max(initial=1)) + 1)
    names = ("time", "value", "low", "high")
    filled = {}
    for name in names[:2] if exact else names:
        filled[name] = np.full(shape, np.nan)
        filled[name][days.series, season, place] = getattr(days, name)
    return Table(filled["time"], filled["value"], *(filled.get(name, filled["value"]) for name in names[2:]))
