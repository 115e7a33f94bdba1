"""Inference from the lot itself: what other allotments of the same walls would have shown.

The one thing known of a randomly allotted trial is how its lots were drawn. Were the arms alike, each wall
would have done what it did under any of them, so the difference seen is compared with the differences that
every allotment that could have been drawn would have given (Fisher 1935, The Design of Experiments, ch. 3).
Lots are drawn within blocks. A shift of one arm is believed where the test of that shift does not refuse it;
those shifts are the interval (Lehmann 1963; Rosenbaum 2002, Stat. Sci. 17, 286, also for the covariate).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import combinations
from math import comb, prod

import numpy as np
from scipy.special import stdtr

from inspections.analysis.harmonic import student_reach
from inspections.analysis.kendall import IntArray
from inspections.analysis.records import FloatArray

#: Up to so many allotments all are looked at, else this many are drawn.
MOST_EXACT, DRAWN = 20_000, 20_000
#: The draw's seed: the same trial always gives the same answer.
SEED = 1935
#: Two-sided level of tests and intervals.
LEVEL = 0.05
#: Differences that lie this close, as a share of the largest, are ties: rounding is all that is between them.
_TIE = 1e-9
_HALVINGS, _DOUBLINGS = 60, 80


@dataclass(frozen=True, slots=True)
class Lots:
    """Allotments that could have been: arms (m, n) by number; all of them, or a draw. ``count``: how many."""

    arms: IntArray
    count: float
    exact: bool

    def p_value(self, statistic: FloatArray, seen: float) -> float:
        """Share of the allotments whose ``statistic`` (m,) is at least as large as the one seen.

        Where they are drawn, the one that was is counted in (Phipson and Smyth 2010, Stat. Appl. Genet. Mol.
        Biol. 9, 39).
        """
        slack = _TIE * max(float(np.abs(statistic).max(initial=0.0)), abs(seen))
        reached = int((statistic >= seen - slack).sum())
        return reached / len(statistic) if self.exact else (reached + 1) / (len(statistic) + 1)


@dataclass(frozen=True, slots=True)
class Difference:
    """The second arm less the first, with its 95 % interval (NaN: there is none) and two-sided p.

    ``error`` is the standard error by least squares, ``smallest_p`` the least p that this trial could give.
    ``spread`` is the standard deviation of the difference of two walls of a block beyond what their arms and
    covariate explain, on ``freedom`` degrees (NaN without any). ``blocks`` counts those in which both arms
    stand; ``by_lot`` says whether the interval is by the lots, ``exact`` whether all of them were looked at.
    """

    estimate: float
    low: float
    high: float
    error: float
    p_value: float
    smallest_p: float
    spread: float
    freedom: int
    blocks: int
    exact: bool
    by_lot: bool


def lots(arm: IntArray, block: IntArray) -> Lots:
    """The allotments of ``arm`` (n,) within ``block`` (n,) that could have been."""
    members = [np.flatnonzero(block == name) for name in np.unique(block)]
    counts = [_arrangements(arm[own]) for own in members]
    count = prod(float(one) for one in counts)
    if count > MOST_EXACT:
        return Lots(_drawn(arm, members), count, exact=False)
    whole = np.zeros((1, len(arm)), dtype=np.int64)
    for own in members:
        ways = _every_way(arm[own])
        whole = np.repeat(whole, len(ways), axis=0)
        whole[:, own] = np.tile(ways, (len(whole) // len(ways), 1))
    return Lots(whole, count, exact=True)


def difference(
    outcome: FloatArray,
    arm: IntArray,
    block: IntArray,
    covariate: FloatArray | None = None,
    *,
    drawn: bool = True,
) -> Difference:
    """Difference of two arms (0 and 1), each a block's own comparison; arrays (n,).

    The estimate is the least-squares coefficient of the arm beside blocks and ``covariate``. Where lots were
    ``drawn`` every allotment gives one, and the p is the share of them at least as large; with a covariate
    that the lots happened to follow that would be too sure, and is not taken under Student's. Otherwise
    interval and p are Student's: whoever chose may have followed the covariate. ValueError where no block
    holds both arms, or arm and covariate say the same.
    """
    inner = _both_arms(arm, block)
    if not inner.any():
        raise ValueError("no block holds both arms")
    y, z, groups = outcome[inner], arm[inner], block[inner]
    basis = _basis(groups, None if covariate is None else covariate[inner])
    own = _without(basis, z[None, :].astype(float))[0]
    if not own @ own > _TIE * len(z):
        raise ValueError("arm and covariate say the same: they can't be told apart")
    residual = _without(basis, y[None, :])[0]
    estimate = float(own @ residual / (own @ own))
    freedom = len(z) - basis.shape[1] - 1
    rest = residual - estimate * own
    variance = float(rest @ rest) / freedom if freedom > 0 else np.nan
    error = float(np.sqrt(variance / (own @ own)))
    reach = student_reach(freedom) * error if freedom > 0 else np.nan
    floor = smallest_p(z, groups)
    found = Difference(
        estimate=estimate,
        low=estimate - reach,
        high=estimate + reach,
        error=error,
        p_value=max(_student_p(estimate, error, freedom), floor),
        smallest_p=floor,
        spread=float(np.sqrt(2 * variance)),
        freedom=max(freedom, 0),
        blocks=len(np.unique(groups)),
        exact=False,
        by_lot=False,
    )
    if not drawn:
        return found
    by_lots = _by_lots(found, basis, own, residual, lots(z, groups))
    return by_lots if covariate is None else _no_surer_than(found, by_lots)


def _student_p(estimate: float, error: float, freedom: int) -> float:
    if freedom < 1:
        return 1.0
    return float(2 * stdtr(freedom, -abs(estimate) / error)) if error > 0 else float(estimate == 0)


def _by_lots(
    found: Difference, basis: FloatArray, own: FloatArray, residual: FloatArray, chosen: Lots
) -> Difference:
    """The p by the lots, and the interval too where they are enough for one."""
    alone = _without(basis, chosen.arms.astype(float))
    weight = np.einsum("ij,ij->i", alone, alone)
    usable = weight > _TIE * len(own)
    alone, weight = alone[usable], weight[usable]
    shown, shared = alone @ residual / weight, alone @ own / weight
    kept = Lots(chosen.arms[usable], chosen.count, chosen.exact)
    p_value = kept.p_value(np.abs(shown), abs(found.estimate))
    scale = found.spread if found.freedom > 0 else 0.0
    low, high = _by_inversion(kept, shown, shared, found.estimate, scale)
    found = replace(found, p_value=p_value, exact=chosen.exact)
    return replace(found, low=low, high=high, by_lot=True) if np.isfinite(low) else found


def alike(outcome: FloatArray, arm: IntArray, block: IntArray) -> float:
    """p of all arms being alike, however many, by what they explain beside the blocks; arrays (n,)."""
    names = np.unique(arm)
    basis = _basis(block, None)
    residual = _without(basis, outcome[None, :])[0]
    chosen = lots(arm, block)

    def explained(arms: IntArray) -> FloatArray:
        columns = np.stack([_without(basis, (arms == name).astype(float)) for name in names[1:]], axis=1)
        right = columns @ residual
        inner = columns @ columns.transpose(0, 2, 1)
        solved = np.linalg.pinv(inner, rcond=1e-10, hermitian=True) @ right[:, :, None]
        found: FloatArray = (right[:, None, :] @ solved)[:, 0, 0]
        return found

    return chosen.p_value(explained(chosen.arms), float(explained(arm[None, :])[0]))


def smallest_p(arm: IntArray, block: IntArray) -> float:
    """The least two-sided p that a trial can give, however clear its outcome.

    n pairs: 2/2ⁿ. The allotment that was and, where as many walls of each block have either arm, its mirror
    image are equally extreme; the others need not be.
    """
    counts, mirrored = [], True
    for name in np.unique(block):
        own = arm[block == name]
        counts.append(float(_arrangements(own)))
        sizes = np.unique(own, return_counts=True)[1]
        mirrored &= len(set(sizes.tolist())) == 1
    return min(1.0, (2.0 if mirrored else 1.0) / prod(counts))


def _both_arms(arm: IntArray, block: IntArray) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Which walls stand in a block that holds more than one arm."""
    mixed = [name for name in np.unique(block) if len(np.unique(arm[block == name])) > 1]
    return np.isin(block, mixed)


def _arrangements(arm: IntArray) -> int:
    left, count = len(arm), 1
    for size in np.unique(arm, return_counts=True)[1].tolist():
        count *= comb(left, size)
        left -= size
    return count


def _every_way(arm: IntArray) -> IntArray:
    """Every arrangement (ways, n) of the arms of one block."""
    names, sizes = np.unique(arm, return_counts=True)
    ways = np.full((1, len(arm)), names[-1])
    for name, size in zip(names[:-1].tolist(), sizes[:-1].tolist(), strict=True):
        grown = []
        for way in ways:
            free = np.flatnonzero(way == names[-1])
            for places in combinations(free.tolist(), size):
                one = way.copy()
                one[list(places)] = name
                grown.append(one)
        ways = np.array(grown)
    return ways.astype(np.int64)


def _drawn(arm: IntArray, members: list[IntArray]) -> IntArray:
    rng = np.random.default_rng(SEED)
    drawn = np.empty((DRAWN, len(arm)), dtype=np.int64)
    for own in members:
        order = np.argsort(rng.random((DRAWN, len(own))), axis=1)
        drawn[:, own] = arm[own][order]
    return drawn


def _basis(block: IntArray, covariate: FloatArray | None) -> FloatArray:
    """Orthonormal columns (n, k) that span blocks and covariate."""
    dummies = (block[:, None] == np.unique(block)[None, :]).astype(float)
    blocks: FloatArray = dummies / np.sqrt(dummies.sum(axis=0))
    if covariate is None:
        return blocks
    rest = covariate - blocks @ (blocks.T @ covariate)
    size = float(np.sqrt(rest @ rest))
    return np.column_stack((blocks, rest / size)) if size > 1e-12 else blocks


def _without(basis: FloatArray, rows: FloatArray) -> FloatArray:
    rest: FloatArray = np.subtract(rows, (rows @ basis) @ basis.T)
    return rest


def _no_surer_than(student: Difference, by_lots: Difference) -> Difference:
    """The lots' answer, not surer than Student's, which knows how far arm and covariate go together."""
    return replace(
        by_lots,
        p_value=max(by_lots.p_value, student.p_value),
        low=min(by_lots.low, student.low),
        high=max(by_lots.high, student.high),
    )


def _by_inversion(
    kept: Lots, shown: FloatArray, shared: FloatArray, estimate: float, scale: float
) -> tuple[float, float]:
    """The shifts that the lots do not refuse at :data:`LEVEL`; NaN where no shift is ever refused.

    Taking a shift t off the second arm leaves |estimate - t| seen, and |shown - t shared| in each allotment.
    """
    if kept.p_value(np.abs(shared), 1.0) >= LEVEL:
        return np.nan, np.nan

    def believed(shift: float) -> bool:
        return kept.p_value(np.abs(shown - shift * shared), abs(estimate - shift)) >= LEVEL

    step = max(scale, abs(estimate), 1e-12)
    return _edge(believed, estimate, -step), _edge(believed, estimate, step)


def _edge(believed: Callable[[float], bool], start: float, step: float) -> float:
    """Where belief ends, going from ``start`` by ``step``."""
    inside, outside = start, start + step
    for _ in range(_DOUBLINGS):
        if not believed(outside):
            break
        inside, outside = outside, outside + 2 * (outside - start)
    for _ in range(_HALVINGS):
        middle = (inside + outside) / 2
        inside, outside = (middle, outside) if believed(middle) else (inside, middle)
    return (inside + outside) / 2
