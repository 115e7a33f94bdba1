"""The nonparametric likelihood of lives as a concave function of hazards, and its summit.

Time is cut into cells. A coat that failed in cells first … last - 1 and was watched from cell entry on
contributes

    log(1 - exp(-(h[first] + … + h[last - 1]))) - (h[entry] + … + h[first - 1]),

where h >= 0 is what the cumulative hazard grows by over a cell: concave, with left truncation too. Projected
Newton steps (Bertsekas 1982, SIAM J. Control Optim. 20, 221-246) find the summit; the Lagrange dual bounds
what is left to gain (Boyd and Vandenberghe 2004, Convex Optimization, sec. 5.5).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.linalg.lapack import dpstrf

from inspections.analysis.lifetimes import BoolArray, IntArray
from inspections.analysis.records import FloatArray

#: The search ends when no hazards can be better by more than this in log likelihood.
GAP = 1e-6
#: Free hazards up to which a Newton step is solved directly; beyond, by conjugate gradients.
DIRECT = 800
#: Part of the diagonal that is added to it, so that cells which no coat tells apart can be solved for.
RIDGE = 1e-11
#: Part of the greatest pivot under which cells are taken not to be told apart.
_SINGULAR = 1e-9

_STEPS = 300
_HALVINGS = 40
#: Under this gap, rounding may hide that the likelihood rises: a gap that closes is enough.
_CLOSE = 1e-2
_ARMIJO = 1e-4
_CONJUGATE_STEPS, _CONJUGATE_TOLERANCE = 300, 1e-8
_TINY = 1e-300


@dataclass(frozen=True, slots=True)
class Cells:
    """Where mass can lie: (``left``, ``right``], (m,), equal where a time is exact.

    Coat i failed in cells ``first``[i] to before ``last``[i] (equal where it hasn't failed) and was watched
    from cell ``entry``[i] on; (n,) each.
    """

    left: FloatArray
    right: FloatArray
    entry: IntArray
    first: IntArray
    last: IntArray


def gathered(value: FloatArray) -> FloatArray:
    """Running sums along the first axis, from 0 on: one entry more."""
    return np.concatenate([np.zeros((1, *value.shape[1:])), np.cumsum(value, axis=0)])


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

    def value(self, hazard: FloatArray) -> float:
        """The log likelihood."""
        share = -np.expm1(-self.spans(hazard))
        if share.min(initial=1.0) <= 0:
            return -np.inf
        return float(self.weight @ np.log(share) - self.survivors @ hazard)

    def gap(self, hazard: FloatArray) -> float:
        """Upper bound of what any hazards gain over these, by the Lagrange dual.

        The multipliers weight / expm1(span), shrunk until no cell is pulled harder than its survivors hold
        it, are feasible; the dual of log(1 - exp(-x)) at v is -log(1 + v) - v log(1 + 1 / v).
        """
        span = self.spans(hazard)
        if span.min(initial=1.0) <= 0:
            return np.inf
        pull = 1 / np.expm1(span)
        covered = self.covers(self.weight * pull)
        pull = pull * min(1.0, float((self.survivors / np.maximum(covered, _TINY)).min(initial=1.0)))
        bound = float(self.weight @ (np.log1p(pull) + pull * np.log1p(1 / np.maximum(pull, _TINY))))
        return max(-bound - self.value(hazard), 0.0)

    def information(self, hazard: FloatArray, free: BoolArray) -> FloatArray:
        """Minus the second derivative by the ``free`` hazards (f, f), upper triangle.

        Two cells share the kinds that start at or before the earlier and end after the later one: a sum over
        a corner of the table of kinds, so two cumulative sums give all.
        """
        cells = np.flatnonzero(free)
        first, last = np.searchsorted(cells, self.first), np.searchsorted(cells, self.last)
        size = len(cells) + 1
        table = np.bincount(first * size + last, self.bend(hazard), size * size).reshape(size, size)
        corner = np.cumsum(np.cumsum(table, axis=0)[:, ::-1], axis=1)[:, ::-1]
        return np.asarray(corner[:-1, 1:], dtype=float)

    def bend(self, hazard: FloatArray) -> FloatArray:
        """Minus the second derivative of each kind by its span: (r,)."""
        span = self.spans(hazard)
        return np.asarray(self.weight / np.maximum(np.expm1(span) * -np.expm1(-span), _TINY), dtype=float)


@dataclass(frozen=True, slots=True)
class Summit:
    """Hazards (m,) of greatest likelihood, and the ``gap`` within which that is proven."""

    hazard: FloatArray
    log_likelihood: float
    gap: float
    steps: int


def summit(failures: Failures) -> Summit:
    """Hazards of greatest likelihood; every cell needs a survivor (else its hazard would be infinite)."""
    hazard = _start(failures, np.ones(len(failures.survivors), dtype=bool))
    gap, steps = failures.gap(hazard), 0
    if gap > GAP:
        hazard = _start(failures, _stabbing(failures))
    value = failures.value(hazard)
    for step in range(_STEPS):
        gap, steps = failures.gap(hazard), step
        if gap <= GAP:
            break
        moved = _move(failures, hazard, value, gap)
        if moved is None:
            break
        hazard, value = moved
    return Summit(hazard, value, gap, steps)


def _start(failures: Failures, allowed: BoolArray) -> FloatArray:
    """Each failure spread evenly over its allowed cells, over those at risk, as in Turnbull's (1976) step."""
    share = failures.weight / np.maximum(failures.spans(allowed.astype(float)), 1)
    expected = np.where(allowed, failures.covers(share), 0.0)
    later = np.maximum(failures.covers(failures.weight) - expected, 0.0) / 2
    return np.asarray(np.log1p(expected / (failures.survivors + later)), dtype=float)


def _stabbing(failures: Failures) -> BoolArray:
    """Fewest cells that leave no kind without one: the last cell of whichever ends first, and so on."""
    chosen, latest = np.zeros(len(failures.survivors), dtype=bool), -1
    order = np.argsort(failures.last)
    for first, last in zip(failures.first[order].tolist(), failures.last[order].tolist(), strict=True):
        if first > latest:
            latest = last - 1
            chosen[latest] = True
    return chosen


def _move(
    failures: Failures, hazard: FloatArray, value: float, gap: float
) -> tuple[FloatArray, float] | None:
    """Better hazards and their likelihood, or None where rounding allows none."""
    gradient = failures.covers(failures.weight / np.expm1(failures.spans(hazard))) - failures.survivors
    support = hazard > 0
    best = np.zeros_like(support)
    best[np.argmax(np.where(support, -np.inf, gradient))] = True
    # The bold step first; a single new cell, and hazards stopped one by one at nought, always rise.
    for entering, one_by_one in ((_steepest(support, gradient), False), (best & (gradient > 0), True)):
        chosen = support | entering
        step = np.zeros_like(hazard)
        if int(chosen.sum()) <= DIRECT:
            step[chosen] = _quadratic(failures, hazard, gradient, chosen, one_by_one)
        else:
            bend = failures.bend(hazard)
            step[chosen] = conjugate(failures, bend, chosen, gradient[chosen][:, None])[:, 0]
        moved = _along(failures, hazard, value, gap, gradient, step)
        if moved is not None:
            return moved
    return None


def _along(
    failures: Failures,
    hazard: FloatArray,
    value: float,
    gap: float,
    gradient: FloatArray,
    step: FloatArray,
) -> tuple[FloatArray, float] | None:
    """The longest of halved steps that makes the lives clearly likelier, or all but proves the summit."""
    length = 1.0
    for _ in range(_HALVINGS):
        trial = np.maximum(hazard + length * step, 0.0)
        risen = failures.value(trial)
        if risen > value + _ARMIJO * abs(float(gradient @ (trial - hazard))):
            return trial, risen
        if length == 1.0 and failures.gap(trial) < min(gap / 2, _CLOSE):
            return trial, risen
        length /= 2
    return None


def _steepest(support: BoolArray, gradient: FloatArray) -> BoolArray:
    """The cell of greatest rise between each two neighbours of the support, where there is a rise."""
    block = np.cumsum(support)
    steepest = np.full(int(block[-1]) + 1, -np.inf)
    outside = np.where(support, -np.inf, gradient)
    np.maximum.at(steepest, block, outside)
    best = (outside == steepest[block]) & (outside > 0)
    first = np.concatenate([[True], np.diff(block[best]) > 0]) if best.any() else np.zeros(0, dtype=bool)
    chosen = np.zeros(len(support), dtype=bool)
    chosen[np.flatnonzero(best)[first[: int(best.sum())]]] = True
    return chosen


def _quadratic(
    failures: Failures, hazard: FloatArray, gradient: FloatArray, chosen: BoolArray, one_by_one: bool
) -> FloatArray:
    """Newton's step (f,) in the ``chosen`` hazards that leaves none negative.

    Those that would fall below zero are held there and the others solved anew, as in Lawson and Hanson
    (1974), ch. 23: there one by one as they reach zero, else all at once, which is quicker. What ought to
    come back does so at the next step.
    """
    matrix = failures.information(hazard, chosen)
    np.einsum("ii->i", matrix)[:] *= 1 + RIDGE
    matrix = np.triu(matrix) + np.triu(matrix, 1).T
    now = hazard[chosen]
    linear, at = gradient[chosen] + matrix @ now, now
    held = np.arange(len(now))
    while len(held):
        factor = cho_factor(matrix[np.ix_(held, held)], check_finite=False, overwrite_a=True)
        aim = np.zeros_like(now)
        aim[held] = cho_solve(factor, linear[held], check_finite=False)
        if aim.min() >= 0:
            return aim - now
        if one_by_one:
            falls = aim < 0
            shares = at[falls] / (at[falls] - aim[falls])
            at = np.maximum(at + shares.min() * (aim - at), 0.0)
            at[np.flatnonzero(falls)[np.argmin(shares)]] = 0.0
            held = held[at[held] > 0]
        else:
            held = held[aim[held] > 0]
    return -now


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


class Information:
    """Scores of the coats, and the observed information, in the hazards of a fit that are above zero."""

    def __init__(
        self, failures: Failures, cells: Cells, told: BoolArray, hazard: FloatArray, finite: BoolArray
    ) -> None:
        """``told`` (n,): failed coats that tell of hazards; ``failures`` are in the ``finite`` cells (m,)."""
        self.cells, self.free, self._finite = cells, finite & (hazard > 0), finite
        span = gathered(np.where(finite, hazard, 0.0))
        width = (span[cells.last] - span[cells.first])[told]
        #: Pull of each coat on the hazards of the cells it may have failed in, and how it slackens: (n,).
        self.pull, self.bend = np.zeros(len(told)), np.zeros(len(told))
        self.pull[told] = 1 / np.expm1(width)
        self.bend[told] = self.pull[told] * (1 + self.pull[told])
        self._failures, self._hazard = failures, hazard[finite]
        self._solved = np.flatnonzero(self.free[finite])
        self._factor = None
        if 0 < len(self._solved) <= DIRECT:
            self._factor = self._factorised(self.free[finite])

    def _factorised(self, free: BoolArray) -> FloatArray:
        """Cholesky factor of the information in log hazards, over as many cells as can be told apart.

        Two cells that the same failures span can't be, nor can one whose hazard is all but nought.
        """
        matrix = self._failures.information(self._hazard, free)
        scale = self._hazard[free]
        matrix *= scale[:, None] * scale
        factor, order, rank, _ = dpstrf(matrix, tol=_SINGULAR * matrix.diagonal().max())
        self._solved = self._solved[order[:rank] - 1]
        return np.asarray(factor[:rank, :rank])

    def along(self, value: FloatArray) -> FloatArray:
        """Each coat's score along ``value`` (m, t) per cell: (n, t)."""
        total = gathered(value)
        failing = total[self.cells.last] - total[self.cells.first]
        lasting = total[self.cells.first] - total[self.cells.entry]
        return np.asarray(self.pull[:, None] * failing - lasting, dtype=float)

    def solve(self, value: FloatArray) -> FloatArray:
        """Inverse of the information times ``value`` (m, t): (m, t), nought where a hazard is not told."""
        solution, place = np.zeros_like(value), np.flatnonzero(self._finite)[self._solved]
        if self._factor is not None:
            scale = self._hazard[self._solved][:, None]
            inverse = cho_solve((self._factor, False), scale * value[place], check_finite=False)
            solution[place] = scale * inverse
        elif len(place):
            free = np.zeros(len(self._hazard), dtype=bool)
            free[self._solved] = True
            bend = self._failures.bend(self._hazard)
            solution[place] = conjugate(self._failures, bend, free, value[place])
        return solution
