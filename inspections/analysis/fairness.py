"""Whether the arms of a trial were given like walls: what was there before, as standardised differences.

A difference is taken block by block, beside the blocks by least squares, and divided by the standard
deviation of walls of one arm (Austin 2009, Stat. Med. 28, 3083). Its interval is Student's. Of several arms
the two furthest apart are shown, at a level that allows for the choice (Bonferroni).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy.special import stdtrit

from inspections.analysis.kendall import IntArray
from inspections.analysis.records import FloatArray
from inspections.analysis.trial_walls import DAMPNESS, SOUNDNESS, Wall

#: Confidence of the intervals that decide whether a trial was fair (DESIGN, section 5).
CONFIDENCE = 0.99
#: Where somebody chose, the arm that had the better walls is named from this confidence on: odds of three to
#: one for the direction. Ours: the choice itself is a reason to expect a favour, and no more is asked.
LEANING = 0.50
#: Ways of allotting under which the choice may have followed the wall.
CHOSEN = frozenset({"judgement", "convenience"})
#: What stands against the wall's other side and brings water.
_OUTSIDE = frozenset({"soil", "street", "garden"})
#: Facts of exposure that make a wall damper, the more of them.
_EXPOSURE = ("below_grade_m", "adjoins")
#: What a wall is worse for having more of; a fact not named here favours nobody.
_WORSE = (*DAMPNESS, *SOUNDNESS, *_EXPOSURE)
#: Share of a trial's walls that must have been read for a quantity to tell of its arms. Ours.
_READ_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class Layout:
    """Arms and blocks of a trial's walls as numbers (n,), and the unit that each wall belongs to.

    A unit is the wall itself or, where every house has one arm only, the house.
    """

    arms: tuple[str, ...]
    arm: IntArray
    block: IntArray
    unit: IntArray

    @property
    def by_house(self) -> bool:
        """Whether whole houses were allotted."""
        return len(np.unique(self.unit)) < len(self.unit)

    def whole(self, values: FloatArray) -> tuple[FloatArray, IntArray, IntArray]:
        """The mean of ``values`` (n,) of each unit that has one, with the unit's arm and block."""
        known = np.isfinite(values)
        units, place = np.unique(self.unit[known], return_inverse=True)
        means = np.bincount(place, weights=values[known]) / np.bincount(place) if len(units) else values[:0]
        first = [int(np.flatnonzero(self.unit == unit)[0]) for unit in units]
        return means, self.arm[first], self.block[first]


@dataclass(frozen=True, slots=True)
class Imbalance:
    """How two arms differed in one thing before: the second less the first, in standard deviations.

    The interval holds :data:`CONFIDENCE`; NaN where too few walls give none. ``walls`` counts those read.
    """

    quantity: str
    standardised_difference: float
    low: float
    high: float
    walls: int
    first: str
    second: str

    @property
    def is_plain(self) -> bool:
        """Whether the interval excludes nought."""
        return bool(self.low > 0 or self.high < 0)


def layout(walls: Sequence[Wall]) -> Layout:
    """Arms by code; blocks as allotted, else houses.

    A block's name that stands in several houses is a block in each of them where each holds several arms.
    Without named blocks, and where most walls' houses hold one arm only, all walls are one block.
    """
    arms = tuple(sorted({wall.place.arm for wall in walls}))
    arm = np.array([arms.index(wall.place.arm) for wall in walls], dtype=np.int64)
    houses = _numbered([wall.place.building for wall in walls])
    names = [wall.place.block or f"\0{wall.place.building}" for wall in walls]
    parts = _numbered([(name, wall.place.building) for name, wall in zip(names, walls, strict=True)])
    block = _numbered(names)
    for name in np.unique(block):
        own = block == name
        if all(len(np.unique(arm[parts == part])) > 1 for part in np.unique(parts[own])):
            block = np.where(own, parts + len(walls), block)
    own_unit, one = np.arange(len(walls)), np.zeros(len(walls), dtype=np.int64)
    mixed = [name for name in np.unique(block) if len(np.unique(arm[block == name])) > 1]
    whole_houses = all(len(np.unique(arm[houses == house])) == 1 for house in np.unique(houses))
    if not mixed:
        return Layout(arms, arm, one, houses if whole_houses else own_unit)
    named = any(wall.place.block for wall in walls)
    if not named and np.isin(block, mixed).mean() < 0.5:
        block = one
    return Layout(arms, arm, block, own_unit)


def _numbered(names: Sequence[object]) -> IntArray:
    order = {name: number for number, name in enumerate(dict.fromkeys(names))}
    return np.array([order[name] for name in names], dtype=np.int64)


def imbalances(walls: Sequence[Wall], plan: Layout) -> list[Imbalance]:
    """Every quantity read before, then exposure and make of the wall, where the walls vary in it."""
    found = []
    for quantity in (*DAMPNESS, *SOUNDNESS):
        values, _ = scaled(walls, plan, quantity)
        found.append(_furthest(quantity, values, plan))
    for fact, values in _facts(walls).items():
        found.append(_furthest(fact, values, plan))
    return [one for one in found if one is not None]


def is_fair(walls: Sequence[Wall], before: Sequence[Imbalance]) -> bool:
    """By the way of allotting, and by what was there before."""
    chosen = any(wall.place.allocated_by in CHOSEN for wall in walls)
    return not chosen and not any(one.is_plain for one in before)


def favoured(walls: Sequence[Wall], plan: Layout, before: Sequence[Imbalance]) -> str | None:
    """The arm that had the better walls, in an unfair trial; None where it can't be told.

    What differed plainly decides; else dampness and exposure together, if told with :data:`LEANING`.
    """
    plain = [one for one in before if one.is_plain and one.quantity in _WORSE]
    if plain:
        votes = dict.fromkeys(plan.arms, 0.0)
        for one in plain:
            votes[one.first] += one.standardised_difference
            votes[one.second] -= one.standardised_difference
        best = max(votes, key=lambda arm: (votes[arm], arm))
        return best if votes[best] > 0 else None
    columns = [scaled(walls, plan, quantity) for quantity in DAMPNESS]
    facts = _facts(walls)
    for values in (facts[fact] for fact in _EXPOSURE):
        sd = _spread(values, plan.arm)
        columns.append((values / sd if sd > 0 else values * np.nan, np.zeros(len(walls))))
    score, error = _mean_of(columns)
    if not np.isfinite(score).any():
        score, error = _mean_of([scaled(walls, plan, quantity) for quantity in SOUNDNESS])
    found = _furthest("dampness", score, plan, LEANING)
    if found is not None and np.isfinite(found.low):
        if not found.is_plain:
            return None
        return found.first if found.standardised_difference > 0 else found.second
    return _by_error(score, error, plan)


def _by_error(score: FloatArray, error: FloatArray, plan: Layout) -> str | None:
    """One wall to each arm: the drier one, if readings tell them apart by two standard errors."""
    known = np.isfinite(score)
    if len(plan.arms) != 2 or set(plan.arm[known].tolist()) != {0, 1}:
        return None
    means = [float(score[known & (plan.arm == arm)].mean()) for arm in (0, 1)]
    reach = 2 * float(np.sqrt((error[known] ** 2).sum()))
    if abs(means[1] - means[0]) <= reach:
        return None
    return plan.arms[0] if means[0] < means[1] else plan.arms[1]


def dampness(walls: Sequence[Wall], plan: Layout) -> tuple[FloatArray, FloatArray]:
    """How damp each wall was before, in standard deviations of walls, with standard errors; NaN: not read."""
    return _mean_of([scaled(walls, plan, quantity) for quantity in DAMPNESS])


def _mean_of(columns: Sequence[tuple[FloatArray, FloatArray]]) -> tuple[FloatArray, FloatArray]:
    """The mean of what each wall has of scaled values (n,) and their errors (n,)."""
    values, errors = (np.array([column[i] for column in columns]) for i in (0, 1))
    counts = np.isfinite(values).sum(axis=0)
    divisor = np.where(counts > 0, counts, 1)
    score = np.where(counts > 0, np.nansum(values, axis=0) / divisor, np.nan)
    return score, np.sqrt(np.nansum(errors**2, axis=0)) / divisor


def scaled(walls: Sequence[Wall], plan: Layout, quantity: str) -> tuple[FloatArray, FloatArray]:
    """A quantity's levels before, in standard deviations of walls of one arm, with standard errors; (n,).

    Each scale by itself. Too few walls for a standard deviation are scaled by their readings' errors.
    """
    own = [wall.before.get(quantity) for wall in walls]
    level = np.array([one.level if one else np.nan for one in own])
    error = np.array([one.error if one else np.nan for one in own])
    units = np.array([one.unit if one else "" for one in own])
    for unit in set(units.tolist()) - {""}:
        same = units == unit
        sd = _spread(level[same], plan.arm[same])
        if not sd > 0:
            sd = float(error[same].mean())
        level[same], error[same] = level[same] / sd, error[same] / sd
    return level, error


def _spread(values: FloatArray, arm: IntArray) -> float:
    """Standard deviation of walls about their arm's mean; NaN without freedom."""
    names = np.unique(arm)
    freedom = len(values) - len(names)
    if freedom < 1:
        return np.nan
    return float(
        np.sqrt(sum(((values[arm == n] - values[arm == n].mean()) ** 2).sum() for n in names) / freedom)
    )


def _facts(walls: Sequence[Wall]) -> dict[str, FloatArray]:
    records = [wall.record for wall in walls]
    makes = [record.substrate for record in records]
    usual = max(sorted(set(makes)), key=makes.count, default="")
    return {
        "below_grade_m": np.array([record.below_grade_m for record in records], dtype=float),
        "adjoins": np.array([float(record.adjoins in _OUTSIDE) for record in records]),
        "substrate": np.array([float(make == usual) for make in makes]),
    }


def _furthest(
    quantity: str, values: FloatArray, plan: Layout, confidence: float = CONFIDENCE
) -> Imbalance | None:
    """The two arms furthest apart; None where the walls do not vary in it or one arm was not read."""
    pairs = list(combinations(range(len(plan.arms)), 2))
    level = 1 - (1 - confidence) / max(len(pairs), 1)
    found = [one for pair in pairs if (one := _between(quantity, values, plan, pair, level)) is not None]
    return max(found, key=lambda one: (one.is_plain, abs(one.standardised_difference)), default=None)


def _between(
    quantity: str, values: FloatArray, plan: Layout, pair: tuple[int, int], level: float
) -> Imbalance | None:
    chosen = np.where(np.isin(plan.arm, pair), values, np.nan)
    y, arm, block = plan.whole(chosen)
    in_question = int(np.isin(plan.arm, pair).sum())
    if np.isfinite(chosen).sum() < _READ_SHARE * in_question or len(np.unique(arm)) < 2 or np.ptp(y) == 0:
        return None
    z = (arm == pair[1]).astype(float)
    blocks = (block[:, None] == np.unique(block)[None, :]).astype(float)
    blocks /= np.sqrt(blocks.sum(axis=0))
    own, rest = z - blocks @ (blocks.T @ z), y - blocks @ (blocks.T @ y)
    weight = float(own @ own)
    if weight < 1e-9:
        return None
    sd = _spread(y, arm)
    scale = sd if sd > 0 else 1.0
    estimate = float(own @ rest) / weight
    inner = np.isin(block, [name for name in np.unique(block) if np.ptp(z[block == name]) > 0])
    freedom = int(inner.sum()) - len(np.unique(block[inner])) - 1
    low = high = np.nan
    if freedom > 0:
        left = (rest - estimate * own)[inner]
        error = float(np.sqrt(left @ left / freedom / weight))
        reach = float(stdtrit(freedom, 0.5 + level / 2)) * error
        low, high = (estimate - reach) / scale, (estimate + reach) / scale
    return Imbalance(quantity, estimate / scale, low, high, len(y), plan.arms[pair[0]], plan.arms[pair[1]])
