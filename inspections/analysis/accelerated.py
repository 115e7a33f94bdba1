"""What makes coats last longer: accelerated failure times, with any censoring and truncation.

Log life is linear in the covariates, with a Weibull's or log-normal's scatter: a coefficient b multiplies
life by exp(b) for each unit of its covariate (Kalbfleisch and Prentice 2002, The Statistical Analysis of
Failure Time Data, ch. 3; Lawless 2003, ch. 6; from memory). Intervals are profile-likelihood intervals,
widened where the coats of a house go together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from inspections.analysis.clustering import variance_ratio
from inspections.analysis.lifetimes import Interval, Lifetimes
from inspections.analysis.linear import columns_are_independent
from inspections.analysis.logtimes import LOG_NORMAL, WEIBULL, Family, Likelihood, climb
from inspections.analysis.profiles import Aim, Fit, LogLife, LogRate, inverse, scaled
from inspections.analysis.records import FloatArray
from inspections.analysis.weibull import start

#: Covariates whose correlation makes the condition number greater than this can't be told apart.
COLLINEAR = 1e6


@dataclass(frozen=True, slots=True)
class Effect:
    """A covariate's coefficient on log life with its interval, standard error and p-value; None: not told."""

    coefficient: Interval
    standard_error: float | None
    p_value: float | None


@dataclass(frozen=True, slots=True)
class AcceleratedFit:
    """``intercept`` (log years) and ``effects`` on log life; ``scale`` of the log life's scatter.

    A Weibull's shape is one over ``scale``. ``covariance`` (p + 2, p + 2) of intercept, coefficients and log
    scale is that of independent coats; ``clustering`` (p + 2,) are the factors on variances for houses, for
    intercept, coefficients and log scale.
    """

    intercept: Interval
    effects: tuple[Effect, ...]
    scale: Interval
    log_likelihood: float
    covariance: FloatArray
    clustering: FloatArray
    coats: int
    failures: int
    level: float
    method: str


def fit_accelerated(
    lifetimes: Lifetimes, covariates: npt.ArrayLike, family: Family = WEIBULL, level: float = 0.95
) -> AcceleratedFit | None:
    """Coefficients of ``covariates`` (n, p) on log life; None where the lives fix no scatter of log life.

    A coefficient without estimate has no end on one side: no failure was seen, say, where it is high.
    ValueError where covariates are unknown or can't be told apart.
    """
    if not 0 < level < 1:
        raise ValueError("level must lie between 0 and 1")
    summit = _summit(lifetimes, covariates, family)
    if summit is None:
        return None
    fit, unit, aims = summit
    found, ratios = fit.intervals(aims, lifetimes.cluster, level)
    gradients = np.column_stack([aim.gradient(fit.theta) for aim in aims])
    gradients[:, -1] *= -1
    covariance = gradients.T @ fit.covariance() @ gradients
    errors = np.sqrt(np.diag(covariance) * ratios)
    effects = tuple(
        _effect(interval, float(error)) for interval, error in zip(found[1:-1], errors[1:-1], strict=True)
    )
    method = f"accelerated failure times, {family.name}, profile-likelihood intervals"
    if ratios.max() > 1:
        method += f"; houses taken as clusters, deviance over {ratios.max():.2f} at most"
    return AcceleratedFit(
        _shifted(found[0], float(np.log(unit))),
        effects,
        inverse(scaled(found[-1], 1.0)),
        fit.log_likelihood,
        covariance,
        ratios,
        len(lifetimes),
        lifetimes.failures,
        level,
        method,
    )


def estimate_accelerated(
    lifetimes: Lifetimes, covariates: npt.ArrayLike, family: Family = WEIBULL
) -> tuple[FloatArray, FloatArray] | None:
    """Coefficients (p,) of :func:`fit_accelerated` and their errors alone; None where it has none."""
    summit = _summit(lifetimes, covariates, family)
    if summit is None:
        return None
    fit, _, aims = summit
    own = aims[1:-1]
    gradients = np.column_stack([aim.gradient(fit.theta) for aim in own])
    influence = fit.covariance() @ gradients
    variance = (gradients * influence).sum(axis=0)
    ratios = variance_ratio(fit.likelihood.scores(fit.theta) @ influence, lifetimes.cluster, variance)
    return np.array([aim.value(fit.theta) for aim in own]), np.sqrt(variance * ratios)


def _summit(
    lifetimes: Lifetimes, covariates: npt.ArrayLike, family: Family
) -> tuple[Fit, float, list[Aim]] | None:
    """The fit in logs over a unit of time, that unit, and intercept, coefficients and rate in it."""
    given = np.asarray(covariates, dtype=float)
    if given.ndim != 2 or len(given) != len(lifetimes):
        raise ValueError("covariates must have a row for each coat")
    if not np.isfinite(given).all():
        row, column = np.argwhere(~np.isfinite(given))[0]
        raise ValueError(f"coat {row}: covariate {column} must be known")
    centre = given.mean(axis=0) if len(given) else np.zeros(given.shape[1])
    spread = np.where(given.std(axis=0) > 0, given.std(axis=0), 0.0) if len(given) else centre
    design = np.column_stack([np.ones(len(given)), (given - centre) / np.where(spread > 0, spread, 1.0)])
    if not columns_are_independent(design, COLLINEAR):
        raise ValueError("the covariates can't be told apart: one is constant or follows from the others")
    if not lifetimes.failures:
        return None
    unit, (location, rate) = start(lifetimes)
    likelihood = Likelihood(lifetimes, design, family, unit)
    theta = np.concatenate([[location], np.zeros(given.shape[1]), [rate]])
    fit = Fit(likelihood, *climb(likelihood, theta, np.eye(len(theta))))
    if not fit.reached:
        return None
    units = np.eye(design.shape[1])
    # The intercept is the log life where all covariates are nought.
    origin = np.append(1.0, -centre / spread)
    aims: list[Aim] = [LogLife(x, 0.0) for x in (origin, *(units[1:] / spread[:, None]))]
    return fit, unit, [*aims, LogRate()]


def _effect(interval: Interval, error: float) -> Effect:
    if interval.estimate is None:
        return Effect(interval, None, None)
    return Effect(interval, error, float(2 * ndtr(-abs(interval.estimate) / error)))


def _shifted(interval: Interval, by: float) -> Interval:
    low, estimate, high = (
        None if end is None else end + by for end in (interval.low, interval.estimate, interval.high)
    )
    return Interval(estimate, low, high)


__all__ = [
    "LOG_NORMAL",
    "WEIBULL",
    "AcceleratedFit",
    "Effect",
    "estimate_accelerated",
    "fit_accelerated",
]
