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

from inspections.analysis.lifetimes import IntArray, Lifetimes
from inspections.analysis.records import FloatArray

_LOG_ROOT_TWO_PI = 0.5 * np.log(2 * np.pi)
#: A hazard of exp(this), or a difference of hazards of this, is as good as infinite.
_HUGE = 300.0
_TINY = 1e-300

Triple = tuple[FloatArray, FloatArray, FloatArray]
Five = tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]


@dataclass(frozen=True, slots=True)
class Family:
    """A distribution of z, with density f and survival S.

    ``density``: log f and its first two derivatives. ``alive``: log S, ``dead``: log (1 - S), likewise.
    ``between`` a < b: log (S(a) - S(b)), its slopes by a and by b, and (log f)' at a and at b, of which the
    second derivatives are made. ``middle``: z of the median.
    """

    name: str
    density: Callable[[FloatArray], Triple]
    alive: Callable[[FloatArray], Triple]
    dead: Callable[[FloatArray], Triple]
    between: Callable[[FloatArray, FloatArray], Five]
    middle: float


def _hazard(z: FloatArray) -> FloatArray:
    return np.asarray(np.exp(np.minimum(z, _HUGE)), dtype=float)


def _weibull_density(z: FloatArray) -> Triple:
    hazard = _hazard(z)
    return z - hazard, 1 - hazard, -hazard


def _weibull_alive(z: FloatArray) -> Triple:
    lost = -_hazard(z)
    return lost, lost, lost


def _weibull_dead(z: FloatArray) -> Triple:
    hazard = np.maximum(_hazard(z), _TINY)
    short = np.minimum(hazard, _HUGE)
    share = -np.expm1(-short)
    slope = np.where(hazard > _HUGE, 0.0, hazard * (1 - share) / share)
    return np.log(share), slope, slope * (1 - hazard - slope)


def _weibull_between(a: FloatArray, b: FloatArray) -> Five:
    first, second = _hazard(a), _hazard(b)
    width = np.maximum(second - first, np.maximum(1e-15 * second, _TINY))
    share = -np.expm1(-np.minimum(width, _HUGE))
    at_b = np.where(width > _HUGE, 0.0, second * (1 - share) / share)
    return np.log(share) - first, -first / share, at_b, 1 - first, 1 - second


def _normal_density(z: FloatArray) -> Triple:
    return -0.5 * z**2 - _LOG_ROOT_TWO_PI, -z, -np.ones_like(z)


def _normal_alive(z: FloatArray) -> Triple:
    log_mass = log_ndtr(-z)
    slope = -np.exp(-0.5 * z**2 - _LOG_ROOT_TWO_PI - log_mass)
    return log_mass, slope, -slope * (z + slope)


def _normal_dead(z: FloatArray) -> Triple:
    log_mass = log_ndtr(z)
    slope = np.exp(-0.5 * z**2 - _LOG_ROOT_TWO_PI - log_mass)
    return log_mass, slope, -slope * (z + slope)


def _normal_between(a: FloatArray, b: FloatArray) -> Five:
    flip = a > 0
    lower, upper = np.where(flip, -b, a), np.where(flip, -a, b)
    log_upper, log_lower = log_ndtr(upper), log_ndtr(lower)
    log_mass = log_upper + np.log(np.maximum(-np.expm1(log_lower - log_upper), _TINY))
    at_a, at_b = (np.exp(-0.5 * bound**2 - _LOG_ROOT_TWO_PI - log_mass) for bound in (a, b))
    return log_mass, -at_a, at_b, -a, -b


WEIBULL = Family(
    "Weibull", _weibull_density, _weibull_alive, _weibull_dead, _weibull_between, float(np.log(np.log(2)))
)
LOG_NORMAL = Family("log-normal", _normal_density, _normal_alive, _normal_dead, _normal_between, 0.0)


class Likelihood:
    """Log likelihood of lives (n,) given covariates (n, p), in theta = (gamma, rate), shape (p + 1,).

    Times enter as years over ``unit``; the value is in years. A kind's rows (p + 1, k) are -x and y, so that
    z = theta @ rows.
    """

    def __init__(self, lifetimes: Lifetimes, design: FloatArray, family: Family, unit: float) -> None:
        self.family, self.n = family, len(lifetimes)
        low, high, entry = lifetimes.low, lifetimes.high, lifetimes.entry
        unsure = lifetimes.failed & ~lifetimes.exact
        exact, survived = np.flatnonzero(lifetimes.exact), np.flatnonzero(~lifetimes.failed & (low > 0))
        dead, inside = np.flatnonzero(unsure & (low <= 0)), np.flatnonzero(unsure & (low > 0))
        entered = np.flatnonzero(entry > 0)

        def rows(which: IntArray, years: FloatArray) -> FloatArray:
            return np.vstack([-design[which].T, np.log(years[which] / unit)])

        self.exact, self.exact_at = rows(exact, low), exact
        self.dead, self.dead_at = rows(dead, high), dead
        self.lower, self.upper, self.inside_at = rows(inside, low), rows(inside, high), inside
        self.alive = np.hstack([rows(survived, low), rows(entered, entry)])
        self.alive_at = np.concatenate([survived, entered])
        #: Having survived counts, having had to survive until entry is taken off.
        self.sign = np.repeat([1.0, -1.0], [len(survived), len(entered)])
        self.constant = -float(np.log(low[exact]).sum())

    def __call__(self, theta: FloatArray) -> tuple[float, FloatArray, FloatArray]:
        """The log likelihood, its gradient (p + 1,) and its hessian (p + 1, p + 1)."""
        family, rate, count = self.family, theta[-1], len(self.exact_at)
        value = self.constant + count * float(np.log(rate))
        gradient, hessian = np.zeros(len(theta)), np.zeros((len(theta), len(theta)))
        gradient[-1], hessian[-1, -1] = count / rate, -count / rate**2
        for rows, sign, log_chance in (
            (self.exact, 1.0, family.density),
            (self.dead, 1.0, family.dead),
            (self.alive, self.sign, family.alive),
        ):
            if rows.shape[1]:
                chance, slope, bend = log_chance(theta @ rows)
                value += float((sign * chance).sum())
                gradient += rows @ (sign * slope)
                hessian += (rows * (sign * bend)) @ rows.T
        if self.lower.shape[1]:
            chance, at_a, at_b, bend_a, bend_b = family.between(theta @ self.lower, theta @ self.upper)
            value += float(chance.sum())
            gradient += self.lower @ at_a + self.upper @ at_b
            hessian += (self.lower * (at_a * (bend_a - at_a))) @ self.lower.T
            hessian += (self.upper * (at_b * (bend_b - at_b))) @ self.upper.T
            cross = (self.lower * (at_a * at_b)) @ self.upper.T
            hessian -= cross + cross.T
        return value, gradient, hessian

    def scores(self, theta: FloatArray) -> FloatArray:
        """The gradient of each life's log likelihood: (n, p + 1)."""
        family, score = self.family, np.zeros((self.n, len(theta)))
        score[self.exact_at] = (self.exact * family.density(theta @ self.exact)[1]).T
        score[self.exact_at, -1] += 1 / theta[-1]
        score[self.dead_at] = (self.dead * family.dead(theta @ self.dead)[1]).T
        _, at_a, at_b, _, _ = family.between(theta @ self.lower, theta @ self.upper)
        score[self.inside_at] = (self.lower * at_a + self.upper * at_b).T
        slope = self.sign * family.alive(theta @ self.alive)[1]
        np.add.at(score, self.alive_at, (self.alive * slope).T)
        return score


#: Rates (one over the scale of the log life) that are told from none and from infinite.
LEAST_RATE, GREATEST_RATE = 0.02, 200.0
STEPS = 100
HALVINGS = 40
#: Newton's method ends when the next step would gain less than this in log likelihood.
GAIN = 1e-12
#: A step is long enough when it gains this part of what its slope promises.
ENOUGH = 1e-4
#: A curvature under this, or under this part of the greatest, is taken to be this.
LEAST_BEND = 1e-12


def climb(
    likelihood: Likelihood, theta: FloatArray, directions: FloatArray
) -> tuple[FloatArray, float, FloatArray, bool]:
    """The summit over theta + directions @ free, by Newton's method with halved steps.

    ``theta`` (p + 1,) the start, ``directions`` (p + 1, f). Returns the summit, the log likelihood and its
    hessian (p + 1, p + 1) there, and whether it lies inside the rates that are told apart.
    """
    value, gradient, hessian = likelihood(theta)
    for _ in range(STEPS):
        move = directions @ _uphill(directions.T @ gradient, directions.T @ hessian @ directions)
        gain = float(gradient @ move)
        if gain < GAIN * max(1.0, abs(value)):
            break
        length = 1.0
        if move[-1] < 0:
            length = min(length, 0.9 * theta[-1] / -move[-1])
        elif move[-1] > 0:
            length = min(length, (2 * GREATEST_RATE - theta[-1]) / move[-1])
        for _ in range(HALVINGS):
            trial = theta + length * move
            risen = likelihood(trial)
            if risen[0] >= value + ENOUGH * length * gain:
                break
            length /= 2
        else:
            break
        theta, (value, gradient, hessian) = trial, risen
        if not LEAST_RATE < theta[-1] < GREATEST_RATE and directions[-1].any():
            return theta, value, hessian, False
    return theta, value, hessian, True


def _uphill(slope: FloatArray, curvature: FloatArray) -> FloatArray:
    """Newton's step, bent uphill where the surface is not concave."""
    if len(slope) == 1:
        bend = -float(curvature[0, 0])
        return np.asarray(slope / max(abs(bend), LEAST_BEND), dtype=float)
    values, vectors = np.linalg.eigh(-curvature)
    least = LEAST_BEND * max(float(np.abs(values).max()), LEAST_BEND)
    return np.asarray(vectors @ ((vectors.T @ slope) / np.maximum(np.abs(values), least)), dtype=float)
