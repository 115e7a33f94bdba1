"""What is not known of some walls, drawn as often as it takes to carry on how little it is known.

Values that are missing are drawn from a regression on all else that is known, how long the coat lasted
included; each completed book is fitted, and the fits' own errors are added to their scatter (Rubin 1987,
Multiple Imputation for Nonresponse in Surveys, ch. 3). What the regression must hold where the outcome is a
life: White and Royston (2009), Stat. Med. 28, 1982-1998. From memory. It supposes that, given the rest,
whether a value was written down doesn't hang on the value itself.
"""

from __future__ import annotations

import numpy as np
from scipy.special import stdtr, stdtrit

from inspections.analysis.lifetimes import BoolArray, Interval, Lifetimes
from inspections.analysis.records import FloatArray
from inspections.analysis.weibull import estimate_weibull

#: Completed books, and rounds of drawing in each where several things are missing.
BOOKS, ROUNDS = 12, 5
_SEED, _RIDGE = 1987, 1e-6


def completed(measures: FloatArray, design: FloatArray, lifetimes: Lifetimes) -> list[FloatArray]:
    """``BOOKS`` copies of ``measures`` (n, m) with what is missing (NaN) drawn, given ``design`` (n, p).

    The same values come of the same coats, in whatever order they stand.
    """
    known = np.isfinite(measures)
    fixed = np.column_stack([np.ones(len(measures)), design, _outcome(lifetimes)])
    order = np.lexsort((*measures.T, *design.T, lifetimes.high, lifetimes.low, lifetimes.entry))
    random = np.random.default_rng(_SEED)
    columns = [measures[known[:, one], one] for one in range(measures.shape[1])]
    middle, width = (np.array([part(column) for column in columns]) for part in (np.mean, np.std))
    # Drawn free of units, so that none changes the result.
    told = (measures - middle) / width
    books = []
    for _ in range(BOOKS):
        filled = np.where(known, told, 0.0)
        for _ in range(ROUNDS if measures.shape[1] > 1 else 1):
            for one in np.flatnonzero(~known.all(axis=0)).tolist():
                others = np.delete(filled, one, axis=1)
                noise = np.empty(len(filled))
                noise[order] = random.normal(size=len(filled))
                predictors = np.column_stack([fixed, others])
                filled[:, one] = _drawn(told[:, one], known[:, one], predictors, noise, random)
        books.append(np.where(known, measures, middle + width * filled))
    return books


def _outcome(lifetimes: Lifetimes) -> FloatArray:
    """Failed or not, the cumulative hazard watched, and whether it was found: (n, 3)."""
    middle = np.where(lifetimes.failed, (lifetimes.low + lifetimes.high) / 2, lifetimes.low)
    shape, scale = estimate_weibull(lifetimes) or (1.0, max(float(middle.mean()), 1.0))
    hazard = (middle / scale) ** shape - (lifetimes.entry / scale) ** shape
    return np.column_stack([lifetimes.failed, hazard, lifetimes.entry > 0]).astype(float)


def _drawn(
    value: FloatArray, known: BoolArray, x: FloatArray, noise: FloatArray, random: np.random.Generator
) -> FloatArray:
    """The values with the missing drawn from a normal regression whose coefficients are drawn too."""
    mine = x[known]
    inner = mine.T @ mine + _RIDGE * len(mine) * np.eye(x.shape[1])
    root = np.linalg.cholesky(np.linalg.inv(inner))
    centre = np.linalg.solve(inner, mine.T @ value[known])
    degrees = max(len(mine) - x.shape[1], 1)
    spread = np.sqrt(((value[known] - mine @ centre) ** 2).sum() / random.chisquare(degrees))
    drawn = centre + spread * (root @ random.normal(size=x.shape[1]))
    return np.where(known, value, x @ drawn + spread * noise)


def pooled(
    estimates: FloatArray, errors: FloatArray, level: float = 0.95
) -> tuple[list[Interval], FloatArray]:
    """Rubin's estimate of each of t effects with its interval, and p-values (t,), from (books, t) of each."""
    books = len(estimates)
    within, between = (errors**2).mean(axis=0), estimates.var(axis=0, ddof=1)
    total = within + (1 + 1 / books) * between
    part = (1 + 1 / books) * between / np.maximum(total, 1e-300)
    degrees = (books - 1) / np.maximum(part, 1e-6) ** 2
    centre, error = estimates.mean(axis=0), np.sqrt(total)
    reach = stdtrit(degrees, (1 + level) / 2) * error
    found = [
        Interval(float(mid), float(mid - far), float(mid + far))
        for mid, far in zip(centre, reach, strict=True)
    ]
    return found, np.asarray(2 * stdtr(degrees, -np.abs(centre) / error))
