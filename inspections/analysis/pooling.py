"""A section's rate beside those of its like: pooled rates, drawn together as far as the readings allow.

Sections of one coat and one exposure have rates of their own about a common mean. Given each section's own
rate and its error, the spread between sections is known as far as the restricted likelihood tells it
(Patterson and Thompson 1971; as in random-effects meta-analysis, Viechtbauer 2005, J. Educ. Behav. Stat. 30,
261), and each rate is drawn towards the mean by how much of its scatter is error (Efron and Morris 1975, JASA
70, 311). Rates and limits are averaged over the spreads that remain possible, all alike beforehand (Rubin
1981, J. Educ. Stat. 6, 377), so that few sections give wide limits. A section without a rate of its own gets
the mean, with the limits of a section not yet seen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from inspections.analysis.records import FloatArray
from inspections.analysis.trends import CONFIDENCE

#: Fewest sections with rates of their own that say something of the others. Ours, as for failure rates.
LEAST_SECTIONS = 5
#: Spreads tried, and how far they go in standard deviations of the rates themselves.
_SPREADS, _FARTHEST = 80, 6.0
_HALVINGS = 50


@dataclass(frozen=True, slots=True)
class Pooled:
    """Rates (n,) with 95 % limits, the common ``mean`` with its error, and the spread between sections.

    ``between_sd`` is the restricted likelihood's summit, ``mean`` and ``mean_error`` those at that spread.
    """

    rate: FloatArray
    low: FloatArray
    high: FloatArray
    mean: float
    mean_error: float
    between_sd: float
    sections: int


def error_of(low: FloatArray, high: FloatArray) -> FloatArray:
    """Standard error behind 95 % limits."""
    return np.asarray((high - low) / (2 * ndtri(0.5 + CONFIDENCE / 2)), dtype=float)


def pooled_rates(rate: FloatArray, error: FloatArray) -> Pooled | None:
    """Pool rates (n,) with standard errors (n,), NaN where a section has none; None under five that have.

    Sections are taken as independent of each other, errors as normal and known.
    """
    known = np.isfinite(rate) & np.isfinite(error) & (error > 0)
    if known.sum() < LEAST_SECTIONS:
        return None
    own, variance = rate[known], error[known] ** 2
    farthest = _FARTHEST * max(float(own.std()), float(np.sqrt(variance.min())))
    spread = np.linspace(0.0, farthest, _SPREADS) ** 2
    mean, mean_variance, score = _restricted(own, variance, spread)
    chance = np.exp(score - score.max())
    chance /= chance.sum()
    # Of each section (rows) at each spread (columns): the drawn rate and its variance.
    kept = np.zeros((len(rate), _SPREADS))
    kept[known] = spread / (spread + variance[:, None])
    centre = mean + kept * (np.where(known, rate, 0.0)[:, None] - mean)
    width = np.where(known[:, None], kept * np.where(known, error, 0.0)[:, None] ** 2, spread)
    width = width + (1 - kept) ** 2 * mean_variance
    low, high = (
        _quantile(chance, centre, np.sqrt(width), at) for at in (0.5 - CONFIDENCE / 2, 0.5 + CONFIDENCE / 2)
    )
    best = _summit(own, variance, farthest)
    at_best = _restricted(own, variance, np.array([best**2]))
    return Pooled(
        rate=centre @ chance,
        low=low,
        high=high,
        mean=float(at_best[0][0]),
        mean_error=float(np.sqrt(at_best[1][0])),
        between_sd=best,
        sections=int(known.sum()),
    )


def _restricted(
    rate: FloatArray, variance: FloatArray, spread: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean, its variance and the restricted log likelihood at each variance between sections (g,)."""
    weight = 1 / (variance[:, None] + spread)
    total = weight.sum(axis=0)
    mean = (weight * rate[:, None]).sum(axis=0) / total
    energy = (weight * (rate[:, None] - mean) ** 2).sum(axis=0)
    return mean, 1 / total, 0.5 * (np.log(weight).sum(axis=0) - np.log(total) - energy)


def _summit(rate: FloatArray, variance: FloatArray, farthest: float) -> float:
    """Spread at the summit of the restricted likelihood, by ever finer grids."""
    low, high = 0.0, farthest
    for _ in range(12):
        grid = np.linspace(low, high, 41)
        best = int(np.argmax(_restricted(rate, variance, grid**2)[2]))
        low, high = grid[max(best - 1, 0)], grid[min(best + 1, 40)]
    return float((low + high) / 2) if high > 1e-9 * farthest else 0.0


def _quantile(chance: FloatArray, centre: FloatArray, sd: FloatArray, at: float) -> FloatArray:
    """Where mixtures of normals, parts by columns (n, g), reach probability ``at``: (n,)."""
    reach = 8 * sd.max(axis=1)
    low, high = centre.min(axis=1) - reach, centre.max(axis=1) + reach
    safe = np.maximum(sd, np.finfo(float).tiny)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        under = ndtr((middle[:, None] - centre) / safe) @ chance < at
        low, high = np.where(under, middle, low), np.where(under, high, middle)
    return np.asarray((low + high) / 2, dtype=float)
