"""The nonparametric likelihood of lives as a concave function of hazards, and its summit.

Time is cut into cells. A coat that failed in cells first … last - 1 and was watched from cell entry on
contributes

    log(1 - exp(-(h[first] + … + h[last - 1]))) - (h[entry] + … + h[first - 1]),

where h >= 0 is what the cumulative hazard grows by over a cell: concave, with left truncation too. Newton
steps over a growing and shrinking support find the summit (Wang 2008, Comput. Stat. Data Anal. 52,
2388-2402, there in the masses); the Lagrange dual bounds what is left to gain (Boyd and Vandenberghe 2004,
Convex Optimization, sec. 5.5).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.linalg.lapack import dpbsv

from inspections.analysis.lifetimes import BoolArray, IntArray
from inspections.analysis.records import FloatArray

#: The search ends when no hazards can be better by more than this in log likelihood. The bound shrinks with
#: the square root of what is really left, which is then some 1e-11.
GAP = 2e-5
#: Cells times the square of the most that one kind spans, up to which a Newton step is solved directly;
#: beyond, by conjugate gradients.
DIRECT = 3e7
#: Part of the diagonal that is added to it, so that cells which no coat tells apart can be solved for.
RIDGE = 1e-11

_STEPS = 300
_HALVINGS = 40
#: Under this gap, rounding may hide that the likelihood rises: a gap that closes is enough.
_CLOSE = 1e-2
_ARMIJO = 1e-4
_CONJUGATE_STEPS, _CONJUGATE_TOLERANCE = 300, 1e-8
_TINY = 1e-300


def gathered(value: FloatArray) -> FloatArray:
    """Running sums along the first axis, from 0 on: one entry more."""
    total = np.zeros((len(value) + 1, *value.shape[1:]))
    np.cumsum(value, axis=0, out=total[1:])
    return total


@dataclass(frozen=True, slots=True)
class Failures:
    """Kinds of failed coats: cells ``first`` to before ``last``, (r,), and how many of each (``weight``).

    ``survivors`` (m,) counts the coats that were watched through a cell and outlived it; none is 0.
    """

    first: IntArray
    last: IntArray
    weight: FloatArray
    survivors: FloatArray

    def spans(self, value: FloatArray) -> FloatArray:
        """Sum of a value per cell (m, …) over each kind's cells: (r, …)."""
        total = gathered(value)
        return np.asarray(total[self.last] - total[self.first], dtype=float)

    def covers(self, value: FloatArray) -> FloatArray:
        """Sum of a value per kind (r, …) over the kinds that hold each cell: (m, …)."""
        size = len(self.survivors) + 1
        if value.ndim == 1:
            ends = np.bincount(self.first, value, size) - np.bincount(self.last, value, size)
        else:
            ends = np.zeros((size, *value.shape[1:]))
            np.add.at(ends, self.first, value)
            np.subtract.at(ends, self.last, value)
        return np.asarray(np.cumsum(ends, axis=0)[:-1], dtype=float)

    def band(self, bend: FloatArray, chosen: BoolArray) -> FloatArray:
        """Minus the second derivative by the ``chosen`` hazards, (f, b): by cell and the d-th after it.

        ``bend`` (r,) is that of each kind by its span, b the most chosen cells that one kind spans. Two cells
        share the kinds that start at or before the earlier and end after the later one: those that start
        with it, and those that the cell before shared with the later one.
        """
        place = np.zeros(len(chosen) + 1, dtype=np.int64)
        np.cumsum(chosen, out=place[1:])
        first, length = place[self.first], place[self.last] - place[self.first]
        width = int(length.max(initial=1))
        spanning = length > 0
        flat = (first * width + length - 1)[spanning]
        table = np.bincount(flat, bend[spanning], int(place[-1]) * width).reshape(-1, width)
        shared = np.cumsum(table[:, ::-1], axis=1)[:, ::-1]
        for before, row in pairwise(shared):
            row[:-1] += before[1:]
        return np.asarray(shared, dtype=float)


class Point:
    """The likelihood at hazards (m,), its slopes, and how far it may be from the summit."""

    def __init__(self, failures: Failures, hazard: FloatArray) -> None:
        self.failures, self.hazard, self.value, self.gap = failures, hazard, -np.inf, np.inf
        span = failures.spans(hazard)
        if span.min(initial=1.0) <= 0:
            return
        weight, survivors = failures.weight, failures.survivors
        #: The slope of log(1 - exp(-span)) by each kind's span, and minus its second derivative.
        self.pull = 1 / np.expm1(np.minimum(span, 600.0))
        self.bend = weight * self.pull * (1 + self.pull)
        self.value = -float(weight @ np.log1p(self.pull) + survivors @ hazard)
        covered = failures.covers(weight * self.pull)
        self.slope = covered - survivors
        # Pulls shrunk until no cell is drawn harder than its survivors hold it are feasible in the dual,
        # where log(1 - exp(-x)) has the conjugate -log(1 + v) - v log(1 + 1 / v).
        shrink = min(1.0, float((survivors / np.maximum(covered, _TINY)).min(initial=1.0)))
        pull = np.maximum(self.pull * shrink, _TINY)
        rise = np.log1p(pull)
        bound = -float(weight @ (rise + pull * (rise - np.log(pull))))
        self.gap = max(bound - self.value, 0.0)


@dataclass(frozen=True, slots=True)
class Summit:
    """Hazards (m,) of greatest likelihood, and the ``gap`` within which that is proven."""

    hazard: FloatArray
    log_likelihood: float
    gap: float
    steps: int


def summit(failures: Failures) -> Summit:
    """Hazards of greatest likelihood; every cell needs a survivor (else its hazard would be infinite)."""
    # Where each kind has a cell of its own, as exact lives have, this is the summit already.
    point, steps = Point(failures, _start(failures, _stabbing(failures))), 0
    while point.gap > GAP and steps < _STEPS:
        better = _move(point)
        if better is None:
            break
        point, steps = better, steps + 1
    return Summit(point.hazard, point.value, point.gap, steps)


def _start(failures: Failures, allowed: BoolArray) -> FloatArray:
    """Each failure spread evenly over its allowed cells, over those at risk, as in Turnbull's (1976) step."""
    share = failures.weight / np.maximum(failures.spans(allowed.astype(float)), 1)
    expected = np.where(allowed, failures.covers(share), 0.0)
    later = np.maximum(failures.covers(failures.weight) - expected, 0.0) / 2
    return np.asarray(np.log1p(expected / (failures.survivors + later)), dtype=float)


def _stabbing(failures: Failures) -> BoolArray:
    """Fewest cells that leave no kind without one: the last cell of whichever ends first, and so on."""
    chosen, latest = np.zeros(len(failures.survivors), dtype=bool), -1
    # Of the kinds that end with a cell only the one that starts last can be without one.
    start = np.full(len(chosen) + 1, -1)
    np.maximum.at(start, failures.last, failures.first)
    for last, first in enumerate(start.tolist()):
        if first > latest:
            latest = last - 1
            chosen[latest] = True
    return chosen


def _move(point: Point) -> Point | None:
    """Better hazards, or None where rounding allows none."""
    support = point.hazard > 0
    better = _towards(point, support | _steepest(support, point.slope), one_by_one=False)
    if better is None:
        # The step was too bold. One new cell, and hazards stopped one by one at nought, always rise.
        support[np.argmax(np.where(support, 0.0, point.slope))] = True
        better = _towards(point, support, one_by_one=True)
    return better


def _towards(point: Point, chosen: BoolArray, one_by_one: bool) -> Point | None:
    """The longest of halved steps that makes the lives clearly likelier, or all but proves the summit."""
    step = np.zeros_like(point.hazard)
    step[chosen] = _newton(point, chosen, one_by_one)
    length = 1.0
    for _ in range(_HALVINGS):
        trial = Point(point.failures, np.maximum(point.hazard + length * step, 0.0))
        rise = _ARMIJO * abs(float(point.slope @ (trial.hazard - point.hazard)))
        if trial.value > point.value + rise or trial.gap < min(point.gap / 2, _CLOSE):
            return trial
        length /= 2
    return None


def _steepest(support: BoolArray, slope: FloatArray) -> BoolArray:
    """The cell of greatest rise between each two neighbours of the support, where there is a rise."""
    outside = np.where(support, -np.inf, slope)
    starts = np.concatenate([[0], np.flatnonzero(support)])
    best = np.maximum.reduceat(outside, starts)
    rising = np.flatnonzero((outside > 0) & (outside == np.repeat(best, np.diff(starts, append=len(slope)))))
    chosen = np.zeros(len(support), dtype=bool)
    chosen[rising] = True
    return chosen


def _newton(point: Point, chosen: BoolArray, one_by_one: bool) -> FloatArray:
    """Newton's step (f,) in the ``chosen`` hazards that leaves none negative.

    Those that would fall below zero are held there and the others solved anew, as in Lawson and Hanson
    (1974), ch. 23: there one by one as they reach zero, else all at once, which is quicker. What ought to
    come back does so at the next step.
    """
    slope, now = point.slope[chosen], point.hazard[chosen]
    band = point.failures.band(point.bend, chosen)
    size, width = band.shape
    if size * width**2 > DIRECT:
        return conjugate(point.failures, point.bend, chosen, slope[:, None])[:, 0]
    curved = point.failures.covers(point.bend * point.failures.spans(point.hazard))[chosen]
    band[:, 0] *= 1 + RIDGE
    at, free = now, np.ones(size + width, dtype=bool)
    partner = np.arange(size)[:, None] + np.arange(width)
    while True:
        # A hazard that is held at nought keeps its place, with a one on the diagonal.
        part = band * (free[partner] & free[:size, None])
        part[:, 0] = np.where(free[:size], band[:, 0], 1.0)
        _, aim, singular = dpbsv(part.T, np.where(free[:size], slope + curved, 0.0), lower=1)
        if singular:
            return np.asarray(slope / band[:, 0].max(), dtype=float)
        falls = aim < 0
        if not falls.any():
            return np.asarray(aim - now, dtype=float)
        if one_by_one:
            shares = at[falls] / (at[falls] - aim[falls])
            at = np.maximum(at + shares.min() * (aim - at), 0.0)
            at[np.flatnonzero(falls)[np.argmin(shares)]] = 0.0
            free[:size] &= at > 0
        else:
            free[:size] &= ~falls


def conjugate(failures: Failures, bend: FloatArray, chosen: BoolArray, aim: FloatArray) -> FloatArray:
    """Solves information @ x = aim (f, t) in the ``chosen`` cells by conjugate gradients, column by column.

    Scaled by the diagonal; each product takes time linear in the cells and kinds.
    """
    scale = np.maximum(failures.covers(bend)[chosen], _TINY)[:, None]
    whole = np.zeros((len(chosen), aim.shape[1]))
    solution, residual = np.zeros_like(aim), aim
    search = residual / scale
    norm = (residual * search).sum(axis=0)
    target = _CONJUGATE_TOLERANCE * norm
    for _ in range(_CONJUGATE_STEPS):
        if np.all(norm <= target):
            break
        whole[chosen] = search
        along = failures.covers(bend[:, None] * failures.spans(whole))[chosen]
        length = norm / np.maximum((search * along).sum(axis=0), _TINY)
        solution = solution + length * search
        residual = residual - length * along
        scaled = residual / scale
        norm, before = (residual * scaled).sum(axis=0), norm
        search = scaled + norm / np.maximum(before, _TINY) * search
    return solution
