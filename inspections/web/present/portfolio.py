"""The portfolio in sentences: what needs a person, what is worth a look, what is quiet, what is overdue."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final
from uuid import UUID

from django.urls import reverse
from django.utils.safestring import SafeString

from inspections.models import Plan
from inspections.queries.due import today_at
from inspections.queries.pages import AreaLevel, Areas, House, Stretch, TrialArms
from inspections.vocabulary import AllocatedBy, Verdict
from inspections.web.present import coats, dates, sentences, verdict, walls, words
from inspections.web.present import due as due_page

#: Verdicts that deserve a look though nobody has been called.
_WORTH_A_LOOK: Final = (
    Verdict.TRAPPED_WATER,
    Verdict.WATER_ENTRY,
    Verdict.CONDENSATION,
    Verdict.SURFACE_WEAR,
)
#: So many of each kind have a picture; the page folds the others away.
_PICTURED: Final = 12
_UNFAIR: Final = (AllocatedBy.JUDGEMENT, AllocatedBy.CONVENIENCE)


@dataclass(frozen=True, slots=True)
class Row:
    """One section in a sentence: the name is a link, the rest follows it; and where in its house it is."""

    href: str
    name: str
    picture: SafeString
    verdict: str
    claim: str
    course: str
    flag: str
    due: str
    overdue: bool


@dataclass(frozen=True, slots=True)
class HouseRow:
    """One house: its walls small and to scale, and how it stands in a sentence."""

    href: str
    name: str
    code: str
    where: str
    strip: SafeString
    summary: str


@dataclass(frozen=True, slots=True)
class TrialRow:
    """One trial: the question, the arms, and how the sections got theirs."""

    code: str
    question: str
    arms: str
    allotted: str
    unfair: bool
    dates: str
    href: str


@dataclass(frozen=True, slots=True)
class Overdue:
    """One inspection that should have been made."""

    href: str
    name: str
    due: str
    late: str
    why: str


@dataclass(frozen=True, slots=True)
class Portfolio:
    """Everything the portfolio page says."""

    needed: list[Row]
    worth: list[Row]
    houses: list[HouseRow]
    overdue: list[Overdue]
    trials: list[TrialRow]
    summary: str
    bars: list[tuple[SafeString, str]]


def attention(houses: Iterable[House]) -> tuple[list[Stretch], list[Stretch]]:
    """Sections with an open flag, and those whose verdict is worth a look; the strongest first."""
    every = [stretch for house in houses for stretch in house.stretches]
    flagged = [stretch for stretch in every if stretch.flags]
    worth = [stretch for stretch in every if not stretch.flags and _verdict(stretch) in _WORTH_A_LOOK]
    return sorted(flagged, key=_weakness), sorted(worth, key=_weakness)


def _verdict(stretch: Stretch) -> str:
    return stretch.assessment.verdict if stretch.assessment else Verdict.INSUFFICIENT_DATA


def _told(stretch: Stretch, today: dt.date) -> str:
    """The verdict as the pages tell it."""
    own = _verdict(stretch)
    if stretch.assessment is None or own != Verdict.INSUFFICIENT_DATA:
        return own
    return verdict.shown(stretch.assessment.result, coats.tightest(stretch.treatments, today))


def _weakness(stretch: Stretch) -> tuple[int, float, str]:
    """Sort key: trapped water before the others, then by probability, then by place."""
    if stretch.assessment is None:
        return len(_WORTH_A_LOOK), 0.0, str(stretch.section)
    own = stretch.assessment.verdict
    rank = _WORTH_A_LOOK.index(own) if own in _WORTH_A_LOOK else len(_WORTH_A_LOOK)
    return rank, -stretch.assessment.result["probability"].get(own, 0.0), str(stretch.section)


def present(
    houses: Sequence[House],
    trials: Sequence[TrialArms],
    areas: Areas,
    today: dt.date,
    system: str,
) -> Portfolio:
    """The page's rows. ``areas``: the latest level of each area of each section."""
    alone = walls_with_one_section(houses)
    flagged, worth = attention(houses)
    house_of = {stretch.section.pk: house for house in houses for stretch in house.stretches}
    rows = [
        [
            _row(
                stretch,
                house_of[stretch.section.pk] if i < _PICTURED else None,
                areas.get(stretch.section.pk, {}),
                alone,
                today,
                system,
            )
            for i, stretch in enumerate(group)
        ]
        for group in (flagged, worth)
    ]
    return Portfolio(
        needed=rows[0],
        worth=rows[1],
        houses=[_house_row(house, today) for house in houses],
        overdue=overdue(houses, alone),
        trials=[_trial_row(trial, today) for trial in trials],
        summary=_summary(houses),
        bars=_bars(houses, today),
    )


def walls_with_one_section(houses: Iterable[House]) -> set[tuple[UUID, str]]:
    """(building, wall) of every wall that has but one section, whose code then needs no telling."""
    counts = Counter(
        (s.section.building_id, s.section.wall.strip()) for house in houses for s in house.stretches
    )
    return {key for key, count in counts.items() if count == 1}


def full_name(stretch: Stretch, alone: set[tuple[UUID, str]]) -> str:
    """Such as "North wall, 14 Kiln Row"."""
    section = stretch.section
    single = (section.building_id, section.wall.strip()) in alone
    return f"{words.section_name(section, single)}, {words.house_name(section.building)}"


def _row(
    stretch: Stretch,
    pictured_in: House | None,
    latest: dict[str, AreaLevel],
    alone: set[tuple[UUID, str]],
    today: dt.date,
    system: str,
) -> Row:
    assessment = stretch.assessment
    own = _verdict(stretch)
    coat = coats.tightest(stretch.treatments, today)
    claim = verdict.claim(assessment.result, coat) if assessment else verdict.clause(own, coat)
    levels = coats.levels_since(coat, latest)
    course = sentences.course_sentence(assessment.result, levels, system) if assessment else ""
    # A flag does not flicker with the verdict: where they differ both are said.
    flags = [
        sentences.flag_sentence(flag.state, flag.opened_on, today)
        + ("" if flag.verdict == own else f" It was opened for {words.verdict_name(flag.verdict)}.")
        for flag in stretch.flags
    ]
    return Row(
        href=reverse("section", args=[stretch.section.pk]),
        name=full_name(stretch, alone),
        picture=_place_in(pictured_in, stretch, today) if pictured_in else SafeString(""),
        verdict=own,
        claim=claim,
        course=course,
        flag=" ".join(flags),
        due=sentences.due_sentence(stretch.due, today),
        overdue=stretch.due is not None and stretch.due < today,
    )


def _place_in(house: House, stretch: Stretch, today: dt.date) -> SafeString:
    """The house's walls, small, with the section outlined."""
    drawn = walls.lay_out(
        replace(panel(other, today, linked=False), here=other.section == stretch.section)
        for other in house.stretches
    )
    return walls.draw_strip(drawn, f"Where {stretch.section} is, outlined among the walls of its house")


def _summary(houses: Sequence[House]) -> str:
    sections = sum(len(house.stretches) for house in houses)
    return f"{words.counted(len(houses), 'house')}, {words.counted(sections, 'section')} of wall."


def _bars(houses: Iterable[House], today: dt.date) -> list[tuple[SafeString, str]]:
    """The bars of the verdicts that occur, in the order in which they are told."""
    seen = {_told(stretch, today): _verdict(stretch) for house in houses for stretch in house.stretches}
    names: dict[str, list[str]] = {}
    for told in _SUMMED:
        if told in seen:
            names.setdefault(seen[told], []).append(verdict.name(told))
    return [(walls.bar_swatch(own), " or ".join(told)) for own, told in names.items()]


# Houses ----------------------------------------------------------------------------------------------------


def panel(stretch: Stretch, today: dt.date, linked: bool = True) -> walls.Panel:
    """A section as it is drawn, ``linked`` to its page where the drawing has links."""
    section, own = stretch.section, _verdict(stretch)
    name = verdict.name(_told(stretch, today))
    probability = stretch.assessment.result["probability"].get(own) if stretch.assessment else None
    said = f", {words.in_hundred(probability)}" if probability is not None else ""
    return walls.Panel(
        code=section.code,
        wall=section.wall.strip() or section.code,
        verdict=own,
        verdict_name=name,
        probability=probability,
        start=section.start_m,
        length=section.length_m,
        height=section.height_m,
        below_grade=section.below_grade_m,
        substrate=section.substrate,
        coats=coats.hatch_families(coats.standing(stretch.treatments, today)),
        flagged=bool(stretch.flags),
        href=reverse("section", args=[section.pk]) if linked else "",
        label=f"{section.code}, {name}{said}{', flag open' if stretch.flags else ''}",
    )


def _house_row(house: House, today: dt.date) -> HouseRow:
    building = house.building
    summary = house_summary(house, today)
    drawn = walls.lay_out(panel(stretch, today, linked=False) for stretch in house.stretches)
    name = words.house_name(building)
    parts = [building.street if building.street != name else "", building.locality]
    return HouseRow(
        href=reverse("building", args=[building.pk]),
        name=name,
        code=building.code,
        where=", ".join(part for part in parts if part),
        strip=walls.draw_strip(drawn, f"The walls of {name}, to scale: {summary}")
        if drawn
        else SafeString(""),
        summary=summary,
    )


#: How a count of sections with each verdict is told in a house's summary, in this order.
_SUMMED: Final = {
    Verdict.TRAPPED_WATER: "holding water",
    Verdict.WATER_ENTRY: "letting water in",
    Verdict.CONDENSATION: "sweating",
    Verdict.SURFACE_WEAR: "wearing",
    Verdict.DRYING_OUT: "drying out",
    Verdict.STABLE: "stable",
    verdict.UNDECIDED: "undecided",
    Verdict.INSUFFICIENT_DATA: "with too few readings",
}


def house_summary(house: House, today: dt.date) -> str:
    """Such as "One section holding water, five stable."""
    counts = Counter(_told(stretch, today) for stretch in house.stretches)
    parts = [f"{words.spelt(counts[own])} {told}" for own, told in _SUMMED.items() if counts[own]]
    if not parts:
        return "No sections of wall are entered yet."
    first_count = next(counts[own] for own in _SUMMED if counts[own])
    number, _, rest = parts[0].partition(" ")
    parts[0] = f"{number} {'section' if first_count == 1 else 'sections'} {rest}"
    return words.capital(words.listed(parts)) + "."


# Overdue and trials ----------------------------------------------------------------------------------------


def overdue(houses: Iterable[House], alone: set[tuple[UUID, str]]) -> list[Overdue]:
    """Looks whose day has passed at their house, the longest first."""
    late: list[tuple[dt.date, Overdue]] = []
    for house in houses:
        today = today_at(house.building)
        if house.plan and house.plan.falls_on < today:
            href = reverse("building", args=[house.building.pk])
            name = f"{house.building}, the whole house"
            late.append((house.plan.falls_on, _overdue(house.plan, href, name, today)))
        for stretch in house.stretches:
            if stretch.plan and stretch.plan.falls_on < today:
                href = reverse("section", args=[stretch.section.pk])
                row = _overdue(stretch.plan, href, full_name(stretch, alone), today)
                late.append((stretch.plan.falls_on, row))
    return [row for _, row in sorted(late, key=lambda pair: (pair[0], pair[1].name))]


def _overdue(plan: Plan, href: str, name: str, today: dt.date) -> Overdue:
    due = plan.falls_on
    return Overdue(href, name, dates.day(due, today), dates.span((today - due).days), due_page.why(plan))


def _trial_row(arms: TrialArms, today: dt.date) -> TrialRow:
    trial = arms.trial
    ways = [way for way, _ in arms.allocated_by.most_common()]
    labels = [str(AllocatedBy(way).label) for way in ways]
    unfair = any(way in _UNFAIR for way in ways)
    since = f"since {dates.day(trial.started_on)}" if trial.started_on else ""
    until = f"until {dates.day(trial.planned_end_on)}" if trial.planned_end_on else ""
    return TrialRow(
        code=trial.code,
        question=trial.question or trial.code,
        arms=words.listed(
            [f"{arm} on {words.counted(count, 'section')}" for arm, count in sorted(arms.arms.items())]
        ),
        allotted=f"allotted {words.listed(labels)}" if labels else "no sections allotted yet",
        unfair=unfair,
        dates=" ".join(part for part in (since, until) if part),
        href=reverse("trial", args=[trial.pk]),
    )
