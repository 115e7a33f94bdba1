"""A trial while it runs: which of its walls is due, and what of it is missing."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from inspections.analysis.trial_results import Comparison
from inspections.analysis.trial_walls import Wall
from inspections.models import Allocation
from inspections.queries.series import date_of, day_number
from inspections.queries.trials import due_of

#: A wall that was not surveyed for so many days is named: a round a year is the least. Common practice.
LONG_AGO = 400


@dataclass(frozen=True, slots=True)
class State:
    """What a wall of a trial waits for: when it is due, when it was last surveyed, and what is missing."""

    allocation: Allocation
    due: dt.date | None
    last: dt.date | None
    missing: tuple[str, ...]


def running(allocations: list[Allocation], comparison: Comparison) -> list[State]:
    """The state of each wall, those due first. ``allocations`` are in the comparison's order."""
    due = due_of(allocations)
    found = [
        State(one, due.get(one.section_id), _last(wall), tuple(_missing(wall, comparison.as_of)))
        for one, wall in zip(allocations, comparison.walls, strict=True)
    ]
    return sorted(found, key=lambda state: (state.due or dt.date.max, str(state.allocation.section)))


def _last(wall: Wall) -> dt.date | None:
    return date_of(wall.time[-1]) if len(wall.time) else None


def _missing(wall: Wall, as_of: dt.date) -> list[str]:
    parts = [wall.missing] if wall.missing else []
    if not wall.before:
        parts.append("was not read before its coat")
    last = _last(wall)
    if last and wall.ended > day_number(as_of) and (as_of - last).days > LONG_AGO:
        parts.append("was not surveyed for more than a year")
    if wall.ended <= day_number(as_of):
        parts.append("has lost its coat: it is followed no longer")
    return parts
