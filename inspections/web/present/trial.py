"""A trial's page: what was learned and what was not, drawn, then told, then in a table, then how."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

import numpy as np
from django.urls import reverse
from django.utils.safestring import SafeString

from inspections.analysis.comparison_words import (
    amount,
    learned,
    seen,
    what_it_takes,
    why_the_coat,
)
from inspections.analysis.trial_results import Comparison
from inspections.analysis.trial_walls import LOSS, Wall
from inspections.domain.running import State
from inspections.models import Allocation
from inspections.web.present import dates, units, words
from inspections.web.present.sheet import open_points, pace
from inspections.web.present.trial_drawings import figure_of, place, thing
from inspections.web.present.trial_figures import Drawn, drawn, legend

_LOST = "How much more or less the second coat lost than the first, in % of the wall a year."
_CHANGED = "How much more or less it changed under the second coat than under the first, a year."
_BAR = (
    "The dot is what was seen; the truth lies on the bar, 95 times in 100. Where the bar crosses the middle "
    "line there may be no difference at all. Dashed: a difference worth having."
)


@dataclass(frozen=True, slots=True)
class WallRow:
    """One wall of the table."""

    name: str
    href: str
    arm: str
    block: str
    begun: str
    followed: str
    outcome: str
    how: str
    note: str


@dataclass(frozen=True, slots=True)
class Answer:
    """What a trial's page shows."""

    learned: str
    believed: str
    pace: list[str]
    open: list[str]
    seen: str
    legend: list[tuple[str, SafeString]]
    courses: Drawn | None
    difference: Drawn | None
    difference_note: str
    before: Drawn | None
    before_told: str
    rows: list[WallRow]
    notes: bool
    note: str
    method: str
    as_of: str
    unfair: bool


def present(comparison: Comparison, allocations: Sequence[Allocation], system: str) -> Answer:
    """The answer for a reader of ``system``; ``allocations`` in the comparison's order."""
    notes = {one.note for one in allocations}
    shared = notes.pop() if len(notes) == 1 else ""
    rows = [
        _wall_row(comparison, wall, one, "" if shared else one.note, system)
        for wall, one in zip(comparison.walls, allocations, strict=True)
    ]
    return Answer(
        learned=_told(learned(comparison), system),
        believed=_told(why_the_coat(comparison), system),
        pace=[pace(comparison, arm, None, system) for arm in comparison.arms],
        open=[_told(text, system) for text in open_points(comparison)],
        seen=_told(f"{seen(comparison)} {what_it_takes(comparison)}", system),
        legend=legend([arm.arm for arm in comparison.arms]),
        courses=_drawn("courses", comparison, allocations),
        difference=_drawn("difference", comparison, allocations),
        difference_note=f"{_LOST if comparison.question.outcome == LOSS else _CHANGED} {_BAR}",
        before=_drawn("before", comparison, allocations),
        before_told=_before_told(comparison),
        rows=rows,
        notes=any(row.note for row in rows),
        note=words.sentence(shared),
        method=words.sentence(comparison.method),
        as_of=dates.day(comparison.as_of),
        unfair=not comparison.fair,
    )


def _drawn(name: str, comparison: Comparison, allocations: Sequence[Allocation]) -> Drawn | None:
    figure = figure_of(name, comparison, allocations)
    return drawn(figure) if figure else None


@dataclass(frozen=True, slots=True)
class Round:
    """A house whose walls are due: when, and the sheet to go round with."""

    house: str
    href: str
    due: str
    is_late: bool


def rounds(found: Sequence[State], today: dt.date) -> list[Round]:
    """What is due, a house each, the first first."""
    houses: dict[UUID, list[State]] = {}
    for state in found:
        if state.due:
            houses.setdefault(state.allocation.section.building_id, []).append(state)
    return [_round(own, today) for own in houses.values()]


def _round(own: Sequence[State], today: dt.date) -> Round:
    house = own[0].allocation.section.building
    first = min(state.due for state in own if state.due)
    walls = f"{words.spelt(len(own))} wall{'' if len(own) == 1 else 's'}"
    when = f"overdue since {dates.day(first)}" if first < today else f"due {dates.day(first)}"
    href = f"{reverse('round', args=[house.pk])}?on={max(first, today)}"
    return Round(words.house_name(house), href, f"{walls}, {when}", first < today)


def missing(found: Sequence[State]) -> list[str]:
    """What is missing of which walls, a sentence each."""
    reasons: dict[str, list[str]] = {}
    for state in found:
        for reason in state.missing:
            reasons.setdefault(reason, []).append(place(state.allocation))
    return [
        f"{'; '.join(sorted(places))}{': each' if len(places) > 1 else ''} {reason}."
        for reason, places in reasons.items()
    ]


def _told(text: str, system: str) -> str:
    return words.typeset(units.in_units(text, system))


def _before_told(comparison: Comparison) -> str:
    if not comparison.before:
        return "Nothing was read of these walls before their coats, so nobody knows whether they were alike."
    plain = [one for one in comparison.before if one.is_plain]
    if plain:
        names = [thing(one.quantity) for one in plain]
        things = words.listed(names)
        return f"The walls were not alike before: they differ in {things}, more than chance explains."
    how = "drawn by lot" if comparison.by_lot else "not drawn by lot"
    return (
        "Each dot says how far the walls of the two arms were apart before anything was put on; a bar that "
        f"crosses the middle line may be chance. None of them lies clear of it. The coats were {how}."
    )


# Table -----------------------------------------------------------------------------------------------------


def _wall_row(comparison: Comparison, wall: Wall, one: Allocation, note: str, system: str) -> WallRow:
    known = np.isfinite(wall.outcome)
    return WallRow(
        name=place(one),
        href=reverse("section", args=[one.section.pk]),
        arm=one.arm,
        block=one.block,
        begun=dates.day(dates.from_days(wall.begun)) if np.isfinite(wall.begun) else "not yet",
        followed=f"{wall.years:.1f} years, {words.counted(len(wall.time), 'survey')}"
        if len(wall.time)
        else "",
        outcome=units.in_units(amount(comparison, wall.outcome), system) if known else "",
        how=one.get_allocated_by_display(),
        note=words.sentence(" ".join(part for part in (words.sentence(wall.missing), note) if part)),
    )
