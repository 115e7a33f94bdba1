"""What an evidence sheet shows beside the trial's answer: costs, and photos before and after."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

import numpy as np

from inspections.analysis.trial_results import Comparison
from inspections.analysis.trial_walls import SYSTEM_DAYS, Wall
from inspections.models import Allocation, Photo
from inspections.queries.series import day_number, local_time
from inspections.queries.trials import photos_of, priced_treatments
from portfolio.models import Treatment


@dataclass(frozen=True, slots=True)
class Cost:
    """What an arm's coats cost when they were put on: the mean a m² over so many walls, in one currency."""

    per_m2: float
    currency: str
    walls: int


@dataclass(frozen=True, slots=True)
class Pictures:
    """One wall of an arm before its coat and last seen after; either may be missing."""

    arm: str
    allocation: Allocation
    before: Photo | None
    after: Photo | None


def costs(allocations: Sequence[Allocation], comparison: Comparison) -> dict[str, Cost]:
    """By arm; an arm whose walls were priced in several currencies, or not at all, is left out."""
    by_section: dict[UUID, list[Treatment]] = defaultdict(list)
    for treatment in priced_treatments(allocations):
        by_section[treatment.section_id].append(treatment)
    prices: dict[str, list[tuple[float, str]]] = defaultdict(list)
    for one, wall in zip(allocations, comparison.walls, strict=True):
        price = _price(by_section[one.section_id], wall)
        if price is not None:
            prices[one.arm].append(price)
    return {
        arm: Cost(float(np.mean([amount for amount, _ in found])), found[0][1], len(found))
        for arm, found in prices.items()
        if len({currency for _, currency in found}) == 1
    }


def _price(treatments: Sequence[Treatment], wall: Wall) -> tuple[float, str] | None:
    """A m² of all layers that were put on as one system, if all are of one currency."""
    own = [one for one in treatments if 0 <= day_number(one.applied_on) - wall.begun <= SYSTEM_DAYS]
    size = wall.record.length_m * wall.record.height_m
    if not own or len({one.currency for one in own}) > 1:
        return None
    areas = [one.area_m2 or size for one in own]
    if not all(area > 0 for area in areas):
        return None
    total = sum(float(one.cost or 0) / area for one, area in zip(own, areas, strict=True))
    return total, own[0].currency


def pictures(allocations: Sequence[Allocation], comparison: Comparison) -> list[Pictures]:
    """One wall of each arm with its photos, the first that has both; arms without any are left out."""
    photos = photos_of(allocations)
    best: dict[str, Pictures] = {}
    for one, wall in zip(allocations, comparison.walls, strict=True):
        zone = one.section.building.zone
        own = [(local_time(photo.taken_at, zone), photo) for photo in photos.get(one.section_id, [])]
        before = [photo for time, photo in own if time < wall.begun]
        after = [photo for time, photo in own if time >= wall.begun]
        if not own:
            continue
        found = Pictures(one.arm, one, before[-1] if before else None, after[-1] if after else None)
        if one.arm not in best or _count(found) > _count(best[one.arm]):
            best[one.arm] = found
    return [best[arm] for arm in sorted(best)]


def _count(found: Pictures) -> int:
    return (found.before is not None) + (found.after is not None)
