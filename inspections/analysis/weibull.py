"""Weibull and log-normal lives: maximum likelihood with profile-likelihood intervals, any censoring.

Shape and scale as in S(t) = exp(-(t / scale) ** shape); for the log-normal, shape is the standard deviation
of log life and scale the median life (Meeker and Escobar 1998, Statistical Methods for Reliability Data, chs.
7, 8 and 11).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inspections.analysis.lifetimes import Interval, Lifetimes
from inspections.analysis.logtimes import LOG_NORMAL, WEIBULL, Family, Likelihood, climb
from inspections.analysis.profiles import Fit, LogLife, LogRate, inverse, scaled
from inspections.analysis.records import FloatArray

_UNKNOWN = Interval(None, None, None)
_ONE = np.ones(1)
#: Coefficient and rate of a life that ends as good as never, from which the limits of no failure are sought.
ENDLESS = (LogLife.most, 1.0)


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


def estimate_weibull(lifetimes: Lifetimes) -> tuple[float, float] | None:
    """Shape and scale (years) alone, of :func:`fit_weibull`; None where it has no estimates."""
    fit = _summit(lifetimes, WEIBULL) if lifetimes.failures else None
    if fit is None or not fit[0].reached:
        return None
    theta, unit = fit[0].theta, fit[1]
    return float(theta[1]), float(unit * np.exp(theta[0] / theta[1]))


def fit_lognormal(lifetimes: Lifetimes, level: float = 0.95) -> LifeFit:
    """Log-normal lives, as :func:`fit_weibull`."""
    return _fit(lifetimes, level, LOG_NORMAL)


def _fit(lifetimes: Lifetimes, level: float, family: Family) -> LifeFit:
    if not 0 < level < 1:
        raise ValueError("level must lie between 0 and 1")
    if not lifetimes.failures:
        return _without_failure(lifetimes, level, family)
    fit, unit = _summit(lifetimes, family)
    aims = (LogRate(), LogLife(_ONE, 0.0), LogLife(_ONE, family.middle))
    found, ratios = fit.intervals(aims, lifetimes.cluster, level)
    count = len(lifetimes), lifetimes.failures
    log_likelihood = fit.log_likelihood if fit.reached else None
    return life_fit(family, found, unit, ratios, log_likelihood, count, level)


def life_fit(
    family: Family,
    found: Sequence[Interval],
    unit: float,
    ratios: FloatArray,
    log_likelihood: float | None,
    count: tuple[int, int],
    level: float,
) -> LifeFit:
    """What a search told: logs of rate, scale and median over ``unit``, and the factors (3,) for houses.

    ``count`` are coats and failures. ``log_likelihood`` is None where the summit lies at no finite values.
    """
    rate, scale, median = found
    shape = scaled(rate, 1.0)
    method = f"{family.name} by maximum likelihood, profile-likelihood intervals"
    if log_likelihood is None:
        method += "; all failures fit one moment, so that there is no estimate"
    elif ratios.max() > 1:
        method += f"; houses taken as clusters, deviance over {ratios.max():.2f} at most"
    return LifeFit(
        shape if family is WEIBULL else inverse(shape),
        scaled(scale, unit),
        scaled(median, unit),
        log_likelihood,
        (float(ratios[0]), float(ratios[1]), float(ratios[2])),
        *count,
        level,
        method,
    )


def _summit(lifetimes: Lifetimes, family: Family) -> tuple[Fit, float]:
    """The fit in logs over a unit of time, and that unit; there must be a failure."""
    unit, theta = start(lifetimes)
    likelihood = Likelihood(lifetimes, np.ones((len(lifetimes), 1)), family, unit)
    return Fit(likelihood, *climb(likelihood, theta, np.eye(2))), unit


def start(lifetimes: Lifetimes) -> tuple[float, FloatArray]:
    """A unit of time in which logs are near nought, and the exponential life to start the search from."""
    middle = np.where(lifetimes.failed, (lifetimes.low + lifetimes.high) / 2, lifetimes.low)
    unit = float(np.exp(np.log(middle[lifetimes.failed]).mean()))
    exposure = float((middle - lifetimes.entry).sum()) / lifetimes.failures
    return unit, np.array([np.log(exposure / unit), 1.0])


def _without_failure(lifetimes: Lifetimes, level: float, family: Family) -> LifeFit:
    """Lower limits at which no failure has the chance that one end of the interval leaves, over all shapes.

    As in Garwood's (1936) limits of no event; the likelihood's own limit would be bolder.
    """
    reached = float(lifetimes.low.max(initial=0.0))
    lows: list[float | None] = [None, None]
    if reached > 0:
        likelihood = Likelihood(lifetimes, np.ones((len(lifetimes), 1)), family, reached)
        fit = Fit(likelihood, np.array(ENDLESS), 0.0, np.zeros((2, 2)), False)
        aims = (LogLife(_ONE, 0.0), LogLife(_ONE, family.middle))
        lows = [fit.limit(aim, -1, LogLife.most, depth_of_none(level)) for aim in aims]
    return unfailed_fit(family, lows, reached, len(lifetimes), level)


def depth_of_none(level: float) -> float:
    """The root of the deviance at which none fails with the chance that one end of the interval leaves."""
    return float(np.sqrt(-2 * np.log((1 - level) / 2)))


def unfailed_fit(
    family: Family, lows: Sequence[float | None], unit: float, coats: int, level: float
) -> LifeFit:
    """What coats without a failure told: lower limits of the logs of scale and median over ``unit``."""
    scale, median = (scaled(Interval(None, low, None), unit) for low in lows)
    method = f"{family.name}; no failure was seen: exact lower limits over all shapes"
    return LifeFit(_UNKNOWN, scale, median, None, (1.0, 1.0, 1.0), coats, 0, level, method)
