"""When each section, house and paper is next due, and why then: computed, and kept as rows."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from inspections.analysis import schedule
from inspections.analysis.results import SectionAssessment
from inspections.analysis.schedule import Due
from inspections.models import Plan
from inspections.queries.plans import HouseKnown, LastLook, as_schedule, known_of, policy_of
from inspections.vocabulary import PlanReason
from portfolio.models import Building, Paper, Section
from portfolio.vocabulary import PaperState

#: The house as a whole, among the names of its sections; no code of a section is empty.
THE_HOUSE = ""


@dataclass(frozen=True, slots=True)
class Look:
    """One look that is due at a house: at a section, or without one at the house as a whole."""

    section: Section | None
    due: Due
    alone_on: dt.date
    last_on: dt.date | None
    minutes: int
    person_id: UUID | None = None


def looks_at(
    houses: Mapping[Building, Mapping[Section, SectionAssessment]], as_of: dt.date
) -> dict[Building, list[Look]]:
    """When houses of one organisation and each of their sections, given with their assessments, are next due.

    By what was known at the end of ``as_of``.
    """
    if not houses:
        return {}
    policy = as_schedule(policy_of(next(iter(houses)).organisation))
    known = known_of({house: list(results) for house, results in houses.items()}, as_of)
    return {house: _looks(policy, known[house], results) for house, results in houses.items()}


def _looks(
    policy: schedule.Policy, known: HouseKnown, results: Mapping[Section, SectionAssessment]
) -> list[Look]:
    own: dict[str, Due] = {}
    last: dict[str, dt.date | None] = {THE_HOUSE: known.last_visit}
    for section, result in results.items():
        forecast = result.forecast
        of_section = replace(
            known.sections[section.pk],
            verdict=result.verdict,
            early=forecast.early if forecast else None,
            expected=forecast.expected if forecast else None,
        )
        own[section.code] = schedule.due(policy, of_section)
        last[section.code] = of_section.last_visit
    own[THE_HOUSE] = schedule.house_due(policy, known.entered_on, known.last_visit, known.events)
    day = {name: one.on for one in schedule.rounds(policy, own, last) for name in one.names}
    by_code: dict[str, Section | None] = {section.code: section for section in results}
    by_code[THE_HOUSE] = None
    return [
        _look(section, Due(day[code], own[code].reason), own[code].on, last[code], known.looks)
        for code, section in by_code.items()
    ]


def _look(
    section: Section | None,
    due: Due,
    alone_on: dt.date,
    last_on: dt.date | None,
    looks: dict[UUID, LastLook],
) -> Look:
    if section is None:
        return Look(None, due, alone_on, last_on, round(schedule.A_HOUSE))
    last = looks.get(section.pk)
    takes = schedule.minutes(last.counts if last else {})
    return Look(section, due, alone_on, last_on, takes, last.person_id if last else None)


def in_step(results: Iterable[SectionAssessment], looks: Iterable[Look]) -> list[SectionAssessment]:
    """The assessments with the day of the plan as their next inspection."""
    days = {look.section.code: look.due.on for look in looks if look.section}
    return [replace(result, next_inspection=days[result.section]) for result in results]


@transaction.atomic
def keep_plans(looks: Mapping[Building, Iterable[Look]]) -> None:
    """Bring the houses' rows in line with what is due; a row that is right already is not touched."""
    wanted = [_row(house, look) for house, own in looks.items() for look in own]
    _keep(Plan.objects.filter(building__in=list(looks)), wanted + _paper_rows(list(looks)))


@transaction.atomic
def plan_papers(building: Building) -> None:
    """Bring the rows of the house's papers in line with them."""
    _keep(Plan.objects.filter(building=building, paper__isnull=False), _paper_rows([building]))


def _row(building: Building, look: Look) -> Plan:
    return Plan(
        building=building,
        section=look.section,
        due_on=look.due.on,
        alone_on=look.alone_on,
        last_on=look.last_on,
        reason=PlanReason(look.due.reason),
        minutes=look.minutes,
        person_id=look.person_id,
    )


def _paper_rows(houses: Sequence[Building]) -> list[Plan]:
    papers = Paper.objects.standing().filter(building__in=houses).exclude(state=PaperState.CLOSED)
    return [
        Plan(
            building_id=paper.building_id,
            section_id=paper.section_id,
            paper=paper,
            due_on=paper.due_on,
            alone_on=paper.due_on,
            reason=PlanReason.PAPER,
            detail=f"{paper.get_kind_display()}: {paper.title}",
        )
        for paper in papers
        if paper.due_on
    ]


#: What follows from the records; who is to go and what was postponed do not.
_COMPUTED = ("due_on", "alone_on", "last_on", "reason", "detail", "minutes")


def _keep(rows: QuerySet[Plan], wanted: list[Plan]) -> None:
    # Held, so that a postponement in the same moment is neither lost nor overwritten.
    known = {_key(plan): plan for plan in rows.select_for_update().order_by("pk")}
    new, changed = [], []
    for want in wanted:
        plan = known.pop(_key(want), None)
        if plan is None:
            new.append(want)
        elif any(getattr(plan, name) != getattr(want, name) for name in _COMPUTED):
            _renew(plan, want)
            changed.append(plan)
    Plan.objects.filter(pk__in=[plan.pk for plan in known.values()]).delete()
    Plan.objects.bulk_create(new)
    Plan.objects.bulk_update(
        changed, (*_COMPUTED, "person", "computed_at", "postponed_to", "postponed_reason")
    )


def _key(plan: Plan) -> tuple[UUID, UUID | None, UUID | None]:
    return plan.building_id, plan.section_id, plan.paper_id


def _renew(plan: Plan, want: Plan) -> None:
    """Give a row its new values. What was postponed ends where the look was made or is now due sooner."""
    settled = want.last_on != plan.last_on or want.due_on < plan.due_on
    if plan.postponed_to and (settled or want.due_on >= plan.postponed_to):
        plan.postponed_to, plan.postponed_reason = None, ""
    for name in _COMPUTED:
        setattr(plan, name, getattr(want, name))
    plan.person_id = plan.person_id or want.person_id
    plan.computed_at = timezone.now()
