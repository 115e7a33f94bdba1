"""A trial's page: what was learned and what was not, drawn, then told, then in a table, then how."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from django.urls import reverse
from django.utils.safestring import SafeString

from inspections.analysis.comparison_words import amount, learned, not_learned, seen
from inspections.analysis.results import CANNOT_TELL, DIFFERENCE
from inspections.analysis.trial_results import Comparison
from inspections.analysis.trial_walls import Wall
from inspections.domain.running import State
from inspections.models import Allocation
from inspections.web.present import dates, units, words
from inspections.web.present.trial_drawings import figure_of, place, thing, told_arm
from inspections.web.present.trial_figures import Drawn, drawn, legend


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
    """What a trial's page and its evidence sheet show."""

    heading: str
    learned: str
    seen: str
    not_learned: str
    legend: list[tuple[str, SafeString]]
    courses: Drawn | None
    difference: Drawn | None
    before: Drawn | None
    before_told: str
    arms: list[str]
    rows: list[WallRow]
    note: str
    method: str
    as_of: str
    unfair: bool


def present(comparison: Comparison, allocations: Sequence[Allocation], system: str) -> Answer:
    """The answer for a reader of ``system``; ``allocations`` in the comparison's order."""
    notes = {one.note for one in allocations}
    shared = notes.pop() if len(notes) == 1 else ""
    return Answer(
        heading=_heading(comparison),
        learned=_told(learned(comparison), system),
        seen=_told(seen(comparison), system),
        not_learned=_told(not_learned(comparison), system),
        legend=legend([arm.arm for arm in comparison.arms]),
        courses=_drawn("courses", comparison, allocations),
        difference=_drawn("difference", comparison, allocations),
        before=_drawn("before", comparison, allocations),
        before_told=_before_told(comparison),
        arms=[_told(told_arm(comparison, number), system) for number in range(len(comparison.arms))],
        rows=[
            _wall_row(comparison, wall, one, "" if shared else one.note, system)
            for wall, one in zip(comparison.walls, allocations, strict=True)
        ],
        note=words.sentence(shared),
        method=words.sentence(comparison.method),
        as_of=dates.day(comparison.as_of),
        unfair=not comparison.fair,
    )


def _drawn(name: str, comparison: Comparison, allocations: Sequence[Allocation]) -> Drawn | None:
    figure = figure_of(name, comparison, allocations)
    return drawn(figure) if figure else None


def waiting(found: Sequence[State], today: dt.date) -> list[str]:
    """What a trial waits for, a sentence each: what is due, and what is missing."""
    lines = []
    due = sorted(state.due for state in found if state.due)
    if due:
        late = sum(day < today for day in due)
        over = f" {words.capital(words.spelt(late))} of {len(found)} walls are overdue." if late else ""
        lines.append(f"The next round of its walls is due {dates.day(due[0])}.{over}")
    reasons: dict[str, list[str]] = {}
    for state in found:
        for reason in state.missing:
            reasons.setdefault(reason, []).append(state.allocation.section.code)
    return lines + [f"{words.listed(codes)}: each {reason}." for reason, codes in reasons.items()]


def _told(text: str, system: str) -> str:
    return words.typeset(units.in_units(text, system))


def _heading(comparison: Comparison) -> str:
    if comparison.conclusion == CANNOT_TELL:
        return "It can’t be told"
    return "A difference" if comparison.conclusion == DIFFERENCE else "No difference was shown"


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
