"""A trial's page: what was learned and what was not, drawn, then told, then in a table, then how."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from django.urls import reverse
from django.utils.safestring import SafeString

from inspections.analysis.comparison import worth_having
from inspections.analysis.comparison_words import amount, learned, not_learned, quoted, seen
from inspections.analysis.fairness import Imbalance
from inspections.analysis.results import CANNOT_TELL, DIFFERENCE
from inspections.analysis.trial_results import Comparison
from inspections.analysis.trial_walls import LOSS, Wall
from inspections.domain.running import State
from inspections.models import Allocation
from inspections.web.present import dates, units, words
from inspections.web.present.trial_svg import (
    DESK,
    PHONE,
    Course,
    Panel,
    Row,
    coat_on,
    dots,
    legend,
    side_by_side,
    years_since,
)

#: Standard deviations that the axis of the walls before reaches to.
_REACH = 3.0
_FACTS = {
    "below_grade_m": "depth below ground",
    "adjoins": "ground or street behind it",
    "substrate": "the usual masonry",
}


@dataclass(frozen=True, slots=True)
class Drawn:
    """A drawing for a desk, and one for a phone."""

    desk: SafeString
    phone: SafeString


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
        courses=_courses(comparison, allocations),
        difference=_difference(comparison),
        before=_before(comparison),
        before_told=_before_told(comparison),
        arms=[_told(_arm(comparison, number), system) for number in range(len(comparison.arms))],
        rows=[
            _wall_row(comparison, wall, one, "" if shared else one.note, system)
            for wall, one in zip(comparison.walls, allocations, strict=True)
        ],
        note=words.sentence(shared),
        method=words.sentence(comparison.method),
        as_of=dates.day(comparison.as_of),
        unfair=not comparison.fair,
    )


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


def place(one: Allocation) -> str:
    """A wall of a trial by its house and name."""
    section = one.section
    return f"{words.house_name(section.building)}, {words.section_name(section, alone_on_wall=False)}"


def _told(text: str, system: str) -> str:
    return words.typeset(units.in_units(text, system))


def _heading(comparison: Comparison) -> str:
    if comparison.conclusion == CANNOT_TELL:
        return "It can’t be told"
    return "A difference" if comparison.conclusion == DIFFERENCE else "No difference was shown"


# Side by side ----------------------------------------------------------------------------------------------


def _courses(comparison: Comparison, allocations: Sequence[Allocation]) -> Drawn | None:
    panels = _panels(comparison, allocations)
    if not panels:
        return None
    question = comparison.question
    shown = "Share of the coat that is hollow or has fallen" if question.outcome == LOSS else (
        words.capital(words.quantity_name(question.outcome))
    )  # fmt: skip
    told = " ".join(_arm(comparison, number) for number in range(len(comparison.arms)))
    title = f"{shown}, by years since the coats went on, one panel a block"
    common = (panels, question.outcome, question.failed_share)
    return Drawn(*(side_by_side(*common, paper, title, told) for paper in (DESK, PHONE)))


def _panels(comparison: Comparison, allocations: Sequence[Allocation]) -> list[Panel]:
    panels = []
    walls = list(zip(comparison.walls, allocations, comparison.plan.arm.tolist(), strict=True))
    for block in dict.fromkeys(comparison.plan.block.tolist()):
        own = [one for one, of in zip(walls, comparison.plan.block.tolist(), strict=True) if of == block]
        followed = [(wall, arm) for wall, _, arm in own if len(wall.time)]
        if followed:
            begun = min(wall.begun for wall, _ in followed)
            courses = [course_of(wall, arm) for wall, arm in followed]
            panels.append(Panel(_block_name([one for _, one, _ in own]), coat_on(begun), courses))
    return sorted(panels, key=lambda panel: (len(panel.name.partition(",")[0]), panel.name))


def course_of(wall: Wall, arm: int) -> Course:
    """A wall's course as it is drawn."""
    value = np.where(np.isfinite(wall.low), wall.low, wall.high)
    return Course(
        arm=arm,
        years=years_since(wall.begun, wall.time.tolist()),
        seen=value.tolist(),
        line=wall.fit.tolist(),
        bound=(wall.low != wall.high).tolist(),
    )


def _block_name(own: Sequence[Allocation]) -> str:
    houses = list(dict.fromkeys(words.house_name(one.section.building) for one in own))
    names = {one.block for one in own}
    where = houses[0] if len(houses) == 1 else f"{len(houses)} houses"
    name = names.pop() if len(names) == 1 else ""
    return words.capital(f"{name}, {where}" if name else where)


# Dots ------------------------------------------------------------------------------------------------------


def _difference(comparison: Comparison) -> Drawn | None:
    found = comparison.found
    if found is None:
        return None
    loss = comparison.question.outcome == LOSS
    second = quoted(comparison.arms[1].arm)
    sides = (
        (f"{second} lost less", f"{second} lost more") if loss else (f"{second} lower", f"{second} higher")
    )
    factor = 100.0 if loss else 1.0
    has = np.isfinite(found.low)
    low, high = (found.low * factor, found.high * factor) if has else (None, None)
    text = _short(found.estimate * factor) + (" %" if loss else "")
    if low is not None and high is not None:
        text += f" ({_short(low)} to {_short(high)})"
    row = Row("Difference", found.estimate * factor, low, high, text, strong=True)
    title = f"{second} less {quoted(comparison.arms[0].arm)}, a year, with its 95 % interval"
    worth = worth_having(comparison.question.outcome) * factor
    return Drawn(
        *(dots([row], paper, title=title, sides=sides, worth=worth, axis=_short) for paper in (DESK, PHONE))
    )


def _before(comparison: Comparison) -> Drawn | None:
    if not comparison.before:
        return None
    first, second = comparison.before[0].first, comparison.before[0].second
    rows = [_before_row(one) for one in comparison.before]
    sides = (f"more in {quoted(first)}", f"more in {quoted(second)}")
    title = "How the walls of the arms differed before, in standard deviations, with 99 % intervals"
    return Drawn(
        *(dots(rows, paper, title=title, sides=sides, reach=_REACH, axis=_short) for paper in (DESK, PHONE))
    )


def _before_row(one: Imbalance) -> Row:
    name = words.capital(_FACTS.get(one.quantity, words.quantity_name(one.quantity)))
    has = np.isfinite(one.low)
    text = _short(one.standardised_difference)
    text += f" ({_short(one.low)} to {_short(one.high)})" if has else ", too few for an interval"
    low, high = (one.low, one.high) if has else (None, None)
    return Row(name, one.standardised_difference, low, high, text, strong=one.is_plain)


def _before_told(comparison: Comparison) -> str:
    if not comparison.before:
        return "Nothing was read of these walls before their coats, so nobody knows whether they were alike."
    plain = [one for one in comparison.before if one.is_plain]
    if plain:
        names = [_FACTS.get(one.quantity, words.quantity_name(one.quantity)) for one in plain]
        things = words.listed(names)
        return f"The walls were not alike before: they differ in {things}, more than chance explains."
    how = "drawn by lot" if comparison.by_lot else "not drawn by lot"
    return (
        "Each dot says how far the walls of the two arms were apart before anything was put on; a bar that "
        f"crosses the middle line may be chance. None of them lies clear of it. The coats were {how}."
    )


def _short(value: float) -> str:
    size = abs(value)
    return units.number(value, 0 if size >= 10 or value == 0 else 1 if size >= 0.95 else 2)


# Table -----------------------------------------------------------------------------------------------------


def _arm(comparison: Comparison, number: int) -> str:
    arm = comparison.arms[number]
    if not arm.sections:
        return f"{quoted(arm.arm)}: no wall followed long enough yet."
    text = f"{quoted(arm.arm)}: {amount(comparison, arm.mean)} a year"
    count = words.counted(arm.sections, "wall")
    if not np.isfinite(arm.low):
        return f"{text} ({count}; no interval)."
    factor = 100.0 if comparison.question.outcome == LOSS else 1.0
    return f"{text} ({_short(arm.low * factor)} to {_short(arm.high * factor)}, {count})."


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


def _followed(wall: Wall) -> str:
    return f"{wall.years:.1f} years, {words.counted(len(wall.time), 'survey')}" if len(wall.time) else ""
