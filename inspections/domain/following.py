"""Whether what was done about a wall has helped, told from its readings."""

from __future__ import annotations

from inspections.analysis.follow_up import FollowUp, follow_up
from inspections.analysis.records import BuildingRecord
from inspections.models import Action
from inspections.queries.due import today_at
from inspections.queries.series import building_record, day_number


def follow_up_of(action: Action, record: BuildingRecord | None = None) -> FollowUp:
    """What the readings up to today say of an action; ``record``: its house's, where it was read already."""
    building = action.section.building
    return follow_up(
        record or building_record(building),
        action.section.code,
        day_number(action.done_on),
        action.kind,
        action.flag.verdict if action.flag else "",
        day_number(today_at(building)),
    )
