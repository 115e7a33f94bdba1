"""Rates of change that survive season, gaps, ties, outliers and readings off the scale.

Mann-Kendall and seasonal Kendall tests with Sen's slope. Times are float days since 1970-01-01 and rates are
per year of :data:`~inspections.analysis.records.YEAR` days.

Readings are intervals. A pair of readings counts up or down only where the intervals leave no doubt;
otherwise it counts as a tie. ``<x`` is (-inf, x) and lies below a plain x, as in Helsel (2012), Statistics
for Censored Environmental Data, ch. 8 and 12; ``>x`` is [x, inf), so that a plain x and ``>x`` tie.

Sources: Mann (1945); Kendall (1975), Rank Correlation Methods; Sen (1968), JASA 63, 1379; Hirsch, Slack and
Smith (1982), Water Resour. Res. 18, 107; Hirsch and Slack (1984), Water Resour. Res. 20, 727; Dietz and
Killeen (1981), JASA 76, 169; Hamed and Rao (1998), J. Hydrol. 204, 182; Daniels (1944), Biometrika 33, 129;
Gilbert (1987), Statistical Methods for Environmental Pollution Monitoring, ch. 16 and 17; Akritas, Murphy and
LaValley (1995), JASA 90, 170.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from inspections.analysis.records import YEAR, FloatArray, Readings

IntArray = npt.NDArray[np.int64]

#: Two-sided level of the intervals.
CONFIDENCE = 0.95
#: Years of record from which the covariance between seasons is estimated rather than taken as zero. The
#: US Geological Survey's program for the test advises more than ten (Helsel, Mueller and Slack 2006).
YEARS_FOR_COVARIANCE = 10
#: Years from which that covariance, of the detrended readings, is taken where it widens the answer. Of
#: simulated walls of 5 to 9 years whose errors last half a year, the interval then holds 86 % of the true
#: rates, and 78 % without.
YEARS_FOR_CAUTION = 5
#: Below this many readings, and without ties, the exact law of S replaces the normal one (Gilbert 1987,
#: ch. 16: the approximation is used from ten readings on).
READINGS_FOR_NORMAL = 10
#: Share of a reading's size that rounding may leave of nothing.
ROUNDING = 1e-10
#: Meteorological seasons: December to February is 0, and so on.
METEOROLOGICAL_SEASONS = 4


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
    ``s`` is Kendall's statistic and ``variance`` that of its null law; ``n`` counts the days with a reading,
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
class _Season:
    """The readings of one season, sorted by time; ``cycle`` numbers the years."""

    time: FloatArray
    value: FloatArray
    low: FloatArray
    high: FloatArray
    cycle: IntArray
    #: Differences up to this are ties: a line through two readings leaves nothing but rounding between them.
    slack: float = 0.0

    def __len__(self) -> int:
        return len(self.time)

    def detrended(self, per_day: float) -> _Season:
        drift = per_day * (self.time - self.time[0])
        slack = ROUNDING * float(np.abs(self.value).max() + np.abs(drift).max())
        moved = {name: getattr(self, name) - drift for name in ("value", "low", "high")}
        return replace(self, **moved, slack=slack)


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
    known = np.isfinite(times) & ~np.isnan(values)
    days, group = np.unique(np.floor(times[known]), return_inverse=True)
    value_of, low_of, high_of = (
        _group_medians(column[known], group, len(days)) for column in (values, lows, highs)
    )
    return Series(days, value_of, low_of, high_of, np.bincount(group, minlength=len(days)).astype(np.int64))


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
    s, variance = _kendall_of_scores(_order(times, times), _order(lows, highs))
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
    return _median_slope(_pair_slopes(_Season(times[order], values[order], lows[order], highs[order], order)))


def mann_kendall(
    time: npt.ArrayLike,
    value: npt.ArrayLike,
    low: npt.ArrayLike | None = None,
    high: npt.ArrayLike | None = None,
) -> Trend:
    """Mann-Kendall test and Sen's slope, season not removed; arguments as in :func:`seasonal_kendall`."""
    one = np.zeros(np.shape(np.asarray(time)), dtype=int)
    return seasonal_kendall(time, value, one, low, high)


def seasonal_kendall(
    time: npt.ArrayLike,
    value: npt.ArrayLike,
    season: npt.ArrayLike,
    low: npt.ArrayLike | None = None,
    high: npt.ArrayLike | None = None,
) -> Trend:
    """Seasonal Kendall test with Sen's slope over pairs within a season; all arguments of shape (n,).

    ``time``: days, in any order, at any spacing; readings of one day are merged first. ``season``: whole
    numbers. ``low`` and ``high`` bound readings off the scale (default: ``value``). Several days in one
    season of one year are merged too (median), as in the program of the US Geological Survey, unless there
    is but one season. From ten years on the variance holds the covariance between seasons (Hirsch and Slack
    1984) and, as in that paper, there is no continuity correction. From five to nine the seasons are taken as
    independent or as covariant, whichever variance is larger, the covariance being that of the readings less
    Sen's slope (as Hamed and Rao 1998 do with autocorrelation); with fewer years they are independent.

    The interval is Gilbert's (1987, sec. 16.4.2 and 17.3): ordered slopes at ranks (N - C)/2 and
    (N + C)/2 + 1, interpolated, C = z sqrt(Var S); for readings off the scale, the slopes at which S would be
    C and -C (Akritas et al. 1995). An answer without readings or without pairs has NaN for the rate.
    """
    days, labels = _merged_with_season(time, value, season, low, high)
    groups = _seasons(days, labels)
    if not groups:
        return _no_trend(days)
    censored = bool(np.any(days.low != days.high))
    slopes = np.concatenate([_pair_slopes(group) for group in groups])
    rate = _median_slope(slopes)
    years = _years(groups) if len(groups) > 1 else 0
    corrected = years >= YEARS_FOR_COVARIANCE
    s, variance = _statistic(groups, corrected)
    spread = _statistic(groups, False)[1]
    if years >= YEARS_FOR_CAUTION:
        spread = max(spread, _statistic([group.detrended(rate / YEAR) for group in groups], True)[1])
    variance = variance if corrected else spread
    p_value = _p_value(s, variance, groups, corrected)
    low_rate, high_rate = _interval(slopes, spread, censored)
    return Trend(
        rate_per_year=rate,
        low=low_rate,
        high=high_rate,
        p_value=p_value,
        s=s,
        variance=variance,
        n=len(days),
        seasons=len(groups),
        method=_describe(len(groups), years, censored, np.isfinite(low_rate)),
        first=float(days.time[0]),
        last=float(days.time[-1]),
    )


def trend(
    time: npt.ArrayLike,
    value: npt.ArrayLike,
    low: npt.ArrayLike | None = None,
    high: npt.ArrayLike | None = None,
) -> Trend:
    """The strongest rate that the readings allow: by the four seasons, else (too few) over all visits alike.

    The second is weaker, since the season is still in it, and is only taken where it gives an interval and
    the first does not; ``method`` names the one that was used.
    """
    by_season = seasonal_kendall(time, value, season_of(time), low, high)
    if np.isfinite(by_season.low):
        return by_season
    plain = mann_kendall(time, value, low, high)
    if np.isfinite(plain.low) or not np.isfinite(by_season.rate_per_year):
        return replace(plain, method=f"{plain.method}; too few visits to take the season out")
    return by_season


def season_of(time: npt.ArrayLike, seasons: int = METEOROLOGICAL_SEASONS) -> IntArray:
    """Season of each day, 0 to ``seasons`` - 1 (a divisor of 12), from December on."""
    days = np.floor(np.asarray(time, dtype=float)).astype("datetime64[D]")
    month = days.astype("datetime64[M]").astype(np.int64) % 12
    return np.asarray(((month + 1) % 12) // (12 // seasons), dtype=np.int64)


def kendall_exact_p(s: float, sizes: tuple[int, ...]) -> float:
    """Two-sided exact p of S summed over independent seasons of ``sizes`` readings without ties.

    The law of S for n readings is the product of the laws of n - 1 uniform counts of inversions
    (Kendall 1975, ch. 5).
    """
    law = np.ones(1)
    for size in sizes:
        for count in range(2, size + 1):
            law = np.convolve(law, np.full(count, 1.0 / count))
    pairs = len(law) - 1
    statistic = pairs - 2 * np.arange(pairs + 1)
    return float(min(1.0, law[np.abs(statistic) >= abs(s) - 1e-9].sum()))


def _columns(
    time: npt.ArrayLike, value: npt.ArrayLike, low: npt.ArrayLike | None, high: npt.ArrayLike | None
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    times, values = np.asarray(time, dtype=float), np.asarray(value, dtype=float)
    lows = values if low is None else np.asarray(low, dtype=float)
    highs = values if high is None else np.asarray(high, dtype=float)
    if not times.shape == values.shape == lows.shape == highs.shape or times.ndim != 1:
        raise ValueError("time, value, low and high must be arrays of one dimension and one length")
    return times, values, lows, highs


def _group_medians(column: FloatArray, group: IntArray, groups: int) -> FloatArray:
    if len(column) == groups:
        result = np.empty(groups)
        result[group] = column
        return result
    order = np.lexsort((column, group))
    counts = np.bincount(group, minlength=groups)
    start = np.cumsum(counts) - counts
    below, above = column[order][start + (counts - 1) // 2], column[order][start + counts // 2]
    with np.errstate(invalid="ignore"):
        middle = (below + above) / 2
    return np.asarray(np.where(below == above, below, middle), dtype=float)


def _merged_with_season(
    time: npt.ArrayLike,
    value: npt.ArrayLike,
    season: npt.ArrayLike,
    low: npt.ArrayLike | None,
    high: npt.ArrayLike | None,
) -> tuple[Series, IntArray]:
    labels = np.asarray(season)
    days = merge_days(time, value, low, high)
    whole = np.floor(np.asarray(time, dtype=float))
    if labels.shape != whole.shape:
        raise ValueError("season must have one label for each time")
    known = np.isfinite(whole)
    unique, first = np.unique(whole[known], return_index=True)
    kept = np.isin(unique, days.time)
    return days, labels[known][first[kept]].astype(np.int64)


def _seasons(days: Series, labels: IntArray) -> list[_Season]:
    """The seasons that hold two readings or more, one a year where there are several seasons."""
    names = np.unique(labels)
    if not len(names):
        return []
    elapsed = days.time - days.time[0]
    middles = {name: _middle(elapsed[labels == name]) for name in names}
    earliest = middles[labels[0]]
    groups = []
    for name in names:
        part = days.where(labels == name)
        # Years are counted from the season that the record begins in, so that they match between seasons.
        middle = earliest + (middles[name] - earliest) % YEAR
        cycle = np.round((elapsed[labels == name] - middle) / YEAR).astype(np.int64)
        group = _Season(part.time, part.value, part.low, part.high, cycle)
        groups.append(_one_a_year(group) if len(names) > 1 else group)
    return [group for group in groups if len(group) > 1]


def _middle(elapsed: FloatArray) -> float:
    """Circular mean of the place in the year, in days."""
    return float(np.angle(np.exp(2j * np.pi * elapsed / YEAR).mean()) / (2 * np.pi) * YEAR)


def _one_a_year(season: _Season) -> _Season:
    cycles, group = np.unique(season.cycle, return_inverse=True)
    if len(cycles) == len(season):
        return season
    time, value, low, high = (
        _group_medians(column, group, len(cycles))
        for column in (season.time, season.value, season.low, season.high)
    )
    return _Season(time, value, low, high, cycles)


def _years(groups: list[_Season]) -> int:
    """Median number of years that a season was read in."""
    return int(np.median([len(group) for group in groups]))


def _order(low: FloatArray, high: FloatArray, slack: float = 0.0) -> FloatArray:
    """Score of each pair (i, j): 1 where j is surely above i, -1 where surely below, else 0."""
    below = np.isneginf(low)
    first_high, second_low = high[:, None] + slack, low[None, :]
    up = (second_low > first_high) | (below[:, None] & (second_low >= first_high))
    return up.astype(float) - up.T


def _kendall_of_scores(time_score: FloatArray, value_score: FloatArray) -> tuple[float, float]:
    """Kendall's S for skew-symmetric scores (n, n), and its variance under permutation (Daniels 1944)."""
    n = len(time_score)
    squares = (time_score**2).sum() * (value_score**2).sum()
    variance = 2 * squares / (n * (n - 1))
    if n > 2:
        rows = [(score.sum(axis=1) ** 2).sum() - (score**2).sum() for score in (time_score, value_score)]
        variance += 4 * rows[0] * rows[1] / (n * (n - 1) * (n - 2))
    return float((time_score * value_score).sum() / 2), float(variance / 4)


def _statistic(groups: list[_Season], corrected: bool) -> tuple[float, float]:
    scores = [_order(group.low, group.high, group.slack) for group in groups]
    parts = [
        _kendall_of_scores(_order(group.time, group.time), score)
        for group, score in zip(groups, scores, strict=True)
    ]
    s = sum(part[0] for part in parts)
    variance = sum(part[1] for part in parts)
    if corrected:
        # An estimated covariance can be so negative that the sum makes no sense; independence is the floor.
        total = variance + _covariance_between(groups, scores)
        variance = total if total > 0 else variance
    return float(s), float(variance)


def _covariance_between(groups: list[_Season], scores: list[FloatArray]) -> float:
    """Sum of the covariances of S between seasons (Dietz and Killeen 1981; Hirsch and Slack 1984, eq. 7).

    (K + 4 sum R R - n (n_g + 1)(n_h + 1)) / 3, written with D = 2 R - (n + 1), the score of a year against
    all others: (K + sum D D) / 3. A year without a reading has the middle rank, D = 0.
    """
    cycles = np.unique(np.concatenate([group.cycle for group in groups]))
    shape = (len(groups), len(cycles), len(cycles))
    padded = np.zeros(shape)
    for row, (group, score) in enumerate(zip(groups, scores, strict=True)):
        place = np.searchsorted(cycles, group.cycle)
        padded[row][np.ix_(place, place)] = score
    flat = padded.reshape(len(groups), -1)
    rank = padded.sum(axis=1)
    covariance = (flat @ flat.T / 2 + rank @ rank.T) / 3
    return float(covariance.sum() - np.trace(covariance))


def _p_value(s: float, variance: float, groups: list[_Season], corrected: bool) -> float:
    if variance <= 0:
        return 1.0
    if corrected:
        return float(2 * ndtr(-abs(s) / np.sqrt(variance)))
    sizes = tuple(len(group) for group in groups)
    untied = sum(size * (size - 1) * (2 * size + 5) / 18 for size in sizes)
    if sum(sizes) < READINGS_FOR_NORMAL and np.isclose(variance, untied):
        return kendall_exact_p(s, sizes)
    return float(2 * ndtr(-max(abs(s) - 1.0, 0.0) / np.sqrt(variance)))


def _pair_slopes(season: _Season) -> FloatArray:
    """Bounds of the slope per year of every pair of readings, shape (pairs, 2)."""
    first, second = np.triu_indices(len(season), 1)
    years = (season.time[second] - season.time[first]) / YEAR
    apart = years > 0
    first, second, years = first[apart], second[apart], years[apart]
    least = (season.low[second] - season.high[first]) / years
    most = (season.high[second] - season.low[first]) / years
    return np.column_stack([least, most])


def _median_slope(slopes: FloatArray) -> float:
    least, most = slopes[:, 0], slopes[:, 1]
    if np.array_equal(least, most):
        return float(np.median(least)) if len(least) else np.nan
    return _slope_where(np.sort(least), np.sort(most), 0.0)


def _interval(slopes: FloatArray, variance: float, censored: bool) -> tuple[float, float]:
    least, most = np.sort(slopes[:, 0]), np.sort(slopes[:, 1])
    reach = float(ndtri(0.5 + CONFIDENCE / 2) * np.sqrt(variance))
    if censored:
        low, high = _slope_where(least, most, reach), _slope_where(least, most, -reach)
    else:
        low = _at_rank(least, (len(least) - reach) / 2)
        high = _at_rank(least, (len(least) + reach) / 2 + 1)
    return (low, high) if np.isfinite(low) and np.isfinite(high) else (np.nan, np.nan)


def _at_rank(ordered: FloatArray, rank: float) -> float:
    """Ordered value at a rank counted from 1, interpolated; NaN outside the ranks there are."""
    if not 1 <= rank <= len(ordered):
        return np.nan
    return float(np.interp(rank, np.arange(1, len(ordered) + 1), ordered))


def _slope_where(least: FloatArray, most: FloatArray, target: float) -> float:
    """The slope b at which S(b), the pairs surely steeper less those surely flatter, passes ``target``.

    ``least`` and ``most`` are sorted. S falls in steps; where it equals the target over a stretch, the answer
    is the middle of it. NaN where it never passes.
    """
    ends = np.concatenate([least, most])
    ends = np.unique(ends[np.isfinite(ends)])
    count = len(least)
    before = count - np.searchsorted(least, ends, "left") - np.searchsorted(most, ends, "left")
    after = count - np.searchsorted(least, ends, "right") - np.searchsorted(most, ends, "right")
    above, under = ends[before > target], ends[after < target]
    return float((above[-1] + under[0]) / 2) if len(above) and len(under) else np.nan


def _describe(seasons: int, years: int, censored: bool, has_interval: bool) -> str:
    words = ["Mann-Kendall and Sen's slope" if seasons == 1 else "seasonal Kendall and Sen's slope"]
    if years >= YEARS_FOR_CAUTION:
        words.append("covariance between seasons allowed for")
    elif seasons > 1:
        words.append("seasons taken as independent")
    if censored:
        words.append("readings off the scale as intervals")
    if not has_interval:
        words.append("too few readings for a 95 % interval")
    return "; ".join(words)


def _no_trend(days: Series) -> Trend:
    first, last = (float(days.time[0]), float(days.time[-1])) if len(days) else (np.nan, np.nan)
    unknown = dict.fromkeys(("rate_per_year", "low", "high", "p_value"), np.nan)
    method = "too few readings for a rate"
    return Trend(
        **unknown, s=0.0, variance=0.0, n=len(days), seasons=0, method=method, first=first, last=last
    )
