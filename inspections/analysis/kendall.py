"""Seasonal Kendall statistics and Sen's slopes of many series at once, on padded tables.

A :class:`Table` holds N series as arrays (N, K, Y): K seasons of Y places each, NaN where a place is empty.
Of several seasons the places are years, alike in all seasons of a series. Every pair of places of one season
is an interval of slopes and a score, and all that follows is sums and sorted pairs. Work goes in blocks of
rows that fit a processor's cache.

Sources: Hirsch, Slack and Smith (1982), Water Resour. Res. 18, 107; Hirsch and Slack (1984), Water Resour.
Res. 20, 727; Dietz and Killeen (1981), JASA 76, 169; Daniels (1944), Biometrika 33, 129; Gilbert (1987),
Statistical Methods for Environmental Pollution Monitoring, sec. 16.4 and 17.3; Akritas, Murphy and LaValley
(1995), JASA 90, 170.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inspections.analysis.records import YEAR, FloatArray

IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

#: Share of a reading's size that rounding may leave of nothing.
ROUNDING = 1e-10
#: Numbers in a block of pairs: a megabyte of them stays in a core's cache.
_BLOCK = 110_000


@dataclass(frozen=True, slots=True)
class Table:
    """N series by season and place: ``time`` (N, K, Y), or (1, K, Y) where all share their days.

    ``value``, ``low`` and ``high`` (N, K, Y) are NaN where ``time`` is. For readings that are all exact,
    ``low`` and ``high`` are ``value`` itself.
    """

    time: FloatArray
    value: FloatArray
    low: FloatArray
    high: FloatArray

    @property
    def filled(self) -> BoolArray:
        """Places that hold a reading; in the shape of ``time``."""
        return ~np.isnan(self.time)

    @property
    def exact(self) -> bool:
        """Whether no reading is off the scale."""
        return self.low is self.value and self.high is self.value

    def rows(self, which: slice | IntArray | BoolArray) -> Table:
        """Some of the series."""
        time = self.time if len(self.time) == 1 else self.time[which]
        value = self.value[which]
        if self.exact:
            return Table(time, value, value, value)
        return Table(time, value, self.low[which], self.high[which])

    def detrended(self, per_day: FloatArray) -> Table:
        """Less a line of slope ``per_day`` (N,; NaN: level) through each series."""
        start = np.nanmin(self.time, axis=(1, 2), keepdims=True, initial=np.inf)
        drift = np.nan_to_num(per_day)[:, None, None] * (self.time - start)
        value = self.value - drift
        if self.exact:
            return Table(self.time, value, value, value)
        return Table(self.time, value, self.low - drift, self.high - drift)


@dataclass(frozen=True, slots=True)
class Statistics:
    """Kendall's S of each series (N,) and its variances: of independent seasons, and between them."""

    s: FloatArray
    variance: FloatArray
    between: FloatArray

    def put(self, part: slice, columns: tuple[FloatArray, FloatArray, FloatArray]) -> None:
        """Fill some rows."""
        self.s[part], self.variance[part], self.between[part] = columns


@dataclass(frozen=True, slots=True)
class Slopes:
    """Sorted ends of every series' pair slopes, per year, and what finds a slope among them.

    For exact readings ``ends`` (N, pairs) are the slopes; otherwise (N, 2 pairs) both ends of each, infinite
    ones at the margins. ``count`` (N,) is the number of pairs, ``open_below`` of those without a lower end.
    """

    ends: FloatArray
    count: IntArray
    open_below: IntArray | None

    def median(self) -> FloatArray:
        """Sen's slope of each series (N,): where the pairs steeper are as many as the flatter."""
        if self.open_below is None:
            below, above = self._at((self.count - 1) // 2), self._at(self.count // 2)
            return np.where(below == above, below, (below + above) / 2)
        return self._where(np.zeros(len(self.count)))

    def limits(self, reach: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Slopes at which S would be ``reach`` (N,) and less that; NaN, both, where one is out of reach.

        Exact readings: ranks (N - C) / 2 and (N + C) / 2 + 1, interpolated (Gilbert 1987).
        """
        if self.open_below is None:
            low = self._interpolated((self.count - reach) / 2 - 1)
            high = self._interpolated((self.count + reach) / 2)
        else:
            low, high = self._where(reach), self._where(-reach)
        known = np.isfinite(low) & np.isfinite(high)
        return np.where(known, low, np.nan), np.where(known, high, np.nan)

    def _at(self, place: IntArray) -> FloatArray:
        held = np.clip(place, 0, self.ends.shape[1] - 1)[:, None]
        return np.take_along_axis(self.ends, held, axis=1)[:, 0]

    def _interpolated(self, place: FloatArray) -> FloatArray:
        inside = (place >= 0) & (place <= self.count - 1)
        whole = np.floor(np.where(inside, place, 0.0)).astype(np.int64)
        below, above = self._at(whole), self._at(np.minimum(whole + 1, np.maximum(self.count - 1, 0)))
        return np.where(inside, below + (np.where(inside, place, 0.0) - whole) * (above - below), np.nan)

    def _where(self, target: FloatArray) -> FloatArray:
        """The slope b at which S(b), the pairs surely steeper less those surely flatter, passes ``target``.

        S falls by one at each end, from the pairs with a lower end. Where it equals the target over a
        stretch, the answer is the middle of it. NaN where it never passes.
        """
        assert self.open_below is not None
        first = self.open_below
        number = np.isfinite(self.ends).sum(axis=1)
        start = self.count - self.open_below
        over = np.minimum(np.ceil(start - target).astype(np.int64) - 1, number - 1)
        under = np.maximum(np.floor(start - target).astype(np.int64), 0)
        found = (over >= 0) & (under < number)
        ends = [self._at(first + np.where(found, place, 0)) for place in (over, under)]
        return np.where(found, np.where(found, ends[0] + ends[1], 0.0) / 2, np.nan)


def statistics(table: Table, between: bool, slack: FloatArray | None = None) -> Statistics:
    """S and its variance (Daniels 1944, ties allowed for); the covariance between seasons where asked.

    ``slack`` (N,): differences up to this are ties.
    """
    found = _nothing(table)
    for part in _blocks(table):
        own = table.rows(part)
        margin = None if slack is None else slack[part]
        found.put(part, _statistics(own, _between(own.high, own.low), between, margin))
    return found


def compare(table: Table, between: bool) -> tuple[Statistics, Slopes]:
    """:func:`statistics` and every pair's slope, sorted; readings of one day make no pair of slopes."""
    size = table.time.shape[2] * (table.time.shape[2] - 1) // 2 * table.time.shape[1]
    years = _between(table.time, table.time)
    years /= YEAR
    years[years == 0] = np.nan
    found = _nothing(table)
    ends = np.empty((len(table.value), size if table.exact else 2 * size))
    for part in _blocks(table):
        span = years if len(years) == 1 else years[part]
        own = table.rows(part)
        rise = _between(own.high, own.low)
        found.put(part, _statistics(own, rise, between, None))
        rise /= span
        ends[part, :size] = rise.reshape(len(rise), -1)
        if not table.exact:
            ends[part, size:] = np.divide(_between(own.low, own.high), span).reshape(len(rise), -1)
        ends[part].sort(axis=1)
    count = np.broadcast_to((years > 0).sum(axis=(1, 2)), len(table.value))
    return found, Slopes(ends, count, None if table.exact else np.isneginf(ends).sum(axis=1))


def _nothing(table: Table) -> Statistics:
    return Statistics(*(np.zeros(len(table.value)) for _ in range(3)))


def _blocks(table: Table) -> Iterator[slice]:
    _, seasons, places = table.time.shape
    rows = max(1, _BLOCK // max(1, seasons * places * (places - 1) // 2))
    for start in range(0, len(table.value), rows):
        yield slice(start, start + rows)


def _between(earlier: FloatArray, later: FloatArray) -> FloatArray:
    """The later less the earlier of every pair of places (N, K, pairs), ordered by how far they lie apart."""
    n, seasons, places = later.shape
    out = np.empty((n, seasons, places * (places - 1) // 2))
    start = 0
    for lag in range(1, places):
        stop = start + places - lag
        np.subtract(later[:, :, lag:], earlier[:, :, :-lag], out=out[:, :, start:stop])
        start = stop
    return out


def _incidence(places: int) -> FloatArray:
    """Which pairs each place is in: -1 as the earlier, 1 as the later; (pairs, places)."""
    earlier = np.concatenate([np.arange(places - lag) for lag in range(1, places)] or [np.zeros(0, int)])
    later = np.concatenate([np.arange(lag, places) for lag in range(1, places)] or [np.zeros(0, int)])
    matrix = np.zeros((len(earlier), places))
    matrix[np.arange(len(earlier)), earlier] = -1.0
    matrix[np.arange(len(earlier)), later] = 1.0
    return matrix


def _scores(table: Table, rise: FloatArray, slack: FloatArray | None) -> FloatArray:
    """Score of every pair (N, K, pairs): 1 where the later is surely above, -1 where surely below, else 0.

    ``rise``: the later's lower bound less the earlier's upper.
    """
    margin = 0.0 if slack is None else slack[:, None, None]
    if table.exact:
        return (rise > margin).astype(float) - (rise < -margin)
    fall = _between(table.low, table.high)
    up, down = rise > margin, fall < -margin
    # A reading below the scale lies below a plain one at its limit, so that equal bounds count.
    differs = _between(*2 * (np.where(np.isneginf(table.low), 1.0, 0.0),))
    return (up | (differs < 0) & (rise >= margin)).astype(float) - (down | (differs > 0) & (fall <= -margin))


def _statistics(
    table: Table, rise: FloatArray, between: bool, slack: FloatArray | None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    n, _, places = table.value.shape
    size = table.filled.sum(axis=2).astype(float)
    none = np.zeros(n)
    variance = none + (size * (size - 1) * (2 * size + 5) / 18).sum(axis=1)
    pairs = (size * (size - 1) / 2).sum(axis=1)
    if not between and table.exact and slack is None and not np.any(rise == 0):
        ups = np.count_nonzero((rise > 0).reshape(n, -1), axis=1)
        return 2.0 * ups - pairs, variance, none
    score = _scores(table, rise, slack)
    rank = score @ _incidence(places)
    counted = np.abs(score).sum(axis=2)
    tied = counted.sum(axis=1) < pairs
    own = size if len(size) == 1 else size[tied]
    variance[tied] = _daniels(own, counted[tied], (rank[tied] ** 2).sum(axis=2))
    if not between:
        return score.sum(axis=(1, 2)), variance, none
    # Sum over all pairs of seasons, less the seasons with themselves.
    concordance = (score.sum(axis=1) ** 2).sum(axis=1) - counted.sum(axis=1)
    ranks = (rank.sum(axis=1) ** 2).sum(axis=1) - (rank**2).sum(axis=(1, 2))
    return score.sum(axis=(1, 2)), variance, (concordance + ranks) / 3


def _daniels(size: FloatArray, counted: FloatArray, ranks: FloatArray) -> FloatArray:
    """Variance of S over permutations, from the pairs that count and the sum of squared ranks, (N, K) each.

    The times are untied, with squared scores n(n-1) and squared ranks n(n-1)(n+1)/3 in all, so that his
    second term is a third of what the values' squared ranks hold beyond their scores.
    """
    return np.asarray((counted + np.where(size > 2, (ranks - 2 * counted) / 3, 0.0)).sum(axis=1), dtype=float)


def pair_scores(low: FloatArray, high: FloatArray) -> FloatArray:
    """Score of each pair (i, j): 1 where j is surely above i, -1 where surely below, else 0."""
    below = np.isneginf(low)
    first_high, second_low = high[:, None], low[None, :]
    up = (second_low > first_high) | (below[:, None] & (second_low >= first_high))
    return up.astype(float) - up.T


def kendall_of_scores(time_score: FloatArray, value_score: FloatArray) -> tuple[float, float]:
    """Kendall's S for skew-symmetric scores (n, n), and its variance under permutation (Daniels 1944)."""
    n = len(time_score)
    squares = (time_score**2).sum() * (value_score**2).sum()
    variance = 2 * squares / (n * (n - 1))
    if n > 2:
        rows = [(score.sum(axis=1) ** 2).sum() - (score**2).sum() for score in (time_score, value_score)]
        variance += 4 * rows[0] * rows[1] / (n * (n - 1) * (n - 2))
    return float((time_score * value_score).sum() / 2), float(variance / 4)
