"""The likelihood of lives whose logarithm has a known form: Weibull and log-normal, with any censoring.

With y = log(years) and covariates x, z = rate * y - x gamma; a Weibull life has survival exp(-exp(z)), a
log-normal one the normal's. In (gamma, rate), coefficients over scale and one over scale, the log likelihood
of censored lives has one summit (Burridge 1981, J. R. Stat. Soc. B 43, 41-45); truncation at entry takes the
log survival at entry away again. Derivatives: Kalbfleisch and Prentice (2002), sec. 3.6; Klein and
Moeschberger (1997), ch. 12 (pages from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr

from inspections.analysis.lifetimes import Lifetimes
from inspections.analysis.records import FloatArray

_LOG_ROOT_TWO_PI = 0.5 * np.log(2 * np.pi)
#: A hazard of exp(this), or a difference of hazards of this, is as good as infinite.
_HUGE = 300.0
_TINY = 1e-300

Pair = tuple[FloatArray, FloatArray]
Triple = tuple[FloatArray, FloatArray, FloatArray]


@dataclass(frozen=True, slots=True)
class Family:
    """A distribution of z, with density f and survival S.

    ``density``: log f, (log f)', (log f)''. ``alive``: log S and its slope. ``dead``: log (1 - S) and its
    slope. ``between`` a < b: log (S(a) - S(b)) and its slopes by a and by b. ``bend``: (log f)'.
    ``middle``: z of the median.
    """

    name: str
    density: Callable[[FloatArray], Triple]
    alive: Callable[[FloatArray], Pair]
    dead: Callable[[FloatArray], Pair]
    between: Callable[[FloatArray, FloatArray], Triple]
    bend: Callable[[FloatArray], FloatArray]
    middle: float


def _hazard(z: FloatArray) -> FloatArray:
    return np.asarray(np.exp(np.minimum(z, _HUGE)), dtype=float)


def _weibull_density(z: FloatArray) -> Triple:
    hazard = _hazard(z)
    return z - hazard, 1 - hazard, -hazard


def _weibull_alive(z: FloatArray) -> Pair:
    hazard = _hazard(z)
    return -hazard, -hazard


def _weibull_dead(z: FloatArray) -> Pair:
    hazard = np.maximum(_hazard(z), _TINY)
    short = np.minimum(hazard, _HUGE)
    return np.log(-np.expm1(-short)), np.where(hazard > _HUGE, 0.0, hazard / np.expm1(short))


def _weibull_between(a: FloatArray, b: FloatArray) -> Triple:
    first, second = _hazard(a), _hazard(b)
    width = np.maximum(second - first, np.maximum(1e-15 * second, _TINY))
    short = np.minimum(width, _HUGE)
    share = -np.expm1(-short)
    at_b = np.where(width > _HUGE, 0.0, second * (1 - share) / share)
    return np.log(share) - first, -first / share, at_b


def _weibull_bend(z: FloatArray) -> FloatArray:
    return 1 - _hazard(z)


def _normal_density(z: FloatArray) -> Triple:
    return -0.5 * z**2 - _LOG_ROOT_TWO_PI, -z, -np.ones_like(z)


def _normal_alive(z: FloatArray) -> Pair:
    log_mass = log_ndtr(-z)
    return log_mass, -np.exp(-0.5 * z**2 - _LOG_ROOT_TWO_PI - log_mass)


def _normal_dead(z: FloatArray) -> Pair:
    log_mass = log_ndtr(z)
    return log_mass, np.exp(-0.5 * z**2 - _LOG_ROOT_TWO_PI - log_mass)


def _normal_between(a: FloatArray, b: FloatArray) -> Triple:
    flip = a > 0
    lower, upper = np.where(flip, -b, a), np.where(flip, -a, b)
    log_upper, log_lower = log_ndtr(upper), log_ndtr(lower)
    log_mass = log_upper + np.log(np.maximum(-np.expm1(log_lower - log_upper), _TINY))
    at_a, at_b = (np.exp(-0.5 * bound**2 - _LOG_ROOT_TWO_PI - log_mass) for bound in (a, b))
    return log_mass, -at_a, at_b


def _normal_bend(z: FloatArray) -> FloatArray:
    return -z


WEIBULL = Family(
    "Weibull",
    _weibull_density,
    _weibull_alive,
    _weibull_dead,
    _weibull_between,
    _weibull_bend,
    float(np.log(np.log(2))),
)
LOG_NORMAL = Family(
    "log-normal", _normal_density, _normal_alive, _normal_dead, _normal_between, _normal_bend, 0.0
)


class Likelihood:
    """Log likelihood of lives (n,) given covariates (n, p), in theta = (gamma, rate), shape (p + 1,).

    Times enter as years over ``unit``; the value is in years. A row of ``z = rows @ theta`` is (-x, y).
    """

    def __init__(self, lifetimes: Lifetimes, design: FloatArray, family: Family, unit: float) -> None:
        self.family, self.n = family, len(lifetimes)
        exact, failed = lifetimes.exact, lifetimes.failed
        from_start = failed & ~exact & (lifetimes.low <= 0)
        inside = failed & ~exact & (lifetimes.low > 0)
        survived = ~failed & (lifetimes.low > 0)
        entered = lifetimes.entry > 0

        def rows(which: np.ndarray, years: FloatArray) -> FloatArray:
            return np.column_stack([-design[which], np.log(years[which] / unit)])

        self.exact, self.exact_at = rows(exact, lifetimes.low), np.flatnonzero(exact)
        self.dead, self.dead_at = rows(from_start, lifetimes.high), np.flatnonzero(from_start)
        self.lower, self.upper = rows(inside, lifetimes.low), rows(inside, lifetimes.high)
        self.inside_at = np.flatnonzero(inside)
        self.alive = np.vstack([rows(survived, lifetimes.low), rows(entered, lifetimes.entry)])
        self.alive_at = np.concatenate([np.flatnonzero(survived), np.flatnonzero(entered)])
        #: Having survived counts, having had to survive until entry is taken off.
        self.sign = np.repeat([1.0, -1.0], [int(survived.sum()), int(entered.sum())])
        self.constant = -float(np.log(lifetimes.low[exact]).sum())

    def value(self, theta: FloatArray) -> float:
        """The log likelihood alone."""
        total = self.constant + len(self.exact) * float(np.log(theta[-1]))
        if len(self.exact):
            total += float(self.family.density(self.exact @ theta)[0].sum())
        if len(self.dead):
            total += float(self.family.dead(self.dead @ theta)[0].sum())
        if len(self.lower):
            total += float(self.family.between(self.lower @ theta, self.upper @ theta)[0].sum())
        if len(self.alive):
            total += float(self.sign @ self.family.alive(self.alive @ theta)[0])
        return total

    def __call__(self, theta: FloatArray) -> tuple[float, FloatArray, FloatArray]:
        """The log likelihood, its gradient (p + 1,) and its hessian (p + 1, p + 1)."""
        family, rate, count = self.family, theta[-1], len(self.exact)
        value = self.constant + count * float(np.log(rate))
        gradient, hessian = np.zeros(len(theta)), np.zeros((len(theta), len(theta)))
        gradient[-1] += count / rate
        hessian[-1, -1] -= count / rate**2
        if count:
            density, slope, bend = family.density(self.exact @ theta)
            value += float(density.sum())
            gradient += slope @ self.exact
            hessian += (self.exact * bend[:, None]).T @ self.exact
        for rows, sign, mass in ((self.dead, 1.0, family.dead), (self.alive, self.sign, family.alive)):
            if len(rows):
                z = rows @ theta
                log_mass, slope = mass(z)
                value += float((sign * log_mass).sum())
                gradient += (sign * slope) @ rows
                hessian += (rows * (sign * slope * (family.bend(z) - slope))[:, None]).T @ rows
        if len(self.lower):
            a, b = self.lower @ theta, self.upper @ theta
            log_mass, at_a, at_b = family.between(a, b)
            value += float(log_mass.sum())
            gradient += at_a @ self.lower + at_b @ self.upper
            hessian += (self.lower * (at_a * (family.bend(a) - at_a))[:, None]).T @ self.lower
            hessian += (self.upper * (at_b * (family.bend(b) - at_b))[:, None]).T @ self.upper
            cross = (self.lower * (at_a * at_b)[:, None]).T @ self.upper
            hessian -= cross + cross.T
        return value, gradient, hessian

    def scores(self, theta: FloatArray) -> FloatArray:
        """The gradient of each life's log likelihood: (n, p + 1)."""
        family, score = self.family, np.zeros((self.n, len(theta)))
        score[self.exact_at] = self.exact * family.density(self.exact @ theta)[1][:, None]
        score[self.exact_at, -1] += 1 / theta[-1]
        score[self.dead_at] = self.dead * family.dead(self.dead @ theta)[1][:, None]
        _, at_a, at_b = family.between(self.lower @ theta, self.upper @ theta)
        score[self.inside_at] = self.lower * at_a[:, None] + self.upper * at_b[:, None]
        slope = self.sign * family.alive(self.alive @ theta)[1]
        np.add.at(score, self.alive_at, self.alive * slope[:, None])
        return score


#: Rates (one over the scale of the log life) that are told from none and from infinite.
LEAST_RATE, GREATEST_RATE = 0.02, 200.0
_STEPS = 100
_HALVINGS = 40
#: Newton's method ends when the next step would gain less than this in log likelihood.
_GAIN = 1e-12


def climb(
    likelihood: Likelihood, theta: FloatArray, directions: FloatArray
) -> tuple[FloatArray, float, FloatArray, bool]:
    """The summit over theta + directions @ free, by Newton's method with halved steps.

    ``theta`` (p + 1,) the start, ``directions`` (p + 1, f). Returns the summit, the log likelihood and its
    hessian (p + 1, p + 1) there, and whether it lies inside the rates that are told apart.
    """
    value, gradient, hessian = likelihood(theta)
    for _ in range(_STEPS):
        slope, curvature = directions.T @ gradient, directions.T @ hessian @ directions
        move = directions @ _uphill(slope, curvature)
        gain = float(gradient @ move)
        if gain < _GAIN * max(1.0, abs(value)):
            return theta, value, hessian, True
        length = 1.0
        if move[-1] < 0:
            length = min(length, 0.9 * theta[-1] / -move[-1])
        for _ in range(_HALVINGS):
            trial = theta + length * move
            risen = likelihood.value(trial)
            if risen >= value + 1e-4 * length * gain:
                break
            length /= 2
        else:
            return theta, value, hessian, True
        theta = trial
        value, gradient, hessian = likelihood(theta)
        if not LEAST_RATE < theta[-1] < GREATEST_RATE and directions[-1].any():
            return theta, value, hessian, False
    return theta, value, hessian, True


def _uphill(slope: FloatArray, curvature: FloatArray) -> FloatArray:
    """Newton's step, bent uphill where the surface is not concave."""
    if len(slope) == 1:
        bend = -float(curvature[0, 0])
        return np.asarray(slope / max(abs(bend), 1e-12), dtype=float)
    values, vectors = np.linalg.eigh(-curvature)
    least = 1e-12 * max(float(np.abs(values).max()), 1e-12)
    return np.asarray(vectors @ ((vectors.T @ slope) / np.maximum(np.abs(values), least)), dtype=float)
