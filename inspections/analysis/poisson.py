"""Rates of failures over exposure, with exact limits.

Sources: Garwood (1936), Biometrika 28, 437-442 (limits of a Poisson count); Przyborowski and Wilenski (1940),
Biometrika 31, 313-323 (ratio of two rates, given their sum).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import betaincinv, gammaincinv, gammaln

from inspections.analysis.lifetimes import Interval
from inspections.analysis.records import FloatArray

#: Probabilities that equal the observed one within this part count as equal, against rounding.
_SAME = 1 + 1e-7


def garwood(events: npt.ArrayLike, level: float = 0.95) -> tuple[FloatArray, FloatArray]:
    """Exact limits of the mean of Poisson counts ``events`` (…), each end with half of what ``level`` leaves.

    Garwood (1936): gamma quantiles of shape ``events`` and ``events + 1``; the lower limit of no event is 0.
    """
    counts = np.asarray(events, dtype=float)
    if np.any(counts < 0) or not 0 < level < 1:
        raise ValueError("events must be 0 or more, and level between 0 and 1")
    tail = (1 - level) / 2
    low = np.where(counts > 0, gammaincinv(np.maximum(counts, 1e-300), tail), 0.0)
    return low, np.asarray(gammaincinv(counts + 1, 1 - tail), dtype=float)


def rate(events: int, exposure: float, level: float = 0.95) -> Interval:
    """Events over exposure, per unit of exposure, with exact limits; all None where nothing was at risk."""
    if exposure < 0:
        raise ValueError("exposure must be 0 or more")
    if exposure == 0:
        return Interval(None, None, None)
    low, high = garwood(events, level)
    return Interval(events / exposure, float(low) / exposure, float(high) / exposure)


def rate_ratio(
    events: tuple[int, int], exposure: tuple[float, float], level: float = 0.95
) -> tuple[Interval, float]:
    """First rate over the second with its equal-tailed exact interval, and the exact two-sided p-value.

    Given their sum, the first count is binomial (Przyborowski and Wilenski 1940). The p-value adds the
    probabilities of all counts that are no likelier than the one seen, so at the margin it may disagree with
    the interval. An end is None where it is not reached.
    """
    first, second = events
    total = first + second
    if min(exposure) <= 0 or min(events) < 0:
        raise ValueError("events must be 0 or more and exposures above 0")
    odds = exposure[1] / exposure[0]
    tail = (1 - level) / 2
    low = float(betaincinv(first, second + 1, tail)) if first else 0.0
    high = float(betaincinv(first + 1, second, 1 - tail)) if second else 1.0
    estimate = first / second * odds if second else None
    interval = Interval(estimate, low / (1 - low) * odds, high / (1 - high) * odds if second else None)
    share = exposure[0] / sum(exposure)
    counts = np.arange(total + 1)
    log_chance = gammaln(total + 1) - gammaln(counts + 1) - gammaln(total - counts + 1)
    chance = np.exp(log_chance + counts * np.log(share) + (total - counts) * np.log1p(-share))
    return interval, float(min(chance[chance <= chance[first] * _SAME].sum(), 1.0))
