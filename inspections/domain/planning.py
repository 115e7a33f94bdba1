"""Planning a trial: candidate walls, the lots that a seed draws, and what could be seen."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from inspections.analysis.comparison import ASSUMED_SPREAD, worth_having
from inspections.analysis.trial_plan import (
    Candidate,
    Lot,
    Spread,
    candidates_of,
    draw_lots,
    own_spread,
    shown,
)
from inspections.analysis.trial_walls import LOSS
from inspections.models import Trial
from inspections.queries.series import building_record, day_number
from inspections.queries.trials import standing_allocations
from portfolio.models import Building, Section


@dataclass(frozen=True, slots=True)
class TrialPlan:
    """The lots of a seed, the walls without a match, and the least difference that so many pairs would show.

    ``could_show``: (pairs, difference a year; None: none) for several numbers of pairs after ``years``.
    """

    seed: int
    years: int
    lots: list[Lot]
    left: list[Candidate]
    sections: dict[tuple[str, str], Section]
    spread: Spread
    could_show: list[tuple[int, float | None]]
    blocks: int


def plan_trial(
    trial: Trial, sections: Sequence[Section], arms: Sequence[str], *, seed: int, years: int, today: dt.date
) -> TrialPlan:
    """What ``seed`` draws for these sections; ValueError where there are not two arms."""
    by_house: dict[UUID, list[Section]] = defaultdict(list)
    for section in sections:
        by_house[section.building_id].append(section)
    houses: list[Building] = [own[0].building for own in by_house.values()]
    records = [building_record(house) for house in houses]
    day = day_number(today)
    candidates = [
        candidate
        for record, own in zip(records, by_house.values(), strict=True)
        for candidate in candidates_of(record, {one.code for one in own}, day)
    ]
    standing = {one.block or str(one.section.building_id) for one in standing_allocations(trial)}
    lots, left = draw_lots(candidates, arms, seed, len(standing))
    assumed = ASSUMED_SPREAD * worth_having(trial.outcome)
    spread = own_spread(records, day, assumed) if trial.outcome == LOSS else own_spread([], day, assumed)
    blocks = len(lots) // len(arms)
    return TrialPlan(
        seed=seed,
        years=years,
        lots=lots,
        left=left,
        sections={(one.building.code, one.code): one for one in sections},
        spread=spread,
        could_show=shown(blocks, years, spread, trial.outcome),
        blocks=blocks,
    )
