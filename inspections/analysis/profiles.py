"""Profile-likelihood intervals of lives, widened where the coats of a house go together.

The interval of a quantity holds the values whose profile deviance, the best that all else can do at that
value, is under the chi-squared limit (Meeker and Escobar 1998, Statistical Methods for Reliability Data,
secs. 8.3-8.4), times a factor of at least 1 for houses (:mod:`inspections.analysis.clustering`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy.special import ndtri

from inspections.analysis.clustering import variance_ratio
from inspections.analysis.lifetimes import IntArray, Interval
from inspections.analysis.logtimes import GREATEST_RATE, LEAST_RATE, Likelihood, climb
from inspections.analysis.records import FloatArray

#: Limits of a life further than this factor from the usual one are "not reached".
FARTHEST = 1e4

#: Limits are found to this part of the root of the deviance.
TOLERANCE = 1e-8
TRIES = 80
#: Standard error of a log from which on nothing is told of it.
UNTOLD = 100.0
#: Part of the greatest curvature under which a direction is taken to be flat.
FLAT = 1e-12


class Aim(Protocol):
    """A quantity in (gamma, rate), with the bounds within which its limits are looked for."""

    least: float
    most: float

    def value(self, theta: FloatArray) -> float: ...

    def gradient(self, theta: FloatArray) -> FloatArray: ...

    def slice(self, value: float, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """A point (p + 1,) near ``theta`` and directions (p + 1, p) of all points with this ``value``."""


class LogRate:
    """The log of one over the scale of log life: a Weibull life's log shape."""

    least, most = float(np.log(LEAST_RATE)), float(np.log(GREATEST_RATE))

    def value(self, theta: FloatArray) -> float:
        return float(np.log(theta[-1]))

    def gradient(self, theta: FloatArray) -> FloatArray:
        gradient = np.zeros(len(theta))
        gradient[-1] = 1 / theta[-1]
        return gradient

    def slice(self, value: float, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        return theta * (np.exp(value) / theta[-1]), np.eye(len(theta))[:, :-1]


class LogLife:
    """Log life (over the likelihood's unit) at covariates ``x`` (p,) and quantile ``z`` of the family.

    With ``z`` 0 and ``x`` a unit vector that is a coefficient on log life.
    """

    least, most = -float(np.log(FARTHEST)), float(np.log(FARTHEST))

    def __init__(self, x: FloatArray, z: float) -> None:
        self.x, self.z = x, z
        self.across = np.linalg.qr(np.column_stack([x, np.eye(len(x))]))[0][:, 1 : len(x)]

    def value(self, theta: FloatArray) -> float:
        return float((self.x @ theta[:-1] + self.z) / theta[-1])

    def gradient(self, theta: FloatArray) -> FloatArray:
        return np.append(self.x / theta[-1], -self.value(theta) / theta[-1])

    def slice(self, value: float, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        along = self.x / float(self.x @ self.x)
        gamma = theta[:-1] + along * (value * theta[-1] - self.z - self.x @ theta[:-1])
        directions = np.zeros((len(theta), len(theta) - 1))
        directions[:-1, :-1] = self.across
        directions[:, -1] = np.append(along * value, 1.0)
        return np.append(gamma, theta[-1]), directions


@dataclass(frozen=True, slots=True)
class Fit:
    """The likelihood's summit, and whether it lies at finite values."""

    likelihood: Likelihood
    theta: FloatArray
    log_likelihood: float
    hessian: FloatArray
    reached: bool

    def intervals(
        self, aims: Sequence[Aim], cluster: IntArray, level: float
    ) -> tuple[list[Interval], FloatArray]:
        """Estimates of the ``aims`` with their intervals, and the factors (a,) on the deviance for houses."""
        gradients = np.column_stack([aim.gradient(self.theta) for aim in aims])
        influence = self.covariance() @ gradients
        variance = (gradients * influence).sum(axis=0)
        ratios, errors = np.ones(len(aims)), np.sqrt(variance)
        if self.reached:
            ratios = variance_ratio(self.likelihood.scores(self.theta) @ influence, cluster, variance)
        z = float(ndtri((1 + level) / 2))
        found = []
        for aim, error, ratio in zip(aims, errors, ratios, strict=True):
            depth = z * float(np.sqrt(ratio))
            first = float(error) * depth if self.reached else 1.0
            low, high = self.limit(aim, -1, first, depth), self.limit(aim, 1, first, depth)
            # Where the likelihood is all but flat its highest point is no estimate.
            told = self.reached and error < UNTOLD
            found.append(Interval(aim.value(self.theta) if told else None, low, high))
        return found, ratios

    def covariance(self) -> FloatArray:
        """Inverse of the observed information (p + 1, p + 1); very large along what the lives don't tell."""
        values, vectors = np.linalg.eigh(-self.hessian)
        least = max(FLAT * float(np.abs(values).max()), 1e-300)
        return np.asarray((vectors / np.maximum(values, least)) @ vectors.T, dtype=float)

    def limit(self, aim: Aim, side: int, first: float, depth: float) -> float | None:
        """Value on one ``side`` of the estimate where the root of the deviance is ``depth``, or None.

        ``first`` is the distance tried first. The root of the deviance is nearly a line, so interpolation is
        quick; a bracket keeps it safe.
        """
        theta, centre = self.theta, aim.value(self.theta)
        farthest = max((aim.most - centre) if side > 0 else (centre - aim.least), 0.0)
        inner, outer, tried = (0.0, 0.0), (np.inf, np.inf), [(0.0, 0.0)]
        distance = min(first, farthest)
        for _ in range(TRIES):
            point, directions = aim.slice(centre + side * distance, theta)
            theta, value, _, _ = climb(self.likelihood, point, directions)
            root = float(np.sqrt(max(2 * (self.log_likelihood - value), 0.0)))
            if abs(root - depth) < TOLERANCE * depth or outer[0] - inner[0] < 1e-12 * max(1.0, abs(centre)):
                break
            tried.append((distance, root))
            if root >= depth:
                outer = (distance, root)
            elif distance >= farthest:
                return None
            else:
                inner = (distance, root)
            if np.isfinite(outer[0]):
                distance = _within(inner, outer, tried, depth)
            else:
                distance = min(_beyond(tried, depth), farthest)
        return centre + side * distance


def _beyond(tried: list[tuple[float, float]], depth: float) -> float:
    """The next distance outwards: a little farther than where the last two points point to."""
    (before, at_before), (last, at_last) = tried[-2:]
    slope = (at_last - at_before) / (last - before) if last > before else 0.0
    along = last + 1.1 * (depth - at_last) / slope if slope > 0 else np.inf
    return max(min(along, 4 * last), 1e-9)


def _within(
    inner: tuple[float, float], outer: tuple[float, float], tried: list[tuple[float, float]], depth: float
) -> float:
    """The next distance in a bracket: where a curve through the last three points is ``depth`` deep.

    Inverse quadratic interpolation (Brent 1973, Algorithms for Minimization without Derivatives, ch. 4), or a
    line through the bracket's ends where that leaves it.
    """
    (a, at_a), (b, at_b), (c, at_c) = tried[-3:] if len(tried) > 2 else (tried[0], *tried)
    if len({at_a, at_b, at_c}) == 3:
        distance = (
            a * (depth - at_b) * (depth - at_c) / ((at_a - at_b) * (at_a - at_c))
            + b * (depth - at_a) * (depth - at_c) / ((at_b - at_a) * (at_b - at_c))
            + c * (depth - at_a) * (depth - at_b) / ((at_c - at_a) * (at_c - at_b))
        )
        if inner[0] < distance < outer[0]:
            return distance
    share = (depth - inner[1]) / (outer[1] - inner[1])
    return inner[0] + min(max(share, 0.01), 0.99) * (outer[0] - inner[0])


def scaled(interval: Interval, unit: float) -> Interval:
    """From logs over ``unit`` to values."""
    low, estimate, high = (
        None if end is None else float(np.exp(end) * unit)
        for end in (interval.low, interval.estimate, interval.high)
    )
    return Interval(estimate, low, high)


def inverse(interval: Interval) -> Interval:
    """From a rate to a scale."""
    low, estimate, high = (
        None if end is None else 1 / end for end in (interval.high, interval.estimate, interval.low)
    )
    return Interval(estimate, low, high)
