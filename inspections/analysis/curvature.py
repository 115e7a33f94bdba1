"""Scores of coats and the observed information, at a nonparametric fit of their lives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_solve
from scipy.linalg.lapack import dpstrf

from inspections.analysis.hazards import Failures, conjugate, gathered
from inspections.analysis.lifetimes import BoolArray, IntArray
from inspections.analysis.records import FloatArray

#: Hazards up to which their information is factorised; beyond, it is solved by conjugate gradients.
DENSE = 800
#: Part of the greatest pivot under which cells are taken not to be told apart.
_SINGULAR = 1e-9


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
        pull = 1 / np.expm1(failures.spans(self._hazard))
        self._kinds = failures.weight * pull * (1 + pull)
        self._solved = np.flatnonzero(self.free[finite])
        self._factor = None
        if 0 < len(self._solved) <= DENSE:
            self._factor = self._factorised(self.free[finite])

    def _factorised(self, free: BoolArray) -> FloatArray:
        """Cholesky factor of the information in log hazards, over as many cells as can be told apart.

        Two cells that the same failures span can't be, nor can one whose hazard is all but nought.
        """
        scale = self._hazard[free]
        band = self._failures.band(self._kinds, free)
        size, width = band.shape
        matrix = np.zeros((size, size + width))
        row = np.arange(size)[:, None]
        matrix[row, row + np.arange(width)] = band
        matrix = matrix[:, :size] * scale[:, None] * scale
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
            solution[place] = conjugate(self._failures, self._kinds, free, value[place])
        return solution
