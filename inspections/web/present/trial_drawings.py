"""The figures of a trial, each as what is drawn and as the numbers behind it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np

from inspections.analysis.comparison import worth_having
from inspections.analysis.comparison_words import amount, quoted
from inspections.analysis.fairness import Imbalance
from inspections.analysis.trial_results import Comparison
from inspections.analysis.trial_walls import LOSS, Wall
from inspections.models import Allocation
from inspections.web.present import dates, units, words
from inspections.web.present.figures import Figure
from inspections.web.present.trial_figures import (
    Course,
    Panel,
    Paper,
    Row,
    coat_on,
    dots,
    side_by_side,
    years_since,
)

Drawing = Callable[[Paper], Figure]
#: Standard deviations that the axis of the walls before reaches to.
_REACH = 3.0
_FACTS = {
    "below_grade_m": "depth below ground",
    "adjoins": "ground or street behind it",
    "substrate": "the usual masonry",
}
NAMES = ("courses", "difference", "before")


def figure_of(name: str, comparison: Comparison, allocations: Sequence[Allocation]) -> Drawing | None:
    """One of :data:`NAMES`, to be drawn on any paper; None where there is nothing to draw."""
    if name == "courses":
        return _courses(comparison, allocations)
    return _difference(comparison) if name == "difference" else _before(comparison)


def numbers_of(
    name: str, comparison: Comparison, allocations: Sequence[Allocation]
) -> Iterator[Sequence[object]]:
    """The same as a table, its head first; unknown numbers are None."""
    if name == "courses":
        yield ("block", "building", "section", "arm", "day", "years", "low", "high", "line")
        for wall, one in zip(comparison.walls, allocations, strict=True):
            columns = (wall.time, wall.low, wall.high, wall.fit)
            for day, low, high, line in zip(*(column.tolist() for column in columns), strict=True):
                years = years_since(wall.begun, [day])[0]
                where = (one.block, wall.place.building, wall.place.section, one.arm)
                yield (*where, dates.from_days(day), years, _known(low), _known(high), line)
    elif name == "difference":
        yield ("what", "sections", "value", "low", "high", "p_value")
        for arm in comparison.arms:
            yield (arm.arm, arm.sections, _known(arm.mean), _known(arm.low), _known(arm.high), None)
        if comparison.found:
            found = comparison.found
            ends = (found.estimate, _known(found.low), _known(found.high))
            yield ("difference", None, *ends, comparison.p_value)
    else:
        yield ("quantity", "first", "second", "standardised_difference", "low", "high", "sections")
        for item in comparison.before:
            ends = (item.standardised_difference, _known(item.low), _known(item.high))
            yield (item.quantity, item.first, item.second, *ends, item.walls)


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def thing(quantity: str) -> str:
    """What was compared before, in words."""
    return _FACTS.get(quantity, words.quantity_name(quantity))


def place(one: Allocation) -> str:
    """A wall of a trial by its house and name."""
    section = one.section
    return f"{words.house_name(section.building)}, {words.section_name(section, alone_on_wall=False)}"


def short_number(value: float) -> str:
    """A number of a drawing, to two significant digits or so."""
    size = abs(value)
    return units.number(value, 0 if size >= 10 or value == 0 else 1 if size >= 0.95 else 2)


def told_arm(comparison: Comparison, number: int) -> str:
    """An arm's mean with its interval and its count of walls."""
    arm = comparison.arms[number]
    if not arm.sections:
        return f"{quoted(arm.arm)}: no wall followed long enough yet."
    text = f"{quoted(arm.arm)}: {amount(comparison, arm.mean)} a year"
    count = words.counted(arm.sections, "wall")
    if not np.isfinite(arm.low):
        return f"{text} ({count}; no interval)."
    factor = 100.0 if comparison.question.outcome == LOSS else 1.0
    return f"{text} ({short_number(arm.low * factor)} to {short_number(arm.high * factor)}, {count})."


# Side by side ----------------------------------------------------------------------------------------------


def _courses(comparison: Comparison, allocations: Sequence[Allocation]) -> Drawing | None:
    panels = _panels(comparison, allocations)
    if not panels:
        return None
    question = comparison.question
    shown = "Share of the coat that is hollow or has fallen" if question.outcome == LOSS else (
        words.capital(words.quantity_name(question.outcome))
    )  # fmt: skip
    told = " ".join(told_arm(comparison, number) for number in range(len(comparison.arms)))
    title = f"{shown}, by years since the coats went on, one panel a block"
    return lambda paper: side_by_side(
        panels, question.outcome, question.failed_share, paper, title=title, told=told
    )


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


def _difference(comparison: Comparison) -> Drawing | None:
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
    text = short_number(found.estimate * factor) + (" %" if loss else "")
    if low is not None and high is not None:
        text += f" ({short_number(low)} to {short_number(high)})"
    row = Row("Difference", found.estimate * factor, low, high, text, strong=True)
    title = f"{second} less {quoted(comparison.arms[0].arm)}, a year, with its 95 % interval"
    worth = worth_having(comparison.question.outcome) * factor
    return lambda paper: dots([row], paper, title=title, sides=sides, worth=worth, axis=short_number)


def _before(comparison: Comparison) -> Drawing | None:
    if not comparison.before:
        return None
    first, second = comparison.before[0].first, comparison.before[0].second
    rows = [_before_row(one) for one in comparison.before]
    sides = (f"more in {quoted(first)}", f"more in {quoted(second)}")
    title = "How the walls of the arms differed before, in standard deviations, with 99 % intervals"
    return lambda paper: dots(rows, paper, title=title, sides=sides, reach=_REACH, axis=short_number)


def _before_row(one: Imbalance) -> Row:
    name = words.capital(thing(one.quantity))
    has = np.isfinite(one.low)
    text = short_number(one.standardised_difference)
    text += f" ({short_number(one.low)} to {short_number(one.high)})" if has else ", too few for an interval"
    low, high = (one.low, one.high) if has else (None, None)
    return Row(name, one.standardised_difference, low, high, text, strong=one.is_plain)
