"""What an organisation's openings teach of its walls, as far as it was known at the end of any day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field
from uuid import UUID

import numpy as np

from inspections.analysis.openings import Opening
from inspections.analysis.recalibration import LEAST, Recalibration, recalibration
from inspections.analysis.records import BuildingRecord
from inspections.models import Assessment
from inspections.queries.openings import OpenedWall, opened_walls
from inspections.queries.series import building_record, day_number
from portfolio.domain.due import ask_for_assessment
from portfolio.models import Building, Organisation


@dataclass(frozen=True)
class Openings:
    """The opened walls of an organisation in time, each with what the model alone had said before."""

    walls: tuple[tuple[OpenedWall, float], ...] = ()
    _made: dict[tuple[Opening, ...], Recalibration] = field(default_factory=dict)

    def taught(self, by: dt.date) -> Recalibration:
        """What the openings known at the end of the day ``by`` teach."""
        known = []
        for wall, alone in self.walls:
            held = wall.held(by) if wall.day <= by else None
            if held is not None:
                known.append(Opening(alone, held))
        key = tuple(known)
        if key not in self._made:
            self._made[key] = recalibration(known)
        return self._made[key]

    @property
    def houses(self) -> set[UUID]:
        """The houses with an opened wall."""
        return {wall.section.building_id for wall, _ in self.walls}


def openings_of(organisation: Organisation, opened: Iterable[OpenedWall] | None = None) -> Openings:
    """The openings of an organisation that can count, of those ``opened``; one query where it has none.

    What had been said before an opening is kept with the past of its house. Where nobody has looked back on
    that yet, it is worked out here, if there are openings enough to matter.
    """
    walls = opened_walls(organisation) if opened is None else opened
    told = [wall for wall in walls if wall.held() is not None]
    if len(told) < LEAST:
        return Openings()
    records: dict[UUID, BuildingRecord] = {}
    found = []
    for wall in told:
        alone = _looked_up(wall, records) if wall.alone is None else wall.alone
        if alone is not None:
            found.append((wall, alone))
    return Openings(tuple(found))


def _looked_up(wall: OpenedWall, records: dict[UUID, BuildingRecord]) -> float | None:
    """What the model alone says as of the last day before the opening on which the house was read."""
    # What it computes with is imported only here, so that no page waits for it.
    from inspections.analysis.replay import look_back

    house = wall.section.building
    if house.pk not in records:
        records[house.pk] = building_record(house)
    record, opened = records[house.pk], day_number(wall.day)
    days = [np.floor(section.readings.time) for section in record.sections]
    before = [float(own[own < opened].max()) for own in days if (own < opened).any()]
    look = look_back(record, max(before)).get(wall.section.code) if before else None
    return look.probability["trapped_water"] if look else None


def ask_the_others(organisation: Organisation, version: str) -> None:
    """Ask for the houses whose present assessments are not of ``version``, of which the openings are part."""
    current = Assessment.objects.of(organisation).filter(current=True).exclude(model_version=version)
    others = Building.objects.of(organisation).standing().filter(reassessments__isnull=True)
    stale = current.order_by().values("section__building")
    ask_for_assessment(others.filter(pk__in=stale).values_list("pk", flat=True))
