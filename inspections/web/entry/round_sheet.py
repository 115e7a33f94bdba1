"""The round sheet: what to look at and read on a visit, wall by wall, with the last values, to be printed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from inspections.models import Plan
from inspections.queries import due as due_queries
from inspections.queries import entry, pages
from inspections.queries.entry import Latest
from inspections.queries.pages import Stretch
from inspections.web.entry import visit
from inspections.web.entry.access import form_page, opened, page
from inspections.web.entry.visits import round_order
from inspections.web.present import cautions, dates, hatches, house, ledger, measuring, portfolio, words
from inspections.web.present import due as due_page
from portfolio.models import Building, Organisation
from portfolio.vocabulary import EventKind

#: Where water comes from, in the order in which one walks round; a box to tick each.
SOURCES = ("gutter", "downpipe", "fall of the paving", "pipes", "window well", "the neighbour’s side")


@dataclass(frozen=True, slots=True)
class Line:
    """One reading to make: what and in which unit, where, and what was read last."""

    what: str
    where: str
    last: str


@dataclass(frozen=True, slots=True)
class Wall:
    """One section on the sheet."""

    name: str
    code: str
    href: str
    why: str
    minutes: str
    verdict: str
    flags: list[str]
    ask: list[str]
    lines: list[Line]


@form_page
def round_sheet(request: HttpRequest, pk: UUID) -> HttpResponse:
    """What is to be read on the house's next round, or on the day that the address names."""
    found = opened(request, pages.find_building, pk)
    building, system = found.record, found.user.units
    today = due_queries.today_at(building)
    plans = due_queries.rows(found.organisation, building)
    looks = [plan for plan in plans if not plan.paper_id]
    day = _day(request, today)
    until = max([day, *([min(plan.falls_on for plan in looks)] if looks else [])])
    now = {plan.section_id: plan for plan in looks if plan.falls_on <= until}
    one = pages.houses(found.organisation, building)[0]
    one.stretches.sort(key=lambda stretch: round_order(stretch.section))
    latest = entry.latest_at_places(found.organisation, building, _end_of(today, building))
    alone = portfolio.walls_with_one_section([one])
    walls = [
        _wall(stretch, now[stretch.section.pk], latest, alone, system, building)
        for stretch in one.stretches
        if stretch.section.pk in now
    ]
    return page(
        request,
        "round",
        found,
        building=building,
        house=words.house_name(building),
        pk=pk,
        day=dates.day(until),
        summary=_summary(walls, now),
        walls=walls,
        house_lines=_lines(latest, None, system, building),
        sources=SOURCES,
        source_check=_source_check(found.organisation, building),
        waiting=[_waits(plan, today) for plan in looks if plan.falls_on > until],
        papers=[_paper(plan, today) for plan in plans if plan.paper_id],
        figures=house.drawn(one, today, system),
        patterns=hatches.definitions(),
        cautions=cautions,
    )


def _day(request: HttpRequest, today: dt.date) -> dt.date:
    """The day that the address names; else today."""
    try:
        return dt.date.fromisoformat(request.GET.get("on", ""))
    except ValueError:
        return today


def _end_of(day: dt.date, building: Building) -> dt.datetime:
    return dt.datetime.combine(day + dt.timedelta(days=1), dt.time(), building.zone)


def _source_check(organisation: Organisation, building: Building) -> str:
    events = pages.building_events(organisation, building)
    checks = [one.happened_on for one in events if one.kind == EventKind.SOURCE_CHECK]
    if not checks:
        return "No look at the sources of water is written down here yet."
    return f"The sources of water were last looked at on {dates.day(max(checks))}."


def _summary(walls: Sequence[Wall], now: dict[UUID | None, Plan]) -> str:
    if not now:
        return "Nothing is due here."
    parts = [words.counted(len(walls), "section")] if walls else []
    parts += ["the house as a whole"] if None in now else []
    takes = due_page.taking(sum(plan.minutes or 0 for plan in now.values()))
    return f"{words.capital(words.listed(parts))}; {takes} on site."


def _wall(
    stretch: Stretch,
    plan: Plan,
    latest: Latest,
    alone: set[tuple[UUID, str]],
    system: str,
    building: Building,
) -> Wall:
    section = stretch.section
    single = (section.building_id, section.wall.strip()) in alone
    advice = stretch.assessment.result["advice"] if stretch.assessment else []
    return Wall(
        name=words.section_name(section, single),
        code=section.code,
        href=reverse("section", args=[section.pk]),
        why=f"Due {dates.day(plan.falls_on)}: {due_page.why(plan)}. {due_page.put_off(plan)}".rstrip(),
        minutes=due_page.taking(plan.minutes) if plan.minutes else "",
        verdict=portfolio.panel(stretch, plan.falls_on).verdict_name,
        flags=ledger.flag_lines(stretch.flags, plan.falls_on),
        ask=[measuring.request(item, system) for item in advice],
        lines=_lines(latest, section.pk, system, building),
    )


def _lines(latest: Latest, section: UUID | None, system: str, building: Building) -> list[Line]:
    rows = visit.asked_rows(latest, section, [], system, building.zone)
    return [
        Line(
            words.capital(words.quantity_name(row.quantity))
            + (f", {row.unit_label}" if row.unit_label else ""),
            row.where,
            row.last.removeprefix("last "),
        )
        for row in rows
        if not row.free
    ]


def _waits(plan: Plan, today: dt.date) -> str:
    return f"{due_page.name_of(plan)}: {dates.day(plan.falls_on, today)}, {due_page.why(plan)}"


def _paper(plan: Plan, today: dt.date) -> tuple[str, str]:
    address = reverse("paper", args=[plan.paper_id])
    return address, f"{words.capital(plan.detail)}, {dates.day(plan.falls_on, today)}"
