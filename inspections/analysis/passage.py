"""When a loss that never mends itself reaches its threshold: first passage of a gamma process.

The share lost grows by independent gamma increments from an onset on (van Noortwijk 2009, Reliab. Eng. Syst.
Saf. 94, 2: mean rate and jumps a year are constant, growth over t years has shape jumps t). Surveys see it
with error, down to a detection limit, and at times only in part. Onset, rate and jumps are unknown: a grid of
them is weighed by its likelihood, the growth between surveys filtered as normal with the process's mean and
variance (Kalman 1960; readings known to an interval by the moments of a truncated normal), and the dates are
those of the mixture, with the process's own law from the last survey on. Where no loss is to be seen yet,
what could have been lost unseen stands for it. A repair or a new coat begins a new series.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import betaincc, gammainc, gammaincc, gammaln, ndtri

from inspections.analysis.linear import interval_moments
from inspections.analysis.monotone import (
    DETECTION_LIMIT,
    ERROR_FLOOR,
    ERROR_SHARE,
    isotonic_between,
    onset_of,
    survey_bounds,
    survey_error,
)
from inspections.analysis.records import YEAR, FloatArray
from inspections.analysis.tabulating import median

#: Longest forecast, years.
HORIZON = 30.0
#: Probabilities at the early, the expected (median) and the late date.
EARLY, EXPECTED, LATE = 0.1, 0.5, 0.9
#: Shares a year that a coat may lose, and small losses a year that make them up: from steady wear to a patch
#: every few years. All as likely beforehand, on a logarithmic scale. Ours.
RATES = np.geomspace(0.001, 0.1, 16)
JUMPS = np.array([0.3, 0.7, 1.5, 3.0, 6.0, 15.0])
#: Years before the first survey at which a loss that it found may have begun, and days tried from then on.
BEFORE = np.array([16.0, 8.0, 4.0, 2.0, 1.0, 0.5])
ONSETS = 20
#: Growth by rare jumps is skewed, the more so over short steps, and tells less than the filter's normal law
#: takes it for: the likelihood is raised to this power times the root of the years between surveys. Chosen so
#: that intervals of 95 % hold about as many of simulated passages (``tests/simulation/coverage.py``).
TEMPER = 0.55
#: Independent small losses a year where the surveys tell nothing of them. Ours.
JUMPS_PER_YEAR = 1.0

#: Parts of the mixture that weigh less than this, in proportion to the heaviest, are left out.
_NEGLIGIBLE = 1e-2
_RATE, _JUMPS = (grid.ravel() for grid in np.meshgrid(RATES, JUMPS, indexing="ij"))
_SPREAD = _RATE**2 / _JUMPS
_SMALL = 1.1
#: Normal quadrature for the level at the last survey.
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(3)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
#: Dates are found to the horizon's part by this number, two thirds of a day.
_STEPS = 2**14


@dataclass(frozen=True, slots=True)
class Passage:
    """Days on which the threshold is reached with probability 10 %, 50 % and 90 %; inf beyond the horizon.

    ``rate_per_year`` and ``jumps_per_year`` are the mixture's means, ``level`` and ``level_sd`` the share
    lost by the last survey.
    """

    early: float
    expected: float
    late: float
    rate_per_year: float
    jumps_per_year: float
    level: float
    level_sd: float
    method: str


@dataclass(frozen=True, slots=True)
class _Mixture:
    """Parts (g,) with their chances, rates, jumps, and level with its variance at the last survey."""

    chance: FloatArray
    rate: FloatArray
    jumps: FloatArray
    level: FloatArray
    variance: FloatArray
    last: float

    def passed(self, threshold: float, day: FloatArray) -> FloatArray:
        """P(threshold reached by each ``day`` (m,)), shape (m,)."""
        level = np.maximum(self.level[:, None] + np.sqrt(self.variance)[:, None] * _NODES, 0.0)
        need = np.maximum(threshold - level, 0.0)
        years = np.maximum(day - self.last, 0.0) / YEAR
        shape = np.maximum(self.jumps[:, None, None] * years, np.finfo(float).tiny)
        size = (need * (self.jumps / self.rate)[:, None])[:, :, None]
        return np.asarray(np.einsum("g,q,gqm->m", self.chance, _WEIGHTS, _grown(shape, size)), dtype=float)

    def mean(self, of: FloatArray) -> float:
        return float(self.chance @ of)


@dataclass(frozen=True, slots=True)
class _Unseen:
    """What may pass where nothing was seen: growth to come over unseen growth so far, a ratio of gammas."""

    grown: float
    exposure: float
    last: float

    def passed(self, threshold: float, day: FloatArray) -> FloatArray:
        ahead = np.maximum(JUMPS_PER_YEAR * (day - self.last) / YEAR, np.finfo(float).tiny)
        share = threshold / (threshold + self.grown)
        return np.asarray(betaincc(ahead, JUMPS_PER_YEAR * self.exposure, share), dtype=float)


def first_passage(
    time: npt.ArrayLike,
    fraction: npt.ArrayLike,
    threshold: float,
    as_of: float,
    low: npt.ArrayLike | None = None,
    high: npt.ArrayLike | None = None,
    detection_limit: float = DETECTION_LIMIT,
    chances: tuple[float, float, float] = (EARLY, EXPECTED, LATE),
) -> Passage | None:
    """When the affected share reaches ``threshold``, told on day ``as_of``; None without a survey till then.

    ``time`` (n,) in days and ``fraction``, with bounds, as in :func:`.monotone.cumulative_loss`. ``chances``:
    the probabilities of having passed at the three dates. A dated passage in the past is given by the
    isotonic fit.
    """
    times, lows, highs = survey_bounds(time, fraction, low, high, detection_limit)
    until = times <= np.floor(as_of)
    times, lows, highs = times[until], lows[until], highs[until]
    if not len(times):
        return None
    error = survey_error(isotonic_between(lows, highs))
    fit = isotonic_between(lows, highs, error**-2)
    onset, _ = onset_of(times, fit, error, detection_limit)
    future: _Mixture | _Unseen
    if np.isnan(onset):
        exposure = max(times[-1] - times[0], YEAR) / YEAR
        future = _Unseen(max(float(fit[-1]), detection_limit / 2), exposure, float(times[-1]))
        rate, jumps = future.grown / exposure, JUMPS_PER_YEAR
        level, level_sd = float(fit[-1]), float(error[-1])
        method = "gamma process; no loss seen, what could have been lost unseen"
    else:
        future = _mixture(times, lows, highs)
        rate, jumps, level = (future.mean(of) for of in (future.rate, future.jumps, future.level))
        level_sd = float(np.sqrt(future.mean(future.variance + (future.level - level) ** 2)))
        method = "gamma process; onset, rate and jumps by their likelihood, with survey error"
    early, expected, late = _dates(future, as_of, times, fit, threshold, np.array(chances)).tolist()
    return Passage(early, expected, late, rate, jumps, level, level_sd, method)


def _grown(shape: FloatArray, size: FloatArray) -> FloatArray:
    """P(a gamma variable of ``shape`` and scale 1 is at least ``size``), the two broadcast."""
    shape, size = np.broadcast_arrays(shape, size)
    # Where both are small scipy's function takes a hundred times longer than its complement's next in shape.
    small = size <= _SMALL
    grown = np.empty(shape.shape)
    grown[~small] = gammaincc(shape[~small], size[~small])
    shape, size = shape[small], size[small]
    with np.errstate(divide="ignore"):
        first = np.exp(shape * np.log(size) - size - gammaln(shape + 1))
    grown[small] = 1 - gammainc(shape + 1, size) - first
    return grown


def _mixture(time: FloatArray, low: FloatArray, high: FloatArray) -> _Mixture:
    # A first sign may have been the surveyor's error: the loss may have begun later, up to the last survey.
    begun = np.linspace(time[0], time[-1], ONSETS + 1)[:-1]
    if low[0] > 0:
        begun = np.concatenate([time[0] - BEFORE * YEAR, begun])
    # Until its onset nothing is lost, whatever the rate is to be: (onsets, rates and jumps).
    unhurt = _score_of_none(low, high)[np.searchsorted(time, begun, side="right")]
    score, level, variance = np.zeros((3, len(begun), len(_RATE)))
    score += unhurt[:, None]
    before = -np.inf
    for day, least, most in zip(time.tolist(), low.tolist(), high.tolist(), strict=True):
        on = int(np.searchsorted(begun, day))
        years = ((day - np.maximum(begun[:on], before)) / YEAR)[:, None]
        level[:on] += years * _RATE
        variance[:on] += years * _SPREAD
        if on:
            _survey(level[:on], variance[:on], score[:on], least, most)
        before = day
    score, level, variance = score.ravel(), level.ravel(), variance.ravel()
    step = median(np.diff(time)) / YEAR if len(time) > 1 else 1.0
    chance = np.exp(TEMPER * min(np.sqrt(step), 1.0) * (score - score.max()))
    kept = np.flatnonzero(chance > _NEGLIGIBLE)
    share = chance[kept] / chance[kept].sum()
    of = kept % len(_RATE)
    return _Mixture(share, _RATE[of], _JUMPS[of], level[kept], variance[kept], float(time[-1]))


def _score_of_none(low: FloatArray, high: FloatArray) -> FloatArray:
    """Log likelihood of the first 0 to n surveys of a wall that has lost nothing (n + 1,)."""
    exact = low == high
    score = np.zeros(len(low))
    score[exact] = -0.5 * (2 * np.log(ERROR_FLOOR) + (low[exact] / ERROR_FLOOR) ** 2)
    score[~exact] = interval_moments(low[~exact] / ERROR_FLOOR, high[~exact] / ERROR_FLOOR)[0]
    return np.concatenate([[0.0], np.cumsum(score)])


def _survey(level: FloatArray, variance: FloatArray, score: FloatArray, least: float, most: float) -> None:
    """Carry parts (k, j), in place, over one survey."""
    # The error of the share expected, not of that read: low readings would pass for the surer ones.
    total = ERROR_FLOOR**2 + (ERROR_SHARE * level) ** 2
    total += variance
    gain = variance / total
    if least == most:
        away = least - level
        score -= 0.5 * (np.log(total) + away**2 / total)
        level += gain * away
        variance *= 1 - gain
        return
    root = np.sqrt(total)
    mass, shift, shrunk = interval_moments((least - level) / root, (most - level) / root)
    score += mass
    level += gain * root * shift
    variance *= 1 - gain * (1 - shrunk)


def _dates(
    future: _Mixture | _Unseen,
    as_of: float,
    time: FloatArray,
    fit: FloatArray,
    threshold: float,
    chances: FloatArray,
) -> FloatArray:
    """Days on which the probability of having passed reaches each chance, to half a step of the horizon.

    The two steps that a chance lies between are found by lines between probits over the logarithm of time,
    near which both laws are straight (Dowell and Jarratt 1971, BIT 11, 168, for the halving).
    """
    step = HORIZON * YEAR / _STEPS
    elapsed = 1 + (as_of - time[-1]) / step
    ends = future.passed(threshold, as_of + step * np.array([0.0, _STEPS]))
    past, beyond = ends[0] >= chances, ends[1] < chances
    aim = ndtri(chances)
    place = np.outer([0.0, _STEPS], np.ones(len(chances)))
    off = _probit(ends)[:, None] - aim
    kept = np.full(len(chances), -1)
    while (own := np.flatnonzero(~past & ~beyond & (place[1] - place[0] > 1))).size:
        low, high = place[:, own]
        begin, end = np.log(low + elapsed), np.log(high + elapsed)
        share = off[0, own] / (off[0, own] - off[1, own])
        guess = np.round(np.exp(begin + share * (end - begin)) - elapsed)
        guess = np.clip(guess, low + 1, high - 1)
        chance = future.passed(threshold, as_of + step * guess)
        side = (chance >= chances[own]).astype(int)
        place[side, own] = guess
        off[side, own] = _probit(chance) - aim[own]
        # An end that stays twice is pulled in by halves.
        off[1 - side, own] *= np.where(kept[own] == 1 - side, 0.5, 1.0)
        kept[own] = 1 - side
    found = np.where(past, _crossing(time, fit, threshold, as_of), as_of + step * (place[0] + 0.5))
    return np.where(beyond, np.inf, found)


def _probit(chance: FloatArray) -> FloatArray:
    return np.asarray(ndtri(np.clip(chance, 1e-15, 1 - 1e-15)), dtype=float)


def _crossing(time: FloatArray, fit: FloatArray, threshold: float, as_of: float) -> float:
    """Day on which the fit, straight between surveys, reached the threshold; today where it has not."""
    over = np.flatnonzero(fit >= threshold)
    if not len(over):
        return as_of
    last = int(over[0])
    if last == 0:
        return float(time[0])
    share = (threshold - fit[last - 1]) / (fit[last] - fit[last - 1])
    return float(time[last - 1] + share * (time[last] - time[last - 1]))
