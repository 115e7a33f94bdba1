"""Loss that never mends itself: monotone fits, onset and growth.

The share of a coat that has come loose or fallen can only grow (mended area stays in the sum). Times are days
since 1970-01-01, shares are of the coated area.

Sources: Ayer et al. (1955), Ann. Math. Stat. 26, 641, and Robertson, Wright and Dykstra (1988), Order
Restricted Statistical Inference, ch. 1 (isotonic regression).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri, stdtrit

from inspections.analysis.records import YEAR, FloatArray

#: A share that sounding or outlining can't tell from none: a palm's breadth on a few square metres of wall.
#: Common practice.
DETECTION_LIMIT = 0.005
#: Standard deviation of a surveyed share: a floor, and a part of the share itself for the outline. Two people
#: tapping one wall agree no better; common practice, no source.
ERROR_FLOOR = 0.003
ERROR_SHARE = 0.10
#: One-sided level at which a fit is clearly above zero.
CLEARLY = 0.95
#: Years over which recent growth is measured, and the fewest surveys that may carry it.
RECENT_YEARS = 3.0
RECENT_SURVEYS = 4
_ALTERNATIONS = 200
#: Shares this near are the same: the three-thousandth part of a survey's least error.
_NEAR = 1e-6


@dataclass(frozen=True, slots=True)
class Loss:
    """A monotone fit to surveyed shares; ``time`` and ``fit`` have one entry a survey day.

    ``onset`` is the first day on which the fit is clearly above zero, ``onset_earliest`` the last survey
    before it (loss began after that day; -inf: before the first survey). NaN where there is no loss yet.
    ``rate_per_year`` is the recent growth with its 95 % interval (NaN where too few surveys), never
    negative.
    ``error_sd`` (n,) is the standard deviation of a survey.
    """

    time: FloatArray
    fit: FloatArray
    error_sd: FloatArray
    onset: float
    onset_earliest: float
    rate_per_year: float
    rate_low: float
    rate_high: float
    n: int
    method: str


def isotonic(value: npt.ArrayLike, weights: npt.ArrayLike | None = None) -> FloatArray:
    """Least-squares fit to ``value`` (n,) that never falls: pool adjacent violators (Ayer et al. 1955)."""
    values = np.asarray(value, dtype=float)
    mass = np.ones(len(values)) if weights is None else np.asarray(weights, dtype=float)
    means: list[float] = []
    masses: list[float] = []
    sizes: list[int] = []
    for one, weight in zip(values.tolist(), mass.tolist(), strict=True):
        size = 1
        while means and means[-1] >= one:
            total = masses[-1] + weight
            one = (masses.pop() * means.pop() + weight * one) / total if total > 0 else one
            weight = total
            size += sizes.pop()
        means.append(one)
        masses.append(weight)
        sizes.append(size)
    return np.repeat(means, sizes)


def isotonic_between(low: FloatArray, high: FloatArray, weights: FloatArray | None = None) -> FloatArray:
    """Fit (n,) that never falls and lies nearest to the intervals [low, high], in weighted least squares.

    Alternates between the nearest points of the intervals and the isotonic fit to them; each step brings the
    two convex sets nearer (Bauschke and Borwein 1996, SIAM Rev. 38, 367). Exact where low equals high.
    """
    fit = isotonic(np.where(np.isfinite(low), low, high), weights)
    for _ in range(_ALTERNATIONS):
        previous, nearest = fit, np.clip(fit, low, high)
        if np.array_equal(nearest, fit):
            break
        fit = isotonic(nearest, weights)
        if np.abs(fit - previous).max(initial=0.0) < _NEAR:
            break
    return fit


def survey_error(share: npt.ArrayLike) -> FloatArray:
    """Standard deviation of a surveyed share: a floor and a tenth of the share, in squares."""
    return np.asarray(np.hypot(ERROR_FLOOR, ERROR_SHARE * np.asarray(share, dtype=float)), dtype=float)


def cumulative_loss(
    time: npt.ArrayLike,
    fraction: npt.ArrayLike,
    low: npt.ArrayLike | None = None,
    high: npt.ArrayLike | None = None,
    detection_limit: float = DETECTION_LIMIT,
) -> Loss | None:
    """Monotone fit to the affected share (n,) at days ``time``; None without a survey.

    ``low`` and ``high`` bound a share that was seen in part (a lower bound: high inf). A share at or under
    the detection limit is only known to lie between zero and that limit.
    """
    times, lows, highs = survey_bounds(time, fraction, low, high, detection_limit)
    if not len(times):
        return None
    rough = isotonic_between(lows, highs)
    error = survey_error(rough)
    fit = isotonic_between(lows, highs, error**-2)
    onset, earliest = onset_of(times, fit, error, detection_limit)
    rate, rate_low, rate_high, surveys = _recent_growth(times, np.clip(fit, lows, highs), error)
    method = "isotonic regression"
    if np.isnan(rate_low):
        method += "; too few surveys for the growth's 95 % interval"
    elif surveys:
        method += f"; growth over the last {surveys} surveys"
    return Loss(times, fit, error, onset, earliest, rate, rate_low, rate_high, len(times), method)


def survey_bounds(
    time: npt.ArrayLike,
    fraction: npt.ArrayLike,
    low: npt.ArrayLike | None,
    high: npt.ArrayLike | None,
    detection_limit: float,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Sorted days, and the bounds of the share on each; of several surveys a day the tightest bounds."""
    times, shares = np.floor(np.asarray(time, dtype=float)), np.asarray(fraction, dtype=float)
    lows = shares if low is None else np.asarray(low, dtype=float)
    highs = shares if high is None else np.asarray(high, dtype=float)
    unseen = (lows == highs) & (shares <= detection_limit)
    lows, highs = np.where(unseen, 0.0, np.maximum(lows, 0.0)), np.where(unseen, detection_limit, highs)
    known = np.isfinite(times) & ~np.isnan(lows) & ~np.isnan(highs)
    days, place = np.unique(times[known], return_inverse=True)
    lower, upper = np.full(len(days), -np.inf), np.full(len(days), np.inf)
    np.maximum.at(lower, place, lows[known])
    np.minimum.at(upper, place, highs[known])
    middle = (lower + upper) / 2
    crossed = lower > upper
    return days, np.where(crossed, middle, lower), np.where(crossed, middle, upper)


def onset_of(
    time: FloatArray, fit: FloatArray, error: FloatArray, detection_limit: float
) -> tuple[float, float]:
    margin = float(ndtri(CLEARLY)) * error / np.sqrt(_block_sizes(fit))
    clear = (fit > detection_limit) & (fit > margin)
    if not clear.any():
        return np.nan, np.nan
    first = int(np.argmax(clear))
    return float(time[first]), float(time[first - 1]) if first else -np.inf


def _block_sizes(fit: FloatArray) -> FloatArray:
    """How many surveys each level of the fit rests on."""
    _, block, count = np.unique(fit, return_inverse=True, return_counts=True)
    return np.asarray(count[block], dtype=float)


def _recent_growth(time: FloatArray, share: FloatArray, error: FloatArray) -> tuple[float, float, float, int]:
    """Slope of the last years' surveys by weighted least squares, with the larger of two standard errors."""
    recent = time >= time[-1] - RECENT_YEARS * YEAR
    recent[-RECENT_SURVEYS:] = True
    n = int(recent.sum())
    if n < 2:
        return np.nan, np.nan, np.nan, n
    years, value, weight = (time[recent] - time[-1]) / YEAR, share[recent], error[recent] ** -2
    centred = years - np.average(years, weights=weight)
    information = float(weight @ centred**2)
    slope = float((weight * centred) @ value / information)
    if n < 3:
        return max(slope, 0.0), np.nan, np.nan, n
    residual = value - np.average(value, weights=weight) - slope * centred
    scatter = max(1.0, float(weight @ residual**2) / (n - 2))
    reach = float(stdtrit(n - 2, 0.975)) * np.sqrt(scatter / information)
    return max(slope, 0.0), max(slope - reach, 0.0), max(slope + reach, 0.0), n
