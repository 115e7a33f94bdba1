"""A section's rate beside those of its like: pooled rates, drawn together as far as the readings allow.

Sections of one coat and one exposure have rates of their own about a common mean, and those of one house
about the house's: they share its weather, its visits and its masons. Given each section's own rate and its
error, the spreads between houses and between the sections of a house are known as far as the restricted
likelihood tells them (Patterson and Thompson 1971; as in random-effects meta-analysis of three levels,
Konstantopoulos 2011, Res. Synth. Methods 2, 61), and each rate is drawn towards its house's, and that towards
the mean, by how much of its scatter is error (Efron and Morris 1975, JASA 70, 311). Rates and limits are
averaged over the spreads that remain possible, all alike beforehand (Rubin 1981, J. Educ. Stat. 6, 377;
Gelman 2006, Bayesian Anal. 1, 515), so that few sections give wide limits. A section without a rate of its
own gets its house's, with the limits of a section not yet seen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from inspections.analysis.records import FloatArray
from inspections.analysis.trends import CONFIDENCE

#: Fewest sections with rates of their own that say something of the others. Ours, as for failure rates.
LEAST_SECTIONS = 5
#: Spreads tried, and how far they go in standard deviations of the rates themselves: finer near nought where
#: spreads of houses are tried too. Pairs of them less likely than this are left out of the averages.
_SPREADS, _FARTHEST = 80, 6.0
_WITHIN, _HOUSES, _UNLIKELY = 36, 22, 1e-5
_HALVINGS = 36

Labels = npt.NDArray[np.generic]


@dataclass(frozen=True, slots=True)
class Pooled:
    """Rates (n,) with 95 % limits, the common ``mean`` with its error, and the spreads.

    ``between_sd`` (between the sections of a house) and ``house_sd`` (between houses) are the restricted
    likelihood's summit, ``mean`` and ``mean_error`` those there.
    """

    rate: FloatArray
    low: FloatArray
    high: FloatArray
    mean: float
    mean_error: float
    between_sd: float
    sections: int
    house_sd: float = 0.0
    houses: int = 0


@dataclass(frozen=True, slots=True)
class _Own:
    """Known rates and their variances (k,), ordered by house; where each house's begin (J,)."""

    rate: FloatArray
    variance: FloatArray
    start: npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class _Level:
    """At each pair of variances (g,): the mean, its variance, the restricted log likelihood; and by house
    (J, g) its deviation from the mean, and by how much of the mean's error it is moved."""

    mean: FloatArray
    mean_variance: FloatArray
    score: FloatArray
    deviation: FloatArray
    share: FloatArray


def error_of(low: FloatArray, high: FloatArray) -> FloatArray:
    """Standard error behind 95 % limits."""
    return np.asarray((high - low) / (2 * ndtri(0.5 + CONFIDENCE / 2)), dtype=float)


def pooled_rates(
    rate: FloatArray,
    error: FloatArray,
    house: Labels | None = None,
    wanted: npt.NDArray[np.bool_] | None = None,
) -> Pooled | None:
    """Pool rates (n,) with standard errors (n,), NaN where a section has none; None under five that have.

    ``house`` (n,) names the house of each; without it, or where the known rates are of one house or each of
    another, sections are taken as independent. Errors are taken as normal and known.
    ``wanted`` (n,) spares the work for the others, whose rates and limits are then NaN.
    """
    known = np.isfinite(rate) & np.isfinite(error) & (error > 0)
    if known.sum() < LEAST_SECTIONS:
        return None
    labels = np.arange(len(rate)) if house is None else np.unique(house, return_inverse=True)[1]
    order = np.flatnonzero(known)[np.argsort(labels[known], kind="stable")]
    names, start, counts = np.unique(labels[order], return_index=True, return_counts=True)
    own = _Own(rate[order], error[order] ** 2, start)
    farthest = _FARTHEST * max(float(own.rate.std()), float(np.sqrt(own.variance.min())))
    alike = 1 < len(names) < len(order)
    within, between, prior = _grid(farthest, alike)
    level = _restricted(own, within, between)
    chance = prior * np.exp(level.score - level.score.max())
    likely = chance > _UNLIKELY * chance.max()
    chance = chance[likely] / chance[likely].sum()
    rows = np.arange(len(rate)) if wanted is None else np.flatnonzero(wanted)
    section = _Section(rate[rows], error[rows], known[rows], labels[rows])
    centre, sd = _centres(section, names, _at(level, likely), within[likely], between[likely])
    ends = (_quantile(chance, centre, sd, at) for at in (0.5 - CONFIDENCE / 2, 0.5 + CONFIDENCE / 2))
    drawn, low, high = (_placed(values, rows, len(rate)) for values in (_mixed(centre, chance), *ends))
    best, best_house = _summit(own, farthest, alike)
    summit = _restricted(own, np.array([best**2]), np.array([best_house**2]))
    return Pooled(
        rate=drawn,
        low=low,
        high=high,
        mean=float(summit.mean[0]),
        mean_error=float(np.sqrt(summit.mean_variance[0])),
        between_sd=best,
        sections=len(order),
        house_sd=best_house,
        houses=0 if house is None else int(counts.size),
    )


def _grid(farthest: float, alike: bool) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Variances between sections and between houses, and how likely each pair is beforehand: (g,)."""
    if not alike:
        spread = np.linspace(0.0, farthest, _SPREADS)
        return spread**2, np.zeros(_SPREADS), np.ones(_SPREADS)
    spread, house = (farthest * np.linspace(0.0, 1.0, count) ** 2 for count in (_WITHIN, _HOUSES))
    pairs = np.meshgrid(spread, house, indexing="ij")
    prior = np.outer(np.gradient(spread), np.gradient(house))
    return pairs[0].ravel() ** 2, pairs[1].ravel() ** 2, prior.ravel()


def _restricted(own: _Own, within: FloatArray, between: FloatArray) -> _Level:
    """What the known rates say at each pair of variances ``within`` and ``between`` houses (g,)."""
    weight = 1 / (own.variance[:, None] + within)
    of_house = np.add.reduceat(weight, own.start, axis=0)
    rates = np.add.reduceat(weight * own.rate[:, None], own.start, axis=0)
    share = 1 / (1 + between * of_house)
    total = (share * of_house).sum(axis=0)
    mean = (share * rates).sum(axis=0) / total
    beyond = rates - mean * of_house
    energy = (weight * (own.rate[:, None] - mean) ** 2).sum(axis=0) - (between * share * beyond**2).sum(
        axis=0
    )
    size = np.log(weight).sum(axis=0) + np.log(share).sum(axis=0) - np.log(total)
    return _Level(mean, 1 / total, 0.5 * (size - energy), between * share * beyond, share)


def _at(level: _Level, likely: npt.NDArray[np.bool_]) -> _Level:
    return _Level(*(getattr(level, name)[..., likely] for name in _Level.__slots__))


@dataclass(frozen=True, slots=True)
class _Section:
    """The sections whose drawn rates are asked for, as parallel arrays."""

    rate: FloatArray
    error: FloatArray
    known: npt.NDArray[np.bool_]
    house: npt.NDArray[np.int64]


def _mixed(values: FloatArray, chance: FloatArray) -> FloatArray:
    """Averages (n,) of rows (n, g), to the last digit the same whatever other rows there are."""
    return np.asarray((values * chance).sum(axis=1))


def _placed(values: FloatArray, rows: npt.NDArray[np.int64], count: int) -> FloatArray:
    placed = np.full(count, np.nan)
    placed[rows] = values
    return placed


def _centres(
    section: _Section,
    names: npt.NDArray[np.int64],
    level: _Level,
    within: FloatArray,
    between: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Of each section (rows) at each pair of spreads (columns): the drawn rate and its standard error.

    The best linear unbiased prediction and its error (Henderson 1975, Biometrics 31, 423), in closed form.
    ``names`` (J,) are the houses of ``level``, in order.
    """
    row = np.minimum(np.searchsorted(names, section.house), len(names) - 1)
    seen = (names[row] == section.house)[:, None]
    deviation = np.where(seen, level.deviation[row], 0.0)
    share = np.where(seen, level.share[row], 1.0)
    known = section.known[:, None]
    variance = np.where(known, section.error[:, None], 1.0) ** 2
    kept = np.where(known, within / (within + variance), 0.0)
    own = np.where(known, section.rate[:, None], 0.0)
    centre = kept * own + (1 - kept) * (level.mean + deviation)
    width = np.where(known, kept * variance, within)
    width += (1 - kept) ** 2 * (between * share + share**2 * level.mean_variance)
    return centre, np.sqrt(width)


def _summit(own: _Own, farthest: float, alike: bool) -> tuple[float, float]:
    """Spreads at the summit of the restricted likelihood, by ever finer grids: of sections, of houses."""
    ends = [(0.0, farthest), (0.0, farthest if alike else 0.0)]
    counts = (21, 21) if alike else (41, 1)
    for _ in range(16 if alike else 12):
        spread, house = (np.linspace(*end, count) for end, count in zip(ends, counts, strict=True))
        pairs = np.meshgrid(spread, house, indexing="ij")
        score = _restricted(own, pairs[0].ravel() ** 2, pairs[1].ravel() ** 2).score
        best = divmod(int(np.argmax(score)), len(house))
        ends = [
            (float(grid[max(at - 1, 0)]), float(grid[min(at + 1, len(grid) - 1)]))
            for grid, at in zip((spread, house), best, strict=True)
        ]
    sections, houses = (float((a + b) / 2) if b > 1e-9 * farthest else 0.0 for a, b in ends)
    return sections, houses


def _quantile(chance: FloatArray, centre: FloatArray, sd: FloatArray, at: float) -> FloatArray:
    """Where mixtures of normals, parts by columns (n, g), reach probability ``at``: (n,)."""
    reach = 8 * sd.max(axis=1)
    low, high = centre.min(axis=1) - reach, centre.max(axis=1) + reach
    safe = np.maximum(sd, np.finfo(float).tiny)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        under = _mixed(ndtr((middle[:, None] - centre) / safe), chance) < at
        low, high = np.where(under, middle, low), np.where(under, high, middle)
    return np.asarray((low + high) / 2, dtype=float)
