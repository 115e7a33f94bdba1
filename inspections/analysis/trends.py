"""Rates of change that survive season, gaps, ties, outliers and readings off the scale.

Mann-Kendall and seasonal Kendall tests with Sen's slope, one series or thousands. Times are float days since
1970-01-01 and rates are per year of :data:`~inspections.analysis.records.YEAR` days.

Readings are intervals. A pair of readings counts up or down only where the intervals leave no doubt;
otherwise it counts as a tie. ``<x`` is (-inf, x) and lies below a plain x, as in Helsel (2012), Statistics
for Censored Environmental Data, ch. 8 and 12; ``>x`` is [x, inf), so that a plain x and ``>x`` tie.

Sources: Mann (1945); Kendall (1975), Rank Correlation Methods; Sen (1968), JASA 63, 1379; Hirsch, Slack and
Smith (1982), Water Resour. Res. 18, 107; Hirsch and Slack (1984), Water Resour. Res. 20, 727; Hamed and Rao
(1998), J. Hydrol. 204, 182; Hamed (2008), J. Hydrol. 349, 350; Gilbert (1987), Statistical Methods for
Environmental Pollution Monitoring, ch. 16 and 17; Akritas, Murphy and LaValley (1995), JASA 90, 170.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from inspections.analysis.dependence import reach, serial_law, tail
from inspections.analysis.kendall import (
    ROUNDING,
    IntArray,
    Table,
    compare,
    kendall_of_scores,
    pair_scores,
    statistics,
)
from inspections.analysis.records import YEAR, FloatArray, Readings
from inspections.analysis.tabulating import Days, alike, merged_days, tabulate

#: Two-sided level of the intervals.
CONFIDENCE = 0.95
#: Years of record from which the covariance between seasons is estimated rather than taken as zero. The
#: US Geological Survey's program for the test advises more than ten (Helsel, Mueller and Slack 2006).
YEARS_FOR_COVARIANCE = 10
#: Below this many readings, and without ties, the exact law of S replaces the normal one (Gilbert 1987,
#: ch. 16: the approximation is used from ten readings on).
READINGS_FOR_NORMAL = 10
#: Series worked on at once: their slopes then fit memory that is at hand already.
_ROWS = 2000
_Z = float(ndtri(0.5 + CONFIDENCE / 2))
#: Meteorological seasons: December to February is 0, and so on.
METEOROLOGICAL_SEASONS = 4

#: How readings of a series may be alike: not at all; years alike across seasons (Hirsch and Slack 1984), from
#: ten years on; or for a time that the readings themselves tell of (:mod:`.dependence`).
Dependence = Literal["none", "seasons", "serial"]


@dataclass(frozen=True, slots=True)
class Series:
    """One value a day: ``time`` (whole days) and, as parallel arrays, value, bounds and count of readings."""

    time: FloatArray
    value: FloatArray
    low: FloatArray
    high: FloatArray
    n: IntArray

    def __len__(self) -> int:
        return len(self.time)

    def where(self, mask: npt.NDArray[np.bool_]) -> Series:
        """The days that ``mask`` (bool, shape (n,)) keeps."""
        return Series(self.time[mask], self.value[mask], self.low[mask], self.high[mask], self.n[mask])


@dataclass(frozen=True, slots=True)
class Trend:
    """A rate per year with its 95 % interval and the test that it is zero.

    ``low`` and ``high`` are NaN where the readings are too few for an interval, and ``method`` says so.
    ``s`` is Kendall's statistic and ``variance`` that of its null law (serial dependence: of the normal law
    with the same 95 % limits); ``n`` counts the days with a reading,
    ``seasons`` the seasons with two or more; ``first`` and ``last`` are the days of the first and the last.
    """

    rate_per_year: float
    low: float
    high: float
    p_value: float
    s: float
    variance: float
    n: int
    seasons: int
    method: str
    first: float
    last: float


@dataclass(frozen=True, slots=True)
class Trends:
    """As :class:`Trend`, for N series: arrays (N,), and ``trends[i]`` for one of them."""

    rate_per_year: FloatArray
    low: FloatArray
    high: FloatArray
    p_value: FloatArray
    s: FloatArray
    variance: FloatArray
    n: IntArray
    seasons: IntArray
    first: FloatArray
    last: FloatArray
    years: IntArray
    censored: npt.NDArray[np.bool_]
    dependence: Dependence

    def __len__(self) -> int:
        return len(self.s)

    def __getitem__(self, i: int) -> Trend:
        columns = ("rate_per_year", "low", "high", "p_value", "s", "variance", "first", "last")
        numbers = {name: float(getattr(self, name)[i]) for name in columns}
        n, seasons = int(self.n[i]), int(self.seasons[i])
        return Trend(**numbers, n=n, seasons=seasons, method=self._method(i))

    def _method(self, i: int) -> str:
        seasons = int(self.seasons[i])
        if not seasons:
            return "too few readings for a rate"
        words = ["Mann-Kendall and Sen's slope" if seasons == 1 else "seasonal Kendall and Sen's slope"]
        if self.dependence == "serial":
            words.append("errors that last allowed for")
        elif seasons > 1 and self.dependence == "seasons" and self.years[i] >= YEARS_FOR_COVARIANCE:
            words.append("covariance between seasons allowed for")
        elif seasons > 1:
            words.append("seasons taken as independent")
        if self.censored[i]:
            words.append("readings off the scale as intervals")
        if not np.isfinite(self.low[i]):
            words.append("too few readings for a 95 % interval")
        return "; ".join(words)


def daily(readings: Readings) -> Series:
    """One value a day, the median of that day's readings: repeats of a day are not independent evidence.

    The readings should be of one quantity and one unit. Bounds are medians of the bounds, so that a day whose
    readings mostly ran off the scale is itself off the scale.
    """
    return merge_days(readings.time, readings.value, readings.low, readings.high)


def merge_days(
    time: npt.ArrayLike,
    value: npt.ArrayLike,
    low: npt.ArrayLike | None = None,
    high: npt.ArrayLike | None = None,
) -> Series:
    """As :func:`daily`, from arrays of shape (n,); rows with an unknown time or value are left out."""
    times, values, lows, highs = _columns(time, value, low, high)
    none = np.zeros(len(times), dtype=np.int64)
    days = merged_days(none, times, values, lows, highs, none)
    return Series(days.time, days.value, days.low, days.high, days.n)


def kendall(
    time: npt.ArrayLike,
    value: npt.ArrayLike,
    low: npt.ArrayLike | None = None,
    high: npt.ArrayLike | None = None,
) -> tuple[float, float, float]:
    """Kendall's S of ``value`` against ``time``, its variance under no trend, and tau-a; all of shape (n,).

    Rows count as given: nothing is merged. Ties in either are allowed for. The variance is Daniels' (1944)
    for any score of pairs, which gives Kendall's n(n-1)(2n+5)/18 and its corrections for ties.
    """
    times, _, lows, highs = _columns(time, value, low, high)
    n = len(times)
    if n < 2:
        return 0.0, 0.0, np.nan
    s, variance = kendall_of_scores(pair_scores(times, times), pair_scores(lows, highs))
    return s, variance, s / (n * (n - 1) / 2)


def sen_slope(
    time: npt.ArrayLike,
    value: npt.ArrayLike,
    low: npt.ArrayLike | None = None,
    high: npt.ArrayLike | None = None,
) -> float:
    """Median slope per year over all pairs of readings (Sen 1968; off the scale: Akritas et al. 1995).

    Shape (n,), rows as given: nothing is merged. NaN where there is no pair, or no unique answer in reach.
    """
    times, values, lows, highs = _columns(time, value, low, high)
    order = np.argsort(times, kind="stable")
    days, middle, least, most = (column[order][None, None, :] for column in (times, values, lows, highs))
    exact = bool(np.all(lows == highs))
    table = Table(days, middle, middle if exact else least, middle if exact else most)
    _, slopes = compare(table, between=False)
    return float(slopes.median()[0]) if slopes.count[0] else np.nan


def mann_kendall(
    time: npt.ArrayLike,
    value: npt.ArrayLike,
    low: npt.ArrayLike | None = None,
    high: npt.ArrayLike | None = None,
    dependence: Dependence = "seasons",
) -> Trend:
    """Mann-Kendall test and Sen's slope, season not removed; arguments as in :func:`seasonal_kendall`."""
    one = np.zeros(np.shape(np.asarray(time)), dtype=int)
    return seasonal_kendall(time, value, one, low, high, dependence)


def seasonal_kendall(
    time: npt.ArrayLike,
    value: npt.ArrayLike,
    season: npt.ArrayLike,
    low: npt.ArrayLike | None = None,
    high: npt.ArrayLike | None = None,
    dependence: Dependence = "seasons",
) -> Trend:
    """As :func:`seasonal_kendalls`, of one series: all arguments of shape (n,)."""
    times, values, lows, highs = _columns(time, value, low, high)
    labels = np.asarray(season)
    if labels.shape != times.shape:
        raise ValueError("season must have one label for each time")
    return seasonal_kendalls(
        times[None], values[None], labels[None], lows[None], highs[None], dependence=dependence
    )[0]


def seasonal_kendalls(
    time: npt.ArrayLike,
    value: npt.ArrayLike,
    season: npt.ArrayLike,
    low: npt.ArrayLike | None = None,
    high: npt.ArrayLike | None = None,
    dependence: Dependence = "seasons",
) -> Trends:
    """Seasonal Kendall test with Sen's slope over pairs within a season, of N series at once.

    ``value`` (N, n), NaN where a series has fewer readings. ``time``: days, in any order, at any spacing, in
    that shape or (n,) where all share their days; ``season``: whole numbers, likewise. ``low`` and ``high``
    (N, n) bound readings off the scale (default: ``value``). Readings of one day are merged first (median);
    several days in one season of one year too, as in the program of the US Geological Survey, unless there is
    but one season.

    ``dependence``: with "none" the seasons' statistics add up as if independent (Hirsch, Slack and Smith
    1982). With "seasons" the variance holds, from ten years on, the covariance between them (Hirsch and Slack
    1984); as in that paper, there is then no continuity correction, and the interval takes the covariance of
    the readings less Sen's slope, if that widens it (as Hamed and Rao 1998 do with autocorrelation). With
    "serial", test and interval allow for errors that last, as :mod:`.dependence` says.

    The interval is Gilbert's (1987, sec. 16.4.2 and 17.3): ordered slopes at ranks (N - C)/2 and
    (N + C)/2 + 1, interpolated, C = z sqrt(Var S); for readings off the scale, the slopes at which S would be
    C and -C (Akritas et al. 1995). A series without readings or without pairs has NaN for the rate.
    """
    values = np.asarray(value, dtype=float)
    times, labels = np.asarray(time, dtype=float), np.asarray(season).astype(np.int64)
    count, width = values.shape
    if times.shape[-1:] != (width,) or labels.shape != times.shape:
        raise ValueError("time and season must have one entry for each value")
    exact = low is None and high is None
    if exact and times.ndim == 1 and not np.isnan(values).any():
        shared = _shared_table(times, values, labels)
        if shared is not None:
            first, last = np.full(count, np.floor(times.min())), np.full(count, np.floor(times.max()))
            whole = np.full(count, width)
            exact_all = np.zeros(count, dtype=bool)
            parts = [slice(start, start + _ROWS) for start in range(0, max(count, 1), _ROWS)]
            return _joined(
                _trends(shared.rows(part), whole[part], first[part], last[part], exact_all[part], dependence)
                for part in parts
            )
    lows = values if low is None else np.asarray(low, dtype=float)
    highs = values if high is None else np.asarray(high, dtype=float)
    spread = (
        np.broadcast_to(column, values.shape).ravel() for column in (times, values, lows, highs, labels)
    )
    days = merged_days(np.repeat(np.arange(count), width), *spread)
    return _of_days(days, count, dependence)


def trend(
    time: npt.ArrayLike,
    value: npt.ArrayLike,
    low: npt.ArrayLike | None = None,
    high: npt.ArrayLike | None = None,
) -> Trend:
    """As :func:`strongest`, of one series: arrays (n,)."""
    times, values, lows, highs = _columns(time, value, low, high)
    return strongest([(times, values, lows, highs)])[0]


def strongest(series: Sequence[tuple[FloatArray, FloatArray, FloatArray, FloatArray]]) -> list[Trend]:
    """Of each (time, value, low, high) the strongest rate that its readings allow, errors that last included.

    By the four seasons, else (too few) over all visits alike. The second is weaker, since the season is still
    in it, and is only taken where it gives an interval and the first does not; ``method`` names the one that
    was used.
    """
    found: dict[int, Trend] = {}
    for which in alike([len(one[0]) for one in series], _ROWS):
        found |= zip(which, _strongest([series[i] for i in which]), strict=True)
    return [found[i] for i in range(len(series))]


def _strongest(series: Sequence[tuple[FloatArray, FloatArray, FloatArray, FloatArray]]) -> list[Trend]:
    time, value, low, high = (_padded([one[i] for one in series]) for i in range(4))
    season = season_of(np.nan_to_num(time))
    found = seasonal_kendalls(time, value, season, low, high, "serial")
    chosen = [found[i] for i in range(len(series))]
    weak = np.flatnonzero(~np.isfinite(found.low))
    if len(weak):
        time, value, low, high = (column[weak] for column in (time, value, low, high))
        plain = seasonal_kendalls(time, value, np.zeros_like(season[weak]), low, high, "serial")
        for place, i in enumerate(weak.tolist()):
            if np.isfinite(plain.low[place]) or not np.isfinite(found.rate_per_year[i]):
                other = plain[place]
                chosen[i] = replace(other, method=f"{other.method}; too few visits to take the season out")
    return chosen


def season_of(time: npt.ArrayLike, seasons: int = METEOROLOGICAL_SEASONS) -> IntArray:
    """Season of each day, 0 to ``seasons`` - 1 (a divisor of 12), from December on; of any shape."""
    days = np.floor(np.asarray(time, dtype=float)).astype("datetime64[D]")
    month = days.astype("datetime64[M]").astype(np.int64) % 12
    return np.asarray(((month + 1) % 12) // (12 // seasons), dtype=np.int64)


def kendall_exact_p(s: float, sizes: tuple[int, ...]) -> float:
    """Two-sided exact p of S summed over independent seasons of ``sizes`` readings without ties.

    The law of S for n readings is the product of the laws of n - 1 uniform counts of inversions
    (Kendall 1975, ch. 5).
    """
    statistic, law = _exact_law(sizes)
    return float(min(1.0, law[np.abs(statistic) >= abs(s) - 1e-9].sum()))


@cache
def _exact_law(sizes: tuple[int, ...]) -> tuple[IntArray, FloatArray]:
    law = np.ones(1)
    for size in sizes:
        for count in range(2, size + 1):
            law = np.convolve(law, np.full(count, 1.0 / count))
    pairs = len(law) - 1
    return pairs - 2 * np.arange(pairs + 1), law


def _columns(
    time: npt.ArrayLike, value: npt.ArrayLike, low: npt.ArrayLike | None, high: npt.ArrayLike | None
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    times, values = np.asarray(time, dtype=float), np.asarray(value, dtype=float)
    lows = values if low is None else np.asarray(low, dtype=float)
    highs = values if high is None else np.asarray(high, dtype=float)
    if not times.shape == values.shape == lows.shape == highs.shape or times.ndim != 1:
        raise ValueError("time, value, low and high must be arrays of one dimension and one length")
    return times, values, lows, highs


def _padded(columns: Sequence[FloatArray]) -> FloatArray:
    """One row a series, NaN after its end."""
    rows = np.full((len(columns), max(len(column) for column in columns)), np.nan)
    for row, column in zip(rows, columns, strict=True):
        row[: len(column)] = column
    return rows


def _shared_table(time: FloatArray, values: FloatArray, season: IntArray) -> Table | None:
    """The table of series that share their days, without touching a value; None where days are to merge."""
    at = np.arange(float(len(time)))
    none = np.zeros(len(time), dtype=np.int64)
    days = merged_days(none, time, at, at, at, season)
    table = tabulate(days, 1)
    places = ~np.isnan(table.value[0])
    if len(days.time) < len(time) or places.sum() < len(time):
        return None
    index = np.where(places, table.value[0], 0.0).astype(np.int64)
    value = np.take(values, index, axis=1)
    if not places.all():
        value[:, ~places] = np.nan
    return Table(table.time, value, value, value)


def _of_days(days: Days, count: int, dependence: Dependence) -> Trends:
    """Series with readings off the scale apart from those without: the two have different intervals."""
    n = np.bincount(days.series, minlength=count).astype(np.int64)
    first, last = np.full(count, np.nan), np.full(count, np.nan)
    last[days.series] = days.time
    first[days.series[::-1]] = days.time[::-1]
    censored = np.zeros(count, dtype=bool)
    censored[days.series[days.low != days.high]] = True
    if censored.all() or not censored.any():
        return _trends(tabulate(days, count), n, first, last, censored, dependence)
    found = {}
    for kind in (False, True):
        which = np.flatnonzero(censored == kind)
        table = tabulate(days.of(which), len(which))
        found[kind] = _trends(table, n[which], first[which], last[which], censored[which], dependence)
    order = np.argsort(np.concatenate([np.flatnonzero(~censored), np.flatnonzero(censored)]))
    return _joined([found[False], found[True]], order)


def _joined(parts: Iterable[Trends], order: IntArray | None = None) -> Trends:
    """Several series' trends as one, in ``order`` where it is given."""
    kept = list(parts)
    columns = {
        name: np.concatenate([getattr(part, name) for part in kept])
        for name in Trends.__slots__
        if name != "dependence"
    }
    if order is not None:
        columns = {name: column[order] for name, column in columns.items()}
    return Trends(**columns, dependence=kept[0].dependence)


def _trends(
    table: Table,
    n: IntArray,
    first: FloatArray,
    last: FloatArray,
    censored: npt.NDArray[np.bool_],
    dependence: Dependence,
) -> Trends:
    count = len(table.value)
    sizes = np.broadcast_to(table.filled.sum(axis=2), (count, table.value.shape[1]))
    seasons = (sizes > 0).sum(axis=1)
    years = _median_years(sizes)
    covariant = (years >= YEARS_FOR_COVARIANCE) & (seasons > 1) & (dependence == "seasons")
    found, slopes = compare(table, between=bool(covariant.any()))
    rate = slopes.median()
    # An estimated covariance can be so negative that the sum makes no sense; independence is the floor.
    total = found.variance + found.between
    variance = np.where(covariant & (total > 0), total, found.variance)
    if dependence == "serial":
        chance, inflation = serial_law(table, rate / YEAR)
        far = reach(found.variance, chance, inflation, CONFIDENCE)
        variance = (far / _Z) ** 2
        p_value = tail(np.abs(found.s) - 1.0, found.variance, chance, inflation)
        p_value[found.variance <= 0] = 1.0
    else:
        p_value = _p_values(found.s, variance, sizes, covariant)
        spread = found.variance
        if covariant.any():
            spread = np.maximum(spread, _detrended_variance(table, rate, covariant))
        far = _Z * np.sqrt(spread)
    low, high = slopes.limits(far)
    return Trends(
        rate_per_year=rate,
        low=low,
        high=high,
        p_value=np.where(seasons > 0, p_value, np.nan),
        s=found.s,
        variance=variance,
        n=n,
        seasons=seasons,
        first=first,
        last=last,
        years=years,
        censored=censored,
        dependence=dependence,
    )


def _median_years(sizes: IntArray) -> IntArray:
    """Median number of years that a season was read in, over the seasons there are (N, K)."""
    held = np.sort(np.where(sizes > 0, sizes, np.iinfo(np.int64).max), axis=1)
    number = np.maximum((sizes > 0).sum(axis=1), 1)
    below, above = (
        np.take_along_axis(held, place[:, None], axis=1)[:, 0] for place in ((number - 1) // 2, number // 2)
    )
    below, above = np.where(sizes.any(axis=1), below, 0), np.where(sizes.any(axis=1), above, 0)
    return np.asarray((below + above) // 2, dtype=np.int64)


def _detrended_variance(table: Table, rate: FloatArray, covariant: npt.NDArray[np.bool_]) -> FloatArray:
    per_day = np.where(covariant, rate, 0.0) / YEAR
    moved = table.detrended(per_day)
    drift = np.nanmax(np.abs(moved.value - table.value), axis=(1, 2), initial=0.0)
    # A line through two readings leaves nothing but rounding between them.
    slack = ROUNDING * (np.nanmax(np.abs(table.value), axis=(1, 2), initial=0.0) + drift)
    found = statistics(moved, between=True, slack=slack)
    total = found.variance + found.between
    return np.where(covariant & (total > 0), total, 0.0)


def _p_values(
    s: FloatArray, variance: FloatArray, sizes: IntArray, covariant: npt.NDArray[np.bool_]
) -> FloatArray:
    root = np.sqrt(np.where(variance > 0, variance, 1.0))
    p_value = 2 * ndtr(-np.maximum(np.abs(s) - np.where(covariant, 0.0, 1.0), 0.0) / root)
    untied = (sizes * (sizes - 1) * (2 * sizes + 5) / 18).sum(axis=1)
    few = (sizes.sum(axis=1) < READINGS_FOR_NORMAL) & ~covariant & np.isclose(variance, untied)
    for i in np.flatnonzero(few):
        p_value[i] = kendall_exact_p(float(s[i]), tuple(sizes[i].tolist()))
    return np.where(variance > 0, p_value, 1.0)
