"""Weibull and log-normal lives: maximum likelihood with profile-likelihood intervals, any censoring.

Shape and scale as in S(t) = exp(-(t / scale) ** shape); for the log-normal, shape is the standard deviation
of log life and scale the median life. Intervals hold the values whose profile deviance is under the
chi-squared limit (Meeker and Escobar 1998, Statistical Methods for Reliability Data, secs. 8.3-8.4), times a
factor of at least 1 where the coats of a house go together (:mod:`inspections.analysis.clustering`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from inspections.analysis.clustering import variance_ratio
from inspections.analysis.lifetimes import Interval, Lifetimes
from inspections.analysis.logtimes import (
    GREATEST_RATE,
    LEAST_RATE,
    LOG_NORMAL,
    WEIBULL,
    Family,
    Likelihood,
    climb,
)
from inspections.analysis.records import FloatArray

#: Limits of a life further than this factor from the longest time on record are "not reached".
FARTHEST = 1e4

#: Limits are found to this part of the root of the deviance.
_TOLERANCE = 1e-8
_TRIES = 80
_UNKNOWN = Interval(None, None, None)


@dataclass(frozen=True, slots=True)
class LifeFit:
    """Shape, scale (years) and median life (years) with intervals; None where the lives give none.

    ``clustering`` are the factors on the deviance for shape, scale and median: 1 where houses add nothing.
    """

    shape: Interval
    scale: Interval
    median: Interval
    log_likelihood: float | None
    clustering: tuple[float, float, float]
    coats: int
    failures: int
    level: float
    method: str


def fit_weibull(lifetimes: Lifetimes, level: float = 0.95) -> LifeFit:
    """Weibull lives: exact, left-, right- and interval-censored, and left-truncated, with intervals.

    Without a failure there are no estimates, only lower limits of scale and median. Where all failures fit
    one moment the estimates are None too, but the shape has a lower limit.
    """
    return _fit(lifetimes, level, WEIBULL)


def fit_lognormal(lifetimes: Lifetimes, level: float = 0.95) -> LifeFit:
    """Log-normal lives, as :func:`fit_weibull`."""
    return _fit(lifetimes, level, LOG_NORMAL)


def _fit(lifetimes: Lifetimes, level: float, family: Family) -> LifeFit:
    if not 0 < level < 1:
        raise ValueError("level must lie between 0 and 1")
    if lifetimes.failures:
        return _with_failures(lifetimes, level, family)
    reached = float(lifetimes.low.max(initial=0.0))
    scale = median = _UNKNOWN
    if reached > 0:
        likelihood = Likelihood(lifetimes, np.ones((len(lifetimes), 1)), family, reached)
        # P(no failure) at the limit is what one end of the interval leaves, as in Garwood's (1936) limits.
        depth = float(np.sqrt(-2 * np.log((1 - level) / 2)))
        profile = _Profile(likelihood, np.array([0.0, 1.0]), 0.0)
        scale, median = (
            Interval(None, _years(profile.limit(_Life(z), np.log(FARTHEST), -1, 1.0, depth), reached), None)
            for z in (0.0, family.middle)
        )
    method = f"{family.name}; no failure was seen: exact lower limits over all shapes"
    return LifeFit(_UNKNOWN, scale, median, None, (1.0, 1.0, 1.0), len(lifetimes), 0, level, method)


def _with_failures(lifetimes: Lifetimes, level: float, family: Family) -> LifeFit:
    middles = np.where(lifetimes.failed, (lifetimes.low + lifetimes.high) / 2, lifetimes.low)
    unit = float(np.exp(np.log(middles[lifetimes.failed]).mean()))
    likelihood = Likelihood(lifetimes, np.ones((len(lifetimes), 1)), family, unit)
    exposure = float((middles - lifetimes.entry).sum()) / lifetimes.failures
    start = np.array([np.log(exposure / unit), 1.0])
    theta, summit, hessian, inside = climb(likelihood, start, np.eye(2))
    aims: tuple[_Rate | _Life, ...] = (_Rate(), _Life(0.0), _Life(family.middle))
    ratios, errors = np.ones(3), np.full(3, 0.5)
    if inside:
        gradients = np.column_stack([aim.gradient(theta) for aim in aims])
        influence = np.linalg.solve(-hessian, gradients)
        variance = (gradients * influence).sum(axis=0)
        ratios = variance_ratio(likelihood.scores(theta) @ influence, lifetimes.cluster, variance)
        errors = np.sqrt(variance * ratios)
    profile = _Profile(likelihood, theta, summit)
    z = float(ndtri((1 + level) / 2))
    found = []
    for aim, error, ratio in zip(aims, errors, ratios, strict=True):
        depth, centre = z * float(np.sqrt(ratio)), aim.value(theta)
        low, high = (profile.limit(aim, centre, side, z * float(error), depth) for side in (-1, 1))
        found.append((centre if inside else None, low, high))
    if family is LOG_NORMAL:
        rate, low, high = found[0]
        found[0] = (_opposite(rate), _opposite(high), _opposite(low))
    shape, scale, median = (
        Interval(*(_years(end, size) for end in ends))
        for ends, size in zip(found, (1.0, unit, unit), strict=True)
    )
    method = f"{family.name} by maximum likelihood, profile-likelihood intervals"
    if not inside:
        method += "; all failures fit one moment, so that there is no estimate"
    elif ratios.max() > 1:
        method += f"; houses taken as clusters, deviance over {ratios.max():.2f} at most"
    return LifeFit(
        shape,
        scale,
        median,
        summit if inside else None,
        (float(ratios[0]), float(ratios[1]), float(ratios[2])),
        len(lifetimes),
        lifetimes.failures,
        level,
        method,
    )


def _opposite(value: float | None) -> float | None:
    return None if value is None else -value


def _years(log_time: float | None, unit: float) -> float | None:
    return None if log_time is None else float(np.exp(log_time) * unit)


@dataclass(frozen=True, slots=True)
class _Rate:
    """The log rate, held while the location is free."""

    least: float = float(np.log(LEAST_RATE))
    most: float = float(np.log(GREATEST_RATE))

    def value(self, theta: FloatArray) -> float:
        return float(np.log(theta[1]))

    def gradient(self, theta: FloatArray) -> FloatArray:
        return np.array([0.0, 1 / theta[1]])

    def line(self, value: float, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """A point and a direction (2, 1) of the line on which the quantity has this ``value``."""
        rate = np.exp(value)
        return np.array([theta[0] * rate / theta[1], rate]), np.array([[1.0], [0.0]])


@dataclass(frozen=True, slots=True)
class _Life:
    """The log of the life at which z = ``z``, held while the rate is free."""

    z: float
    least: float = -float(np.log(FARTHEST))
    most: float = float(np.log(FARTHEST))

    def value(self, theta: FloatArray) -> float:
        return float((self.z + theta[0]) / theta[1])

    def gradient(self, theta: FloatArray) -> FloatArray:
        return np.array([1 / theta[1], -self.value(theta) / theta[1]])

    def line(self, value: float, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        return np.array([theta[1] * value - self.z, theta[1]]), np.array([[value], [1.0]])


class _Profile:
    """The likelihood's ridge: for each value of one quantity, the best that the other parameter can do."""

    def __init__(self, likelihood: Likelihood, theta: FloatArray, summit: float) -> None:
        self.likelihood, self.theta, self.summit = likelihood, theta, summit

    def limit(self, aim: _Rate | _Life, centre: float, side: int, first: float, depth: float) -> float | None:
        """Value on one ``side`` of ``centre`` where the root of the deviance is ``depth``; None: not reached.

        ``first`` is the distance tried first. The root of the deviance is nearly a line, so the secant is
        quick; a bracket keeps it safe.
        """
        theta = self.theta
        farthest = (aim.most - centre) if side > 0 else (centre - aim.least)
        inner, inner_root, outer, outer_root = 0.0, 0.0, np.inf, np.inf
        distance = min(first, farthest)
        for _ in range(_TRIES):
            point, direction = aim.line(centre + side * distance, theta)
            theta, value, _, _ = climb(self.likelihood, point, direction)
            root = float(np.sqrt(max(2 * (self.summit - value), 0.0)))
            if abs(root - depth) < _TOLERANCE * depth or outer - inner < 1e-12 * max(1.0, abs(centre)):
                return centre + side * distance
            if root < depth:
                if distance >= farthest:
                    return None
                inner, inner_root = distance, root
            else:
                outer, outer_root = distance, root
            distance = _between(inner, inner_root, outer, outer_root, depth, farthest)
        return centre + side * distance


def _between(
    inner: float, inner_root: float, outer: float, outer_root: float, depth: float, farthest: float
) -> float:
    """The next distance to try: outwards along the line through the centre, then within the bracket."""
    if not np.isfinite(outer):
        along = inner * depth / inner_root if inner_root > 0 else np.inf
        return min(max(1.02 * min(along, 4 * inner), 1e-9), farthest)
    share = (depth - inner_root) / (outer_root - inner_root)
    return inner + min(max(share, 0.01), 0.99) * (outer - inner)
