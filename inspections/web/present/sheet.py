"""The evidence sheet of a trial: one printed page for an owner or a mason, in words that need no statistics.

The same :class:`Sheet` is laid out as a page (`sheet.html`) and as a PDF (:mod:`sheet_pdf`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from inspections.analysis.comparison_words import amount, learned, plain_open, quoted, why_the_coat
from inspections.analysis.trial_results import Arm, Comparison
from inspections.analysis.trial_walls import LOSS
from inspections.domain.evidence import Cost, Pictures
from inspections.models import Allocation, Photo
from inspections.web.present import dates, units, words
from inspections.web.present.figures import Figure
from inspections.web.present.lasting import area_unit, per_area
from inspections.web.present.trial_drawings import course_of, place
from inspections.web.present.trial_figures import Course, Panel, Paper, coat_on, side_by_side

#: Height of the field of the one panel, px.
TALL = 240.0
#: Years of service are told up to so many times those that the walls were watched; beyond, nobody has seen.
BEYOND = 2.0
CAUTION = "Work on old walls follows the local code and is done by people licensed for it."
INVENTED = "Invented demonstration data. None of these houses, people and readings exists."

_LOSS_NOTE = (
    "Thick: the mean pace of each coat. Thin: the single walls. Upright: share of the coat that sounds "
    "hollow or has fallen; across: years since it was put on. Dashed level line: a coat has failed from "
    "here. A line that ends in an arrow goes on higher."
)
_NOTE = "Each line is one wall; across: years since its coat was put on."

#: A sheet's figure for a paper, its field so many px high.
SheetFigure = Callable[[Paper, float], Figure]


#: To whom a sheet is lent, and until when.
Lent = tuple[str, dt.date] | None


@dataclass(frozen=True, slots=True)
class Picture:
    """A photo on the sheet: the photo, where a page fetches it, and what is said of it."""

    photo: Photo
    href: str
    caption: str


@dataclass(frozen=True, slots=True)
class Headings:
    """What stands over the sheet's parts."""

    pictures: str = "Before and since"
    figure: str = "What came loose or fell"
    pace: str = "How fast, how long, at what cost"
    open: str = "What is not known"


@dataclass(frozen=True, slots=True)
class Sheet:
    """All that the sheet says. ``legend`` names the lines of the figure in their order."""

    title: str
    answer: str
    where: str
    figure: SheetFigure | None
    legend: list[str]
    figure_note: str
    pace: list[str]
    open: list[str]
    pictures: list[tuple[str, list[Picture]]]
    source: str
    headings: Headings = field(default_factory=Headings)


def foot(sheet: Sheet, organisation: str, lent: Lent) -> str:
    """Whose sheet it is, from when, and to whom it was lent until which day."""
    parts = [f"{organisation}, {sheet.source}. {CAUTION}"]
    if lent:
        parts.append(f"Lent to {lent[0]} until {dates.day(lent[1])}.")
    return " ".join(parts)


def present(
    question: str,
    comparison: Comparison,
    allocations: Sequence[Allocation],
    costs: Mapping[str, Cost],
    pictures: Sequence[Pictures],
    address: Callable[[Photo], str],
    system: str,
) -> Sheet:
    """The sheet of a trial; ``address`` says where a photo is fetched by who reads it."""
    loss = comparison.question.outcome == LOSS
    quantity = words.capital(words.quantity_name(comparison.question.outcome))
    return Sheet(
        title=question,
        answer=words.typeset(f"{learned(comparison)} {why_the_coat(comparison)}".rstrip()),
        where=_where(comparison, allocations),
        figure=_figure(comparison),
        legend=[arm.arm for arm in comparison.arms],
        figure_note=_LOSS_NOTE if loss else _NOTE,
        pace=[pace(comparison, arm, costs.get(arm.arm), system) for arm in comparison.arms],
        open=[words.typeset(units.in_units(text, system)) for text in open_points(comparison)],
        pictures=[(quoted(one.arm), _pictures(one, address)) for one in pictures],
        source=f"trial {comparison.question.code}, from what was known on {dates.day(comparison.as_of)}",
        headings=Headings() if loss else Headings(figure=quantity),
    )


def _where(comparison: Comparison, allocations: Sequence[Allocation]) -> str:
    walls = words.counted(len(allocations), "wall")
    houses = words.counted(len({one.section.building_id for one in allocations}), "house")
    lasted = max((wall.years for wall in comparison.walls), default=0.0)
    followed = f", followed for up to {lasted:.0f} years" if lasted >= 1 else ""
    return f"{walls} of {houses}{followed}."


def _figure(comparison: Comparison) -> SheetFigure | None:
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
    told = " ".join(pace(comparison, arm, None, "") for arm in comparison.arms)
    title = "What came loose or fell, by years since the coats went on"
    return lambda paper, field: side_by_side(
        [panel],
        question.outcome,
        question.failed_share,
        replace(paper, columns=1),
        title=title,
        told=told,
        field=field,
    )


def pace(comparison: Comparison, arm: Arm, cost: Cost | None, system: str) -> str:
    """An arm's pace, its years of service and what a year of it costs, in one or two sentences."""
    name = quoted(arm.arm)
    if not arm.sections:
        return f"{name}: no wall has been followed long enough yet."
    if comparison.question.outcome != LOSS:
        changed = units.in_units(amount(comparison, arm.mean), system)
        return words.typeset(f"{name}: changed by {changed} a year on {_walls(arm)}.")
    text = f"{name}: on {_walls(arm)}, {_lost(arm)} of the coat came loose or fell each year"
    if np.isfinite(arm.high):
        low, high = _limits(arm)
        text += f" (between {low} and {high}, allowing for chance)"
    share = comparison.question.failed_share
    watched = max(
        (wall.years for wall in comparison.walls if wall.place.arm == arm.arm and len(wall.time)), default=0.0
    )
    years, soonest, latest = arm.years_until(share)
    tenth = "a tenth of it is" if round(share, 3) == 0.1 else f"{units.number(100 * share, 0)} % of it is"
    seen_to = np.isfinite(years) and years <= BEYOND * watched
    if not np.isfinite(years):
        text += ". Nothing was lost yet, so nobody can say how long it lasts"
    elif not seen_to:
        text += f". At that pace it keeps far longer than the {_years(watched)} that it was watched"
    else:
        text += f". At that pace {tenth} lost after {_years(years)}"
        if np.isfinite(soonest):
            late = f", {_years(latest)} at the latest" if latest <= BEYOND * watched else ""
            text += f" ({_years(soonest)} at the soonest{late})"
    return f"{text}.{_cost(cost, years if seen_to else watched, seen_to, system)}"


def _cost(cost: Cost | None, years: float, seen_to: bool, system: str) -> str:
    """What putting on cost, for a year of the service that was reckoned or, if that was not seen, watched."""
    if cost is None or years < 1:
        return ""
    per, area = cost.per_m2 * per_area(system), area_unit(system)
    money, yearly = (f"{_money(value)} {cost.currency}".rstrip() for value in (per, per / years))
    put_on = f" It cost {money} a {area} to put on ({_counted(cost.walls)}):"
    if seen_to:
        return f"{put_on} {yearly} a {area} and year of that."
    return f"{put_on} {yearly} a {area} for each year so far, and less the longer it keeps."


def _money(value: float) -> str:
    return units.number(value, 0 if value >= 20 else 1 if value >= 1 else 2)


def _lost(arm: Arm) -> str:
    return _percents(arm)[0]


def _limits(arm: Arm) -> tuple[str, str]:
    _, low, high = _percents(arm)
    return low, high


def _percents(arm: Arm) -> list[str]:
    """An arm's mean and its limits, to places that suit them."""
    ends = [100 * end for end in (arm.mean, arm.low, arm.high) if np.isfinite(end)]
    return [f"{said}{units.NO_BREAK}%" for said in units.alike(*ends)]


def _walls(arm: Arm) -> str:
    return _counted(arm.sections)


def _counted(count: int) -> str:
    return f"{words.spelt(count)} wall{'' if count == 1 else 's'}"


def _years(value: float) -> str:
    return words.counted(max(round(value), 1), "year")


def open_points(comparison: Comparison) -> list[str]:
    """What the trial does not tell, a sentence each; the last is true of every trial."""
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
            photo,
            address(photo),
            f"{when}, {dates.day(photo.taken_at.astimezone(zone).date())}: {place(one.allocation)}",
        )
        for when, photo in (("Before", one.before), ("Last seen", one.after))
        if photo is not None
    ]
