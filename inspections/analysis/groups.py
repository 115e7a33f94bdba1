"""Do groups of coats last equally long? The log-rank test, generalised to intervals, truncation and houses.

Sources: Sun (1996), Stat. Med. 15, 1387-1395 (scores that give the log-rank test for right-censored lives);
Finkelstein (1986), Biometrics 42, 845-854 (scores of proportional hazards); Mantel (1966), Cancer Chemother.
Rep. 50, 163-170 (variance of exact lives); Fay and Shaw (2010), J. Stat. Softw. 36(2) (both, worked).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc

from inspections.analysis.clustering import variance_ratio
from inspections.analysis.curvature import Cells, Information
from inspections.analysis.hazards import gathered
from inspections.analysis.lifetimes import BoolArray, IntArray, Lifetimes
from inspections.analysis.records import FloatArray
from inspections.analysis.turnbull import Npmle, turnbull

#: Directions in which the groups' scores vary by less than this part of the greatest are not tested.
_FLAT = 1e-6
#: Contrasts whose scores of all coats are held in memory at once.
_TOGETHER = 64


@dataclass(frozen=True, slots=True)
class TestResult:
    """A chi-squared test with ``df`` degrees of freedom; None where the lives allow none."""

    # Not a test case, whatever its name begins with.
    __test__ = False

    statistic: float | None
    df: int
    p_value: float | None
    method: str


@dataclass(frozen=True, slots=True)
class Model:
    """How a group's parameter moves a cell's hazard h: first and second derivative, and the first's by h."""

    name: str
    first: Callable[[FloatArray], FloatArray]
    second: Callable[[FloatArray], FloatArray]
    mixed: Callable[[FloatArray], FloatArray]


#: Odds of failing in a cell go up by a factor (Sun 1996): the log-rank test's own model.
LOG_RANK = Model(
    "log-rank",
    lambda h: -np.expm1(-h),
    lambda h: -np.expm1(-h) * np.exp(-h),
    lambda h: np.exp(-h),
)
#: The hazard goes up by a factor (Finkelstein 1986).
PROPORTIONAL_HAZARDS = Model("proportional hazards", lambda h: h, lambda h: h, np.ones_like)


def log_rank(lifetimes: Lifetimes, group_index: npt.ArrayLike, model: Model = LOG_RANK) -> TestResult:
    """Whether the groups (``group_index``, (n,), any whole numbers) have one distribution of life.

    The scores' variance is the efficient observed information, the hypergeometric one where all failures are
    exact (then this is the ordinary log-rank test). Where coats of a house go together it is widened, never
    narrowed. No test without two groups that were watched while a coat failed.
    """
    _, group = np.unique(np.asarray(group_index), return_inverse=True)
    if group.shape != lifetimes.low.shape:
        raise ValueError("group_index must name a group for each coat")
    groups = int(group.max(initial=-1)) + 1
    name = f"generalised {model.name} test for interval-censored lives"
    if groups < 2 or not lifetimes.failures:
        reason = "one group only" if lifetimes.failures else "no failure was seen"
        return TestResult(None, 0, None, f"{name}; {reason}")
    npmle = turnbull(lifetimes)
    told = _efficient(npmle, group, groups, model)
    variance, exact = told.variance, bool(lifetimes.exact[lifetimes.failed].all())
    if exact and model is LOG_RANK:
        name = "log-rank test"
        variance = _hypergeometric(npmle.cells, lifetimes.failed, group, groups)
    # Between groups only: what all have in common is no contrast.
    between = variance - variance.mean(axis=0)
    values, vectors = np.linalg.eigh(between - between.mean(axis=1, keepdims=True))
    tested = values > _FLAT * max(float(values.max()), 0.0)
    df = int(tested.sum())
    if not df:
        return TestResult(None, 0, None, f"{name}; no two groups were watched while a coat failed")
    values, across = values[tested], vectors[:, tested]
    ratio = np.concatenate(
        [
            variance_ratio(told.scores(across[:, some]), lifetimes.cluster, values[some])
            for some in (slice(at, at + _TOGETHER) for at in range(0, df, _TOGETHER))
        ]
    )
    statistic = float(((across.T @ told.total) ** 2 / (values * ratio)).sum())
    if ratio.max() > 1:
        name += f", houses as clusters (variance times {ratio.max():.2f} at most)"
    return TestResult(statistic, df, float(chdtrc(df, statistic)), f"{name}, chi-squared")


def coat_scores(npmle: Npmle, model: Model = LOG_RANK, information: Information | None = None) -> FloatArray:
    """How much sooner each coat failed than the pooled curve says, (n,); failed early is positive.

    By Sun's model: 1 less the cumulative hazard at failure, or minus it where the coat lasts, averaged over
    where it may have failed.
    """
    told = information or npmle.information()
    return told.along(model.first(_free(npmle, told))[:, None])[:, 0]


def _free(npmle: Npmle, information: Information) -> FloatArray:
    return np.where(information.free, npmle.hazard, 0.0)


@dataclass(frozen=True, slots=True)
class _Efficient:
    """Scores of ``group`` (n,) free of the pooled hazards, their sums (g,) and their information (g, g)."""

    group: IntArray
    information: Information
    score: FloatArray
    shared: FloatArray
    total: FloatArray
    variance: FloatArray

    def scores(self, across: FloatArray) -> FloatArray:
        """Each coat's scores along contrasts ``across`` (g, t) of the groups: (n, t)."""
        return self.score[:, None] * across[self.group] - self.information.along(self.shared @ across)


def _efficient(npmle: Npmle, group: IntArray, groups: int, model: Model) -> _Efficient:
    information = npmle.information()
    hazard, cells = _free(npmle, information), npmle.cells
    step, m = gathered(model.first(hazard)), len(hazard)
    span = step[cells.last] - step[cells.first]
    score = coat_scores(npmle, model, information)
    own = information.bend * span**2 - information.along(model.second(hazard)[:, None])[:, 0]
    mixed = model.mixed(hazard)[:, None]

    def cover(first: IntArray, last: IntArray, value: FloatArray) -> FloatArray:
        return _cover(first, last, group, value, (m, groups))

    failing = cover(cells.first, cells.last, information.pull)
    lasting = cover(cells.entry, cells.first, np.ones(len(group)))
    cross = cover(cells.first, cells.last, information.bend * span) - mixed * (failing - lasting)
    cross[~information.free] = 0.0
    solved = information.solve(cross)
    variance = np.diag(np.bincount(group, own, groups)) - cross.T @ solved
    total = np.asarray(np.bincount(group, score, groups), dtype=float)
    return _Efficient(group, information, score, solved, total, (variance + variance.T) / 2)


def _cover(
    first: IntArray, last: IntArray, group: IntArray, value: FloatArray, shape: tuple[int, int]
) -> FloatArray:
    """Sum of ``value`` (n,) over each group's coats whose cells first … last - 1 hold each cell: (m, g)."""
    m, groups = shape
    begun, ended = (np.bincount(at * groups + group, value, (m + 1) * groups) for at in (first, last))
    return np.asarray(np.cumsum((begun - ended).reshape(m + 1, groups), axis=0)[:-1], dtype=float)


def _hypergeometric(cells: Cells, failed: BoolArray, group: IntArray, groups: int) -> FloatArray:
    """Mantel's variance (g, g) of the groups' failures, exact lives, given how many failed each time."""
    m = len(cells.left)
    at_risk = _cover(cells.entry, cells.last, group, np.ones(len(group)), (m, groups))
    died = np.bincount(cells.first[failed], minlength=m).astype(float)
    total = at_risk.sum(axis=1)
    share = at_risk / np.maximum(total, 1.0)[:, None]
    weight = died * (total - died) / np.maximum(total - 1, 1.0)
    return np.asarray(np.diag(weight @ share) - (share * weight[:, None]).T @ share, dtype=float)
