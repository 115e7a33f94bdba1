"""A trial before it starts: like walls set side by side, lots drawn, and what it could come to show.

Walls are matched within their house before any lot is drawn, and the lot is drawn within the match (Box,
Hunter and Hunter 2005, Statistics for Experimenters, ch. 3: block what you can, randomise the rest). The same
seed always draws the same lots, so that anybody can check them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inspections.analysis.coats import coat_area, coat_start
from inspections.analysis.monotone import ERROR_FLOOR, cumulative_loss
from inspections.analysis.records import YEAR, BuildingRecord
from inspections.analysis.series import affected_share, prepare
from inspections.analysis.sizing import detectable, upper_spread
from inspections.analysis.trial_walls import DAMPNESS, LOSS

#: Share of the spread of a pair's difference that stays, however long the walls are followed: the walls
#: themselves. The rest is luck that averages out with the years. Ours.
LASTING = 0.5
#: Years that an assumed spread is taken to have been seen over.
ASSUMED_YEARS = 5.0
#: Differences within houses from which an organisation's own spread is taken rather than the assumed one.
LEAST_FREEDOM = 4
#: Years of surveys that a wall must have to tell how fast its kind loses.
LEAST_YEARS = 2.0
#: Numbers of pairs for which it is shown what they could tell.
SHOWN_PAIRS = (6, 8, 10, 12, 16, 20, 30)


@dataclass(frozen=True, slots=True)
class Candidate:
    """A wall that could be in a trial: its facts, and how damp it read lately (NaN: not read)."""

    building: str
    section: str
    damp: float = np.nan
    below_grade_m: float = np.nan
    adjoins: str = ""
    substrate: str = ""


@dataclass(frozen=True, slots=True)
class Lot:
    """What a candidate drew. ``sequence`` is the order in which the coats are put on."""

    candidate: Candidate
    arm: str
    block: str
    sequence: int


@dataclass(frozen=True, slots=True)
class Spread:
    """Standard deviation of a pair's difference after ``years``, on ``freedom`` (0: assumed)."""

    size: float
    years: float
    freedom: int

    def after(self, years: float, outcome: str) -> float:
        """The spread to plan with after so many years: its upper limit where it was seen (Browne 1995)."""
        size = upper_spread(self.size, self.freedom) if self.freedom else self.size
        survey = math.sqrt(2) * ERROR_FLOOR / years if outcome == LOSS else 0.0
        return math.hypot(size * math.sqrt(LASTING + (1 - LASTING) * self.years / years), survey)


def draw_lots(
    candidates: Sequence[Candidate], arms: Sequence[str], seed: int, blocks_before: int = 0
) -> tuple[list[Lot], list[Candidate]]:
    """Arms for matched walls, and the walls that found no match; ValueError for under two arms.

    Walls of one house are ordered by exposure, masonry and dampness, and neighbours in that order are a
    block of as many as there are arms. Blocks and the walls in them are put on in a drawn order. Blocks are
    numbered after the ``blocks_before`` that a trial has.
    """
    if len(set(arms)) != len(arms) or len(arms) < 2:
        raise ValueError("a trial compares two arms or more, each with a name of its own")
    rng = np.random.default_rng(seed)
    blocks, left = _matched(candidates, len(arms))
    lots: list[Lot] = []
    for place in rng.permutation(len(blocks)).tolist():
        own, name = blocks[place], f"block {blocks_before + place + 1}"
        drawn = rng.permutation(len(arms)).tolist()
        for which in rng.permutation(len(own)).tolist():
            lots.append(Lot(own[which], arms[drawn[which]], name, len(lots) + 1))
    return lots, left


def _matched(candidates: Sequence[Candidate], size: int) -> tuple[list[list[Candidate]], list[Candidate]]:
    blocks: list[list[Candidate]] = []
    left: list[Candidate] = []
    for building in dict.fromkeys(one.building for one in candidates):
        own = sorted((one for one in candidates if one.building == building), key=_likeness)
        whole = len(own) - len(own) % size
        blocks += [own[i : i + size] for i in range(0, whole, size)]
        left += own[whole:]
    return blocks, left


def _likeness(one: Candidate) -> tuple[str, str, float, float, str]:
    damp = one.damp if math.isfinite(one.damp) else math.inf
    below = one.below_grade_m if math.isfinite(one.below_grade_m) else math.inf
    return one.adjoins, one.substrate, damp, below, one.section


def shown(pairs: int, years: int, spread: Spread, outcome: str) -> list[tuple[int, float | None]]:
    """For several numbers of pairs, and this one, the least difference a year that would show."""
    counts = sorted({*SHOWN_PAIRS, pairs} - {0})
    size = spread.after(years, outcome)
    return [(count, detectable(count, size)) for count in counts]


def candidates_of(house: BuildingRecord, sections: set[str], as_of: float) -> list[Candidate]:
    """The named sections of a house as candidates, with what they read in the last two years."""
    levels = prepare(house.until(as_of)).levels
    found = []
    for section in house.sections:
        if section.code not in sections:
            continue
        own = [levels[section.code][name] for name in DAMPNESS[:2] if name in levels[section.code]]
        recent = [level.value[level.time > as_of - 2 * YEAR] for level in own]
        values = [float(value.mean()) for value in recent if len(value)]
        damp = float(np.mean(values)) if values else np.nan
        found.append(
            Candidate(
                house.code, section.code, damp, section.below_grade_m, section.adjoins, section.substrate
            )
        )
    return found


def own_spread(houses: Sequence[BuildingRecord], as_of: float, assumed: float) -> Spread:
    """How unlike the walls of one house lose their coats, from these houses' own surveys.

    ``assumed``: what is taken where fewer than :data:`LEAST_FREEDOM` differences tell of it.
    """
    squares, freedom, years = 0.0, 0, []
    for house in houses:
        record = house.until(as_of)
        levels = prepare(record).levels
        rates = []
        for section in record.sections:
            start = coat_start(section, as_of)
            time, low, high = affected_share(levels[section.code], coat_area(section, as_of))
            own = time > start
            if np.isfinite(start) and own.any() and time[own][-1] - start >= LEAST_YEARS * YEAR:
                loss = cumulative_loss(time[own], low[own], low[own], high[own])
                assert loss is not None
                lasted = (time[own][-1] - start) / YEAR
                rates.append(float(loss.fit[-1]) / lasted)
                years.append(lasted)
        if len(rates) > 1:
            squares += float(np.var(rates)) * len(rates)
            freedom += len(rates) - 1
    if freedom < LEAST_FREEDOM or squares <= 0:
        return Spread(assumed, ASSUMED_YEARS, 0)
    return Spread(math.sqrt(2 * squares / freedom), float(np.mean(years)), freedom)
