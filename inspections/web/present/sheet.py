"""The evidence sheet: one printed page for an owner or a mason, in words that need no statistics."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from django.utils.safestring import SafeString

from inspections.analysis.comparison_words import learned, plain_open, quoted
from inspections.analysis.trial_results import Arm, Comparison
from inspections.analysis.trial_walls import LOSS
from inspections.domain.evidence import Cost, Pictures
from inspections.models import Allocation, Photo
from inspections.web.present import dates, units, words
from inspections.web.present.trial_drawings import course_of, place
from inspections.web.present.trial_figures import Course, Drawn, Panel, coat_on, drawn, legend, side_by_side

#: Height of the field of the one panel, px.
TALL = 240.0


@dataclass(frozen=True, slots=True)
class Picture:
    """A photo on the sheet: where it is fetched, and what is said of it."""

    href: str
    caption: str


@dataclass(frozen=True, slots=True)
class Sheet:
    """All that the page shows."""

    question: str
    answer: str
    where: str
    legend: list[tuple[str, SafeString]]
    course: Drawn | None
    pace: list[str]
    open: list[str]
    pictures: list[tuple[str, list[Picture]]]
    as_of: str


def present(
    question: str,
    comparison: Comparison,
    allocations: Sequence[Allocation],
    costs: Mapping[str, Cost],
    pictures: Sequence[Pictures],
    address: Callable[[Photo], str],
    system: str,
) -> Sheet:
    """The sheet; ``address`` says where a photo is fetched by who reads it."""
    return Sheet(
        question=question,
        answer=words.typeset(learned(comparison)),
        where=_where(comparison, allocations),
        legend=legend([arm.arm for arm in comparison.arms]),
        course=_drawn(comparison),
        pace=[_pace(comparison, arm, costs.get(arm.arm)) for arm in comparison.arms],
        open=[words.typeset(units.in_units(text, system)) for text in _open(comparison)],
        pictures=[(quoted(one.arm), _pictures(one, address)) for one in pictures],
        as_of=dates.day(comparison.as_of),
    )


def _where(comparison: Comparison, allocations: Sequence[Allocation]) -> str:
    walls = words.counted(len(allocations), "wall")
    houses = words.counted(len({one.section.building_id for one in allocations}), "house")
    lasted = max((wall.years for wall in comparison.walls), default=0.0)
    followed = f", followed for up to {lasted:.0f} years" if lasted >= 1 else ""
    return f"{walls} of {houses}{followed}."


def _drawn(comparison: Comparison) -> Drawn | None:
    """All walls faintly, and each arm's mean pace as a bold line."""
    walls = list(zip(comparison.walls, comparison.plan.arm.tolist(), strict=True))
    courses = [replace(course_of(wall, arm), faint=True) for wall, arm in walls if len(wall.time)]
    if not courses:
        return None
    question = comparison.question
    last = max(year for course in courses for year in course.years)
    if question.outcome == LOSS:
        courses += [
            Course(number, [last], [np.nan], [arm.mean * last], [False])
            for number, arm in enumerate(comparison.arms)
            if np.isfinite(arm.mean)
        ]
    begun = min(wall.begun for wall, _ in walls if len(wall.time))
    panel = Panel("", coat_on(begun).replace("coats on", "first coat on"), courses)
    told = " ".join(_pace(comparison, arm, None) for arm in comparison.arms)
    title = "What came loose or fell, by years since the coats went on"
    return drawn(
        lambda paper: side_by_side(
            [panel],
            question.outcome,
            question.failed_share,
            replace(paper, columns=1),
            title=title,
            told=told,
            field=TALL,
        )
    )


def _pace(comparison: Comparison, arm: Arm, cost: Cost | None) -> str:
    """An arm's pace, its years of service and what a year of it costs, in one or two sentences."""
    name = quoted(arm.arm)
    if not arm.sections:
        return f"{name}: no wall has been followed long enough yet."
    if comparison.question.outcome != LOSS:
        return f"{name}: changed by {units.number(arm.mean, 1)} a year on {_walls(arm)}."
    text = f"{name}: on {_walls(arm)}, {_share(arm.mean)} of the coat came loose or fell each year"
    if np.isfinite(arm.high):
        text += f" (between {_share(arm.low)} and {_share(arm.high)}, allowing for chance)"
    share = comparison.question.failed_share
    years, soonest, latest = arm.years_until(share)
    tenth = f"{units.number(100 * share, 0)} in 100 parts"
    if not np.isfinite(years):
        return f"{text}. Nothing was lost yet, so nobody can say how long it lasts."
    text += f". At that pace {tenth} are lost after {_years(years)}"
    if np.isfinite(soonest):
        reach = f"{_years(soonest)} at the soonest"
        text += f" ({reach}{', ' + _years(latest) + ' at the latest' if np.isfinite(latest) else ''})"
    if cost is None:
        return f"{text}."
    money = f"{units.number(cost.per_m2, 0)} {cost.currency}".strip()
    yearly = f"{units.number(cost.per_m2 / years, 1)} {cost.currency}".strip()
    return f"{text}. It cost {money} a m² to put on ({_counted(cost.walls)}): {yearly} a m² and year of that."


def _walls(arm: Arm) -> str:
    return _counted(arm.sections)


def _counted(count: int) -> str:
    return f"{words.spelt(count)} wall{'' if count == 1 else 's'}"


def _share(value: float) -> str:
    size = 100 * value
    return f"{units.number(size, 1 if size < 10 else 0)} %"


def _years(value: float) -> str:
    if value > 100:
        return "more than 100 years"
    return words.counted(max(round(value), 1), "year")


def _open(comparison: Comparison) -> list[str]:
    houses = len({wall.place.building for wall in comparison.walls})
    own = "this house" if houses == 1 else f"these {words.spelt(houses)} houses"
    parts = plain_open(comparison)
    return [
        *parts,
        f"All of it was seen in {own}. Another wall, another mason or another mix may do otherwise.",
    ]


def _pictures(one: Pictures, address: Callable[[Photo], str]) -> list[Picture]:
    zone = one.allocation.section.building.zone
    return [
        Picture(
            address(photo),
            f"{when}, {dates.day(photo.taken_at.astimezone(zone).date())}: {place(one.allocation)}",
        )
        for when, photo in (("Before", one.before), ("Last seen", one.after))
        if photo is not None
    ]
