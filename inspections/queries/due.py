"""What is due: looks at sections and houses, and papers, each by its own house's calendar."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from inspections.models import Plan, Reading, Visit
from portfolio.models import Building, Change, Organisation, Paper, User
from portfolio.vocabulary import WRITING_ROLES


def today_at(building: Building) -> dt.date:
    """Today at the house."""
    return timezone.now().astimezone(building.zone).date()


def due(organisation: Organisation) -> QuerySet[Plan]:
    """All that is due some day, of houses, sections and papers that stand; in the order of their days."""
    plans: QuerySet[Plan] = Plan.objects.of(organisation)
    return standing(plans).order_by("falls_on", "building__code", "section__code", "id")


def standing(plans: QuerySet[Plan]) -> QuerySet[Plan]:
    """Without those whose house, section or paper was voided since they were reckoned."""
    return plans.filter(
        building__voided_at__isnull=True, section__voided_at__isnull=True, paper__voided_at__isnull=True
    )


def overdue(organisation: Organisation) -> QuerySet[Plan]:
    """Whose day has passed at their house."""
    return due(organisation).filter(falls_within(organisation, -1))


def falls_within(organisation: Organisation, days: int) -> Q:
    """Falls due in so many days at the latest (-1: is overdue), each by its own house's calendar."""
    now = timezone.now()
    zones = Building.objects.of(organisation).order_by().values_list("timezone", flat=True).distinct()
    found = Q(pk__in=[])
    for zone in zones:
        latest = now.astimezone(ZoneInfo(zone)).date() + dt.timedelta(days=days)
        found |= Q(building__timezone=zone, falls_on__lte=latest)
    return found


def by_inspector(initials: str) -> Exists:
    """Whose last look was made by somebody with these initials; of a house or paper: none."""
    return Exists(
        Reading.objects.standing().filter(
            section=OuterRef("section"), visit__day=OuterRef("last_on"), visit__inspector=initials
        )
    )


def rows(organisation: Organisation, building: Building | None = None) -> list[Plan]:
    """All that is due with what a page says of it, in one query."""
    plans = due(organisation).select_related("building", "section", "paper", "person")
    return list(plans if building is None else plans.filter(building=building))


def who_looked(organisation: Organisation, plans: Iterable[Plan]) -> dict[tuple[UUID, dt.date], str]:
    """The initials of who was at each house on the day of a plan's last look, in one query."""
    wanted = {(plan.building_id, plan.last_on) for plan in plans if plan.last_on}
    days = {day for _, day in wanted}
    visits = Visit.objects.of(organisation).standing().filter(day__in=days).exclude(inspector="")
    found: dict[tuple[UUID, dt.date], str] = {}
    for house, day, initials in visits.order_by("inspector").values_list("building_id", "day", "inspector"):
        if (house, day) in wanted:
            found[house, day] = f"{found[house, day]}, {initials}" if (house, day) in found else initials
    return found


def find_plan(organisation: Organisation, pk: UUID) -> Plan | None:
    """The plan, if the organisation has it and its house, section and paper stand."""
    plans = standing(Plan.objects.of(organisation)).select_related("building", "section", "paper", "person")
    return plans.filter(pk=pk).first()


def find_paper(organisation: Organisation, pk: UUID) -> Paper | None:
    """The paper, if the organisation has it and its house stands."""
    papers = Paper.objects.of(organisation).standing().filter(building__voided_at__isnull=True)
    found: Paper | None = papers.select_related("building", "section").filter(pk=pk).first()
    return found


def papers_of(organisation: Organisation, building: Building) -> list[Paper]:
    """The house's papers: those that are open first, by their day."""
    papers = Paper.objects.of(organisation).standing().filter(building=building).select_related("section")
    return sorted(
        papers, key=lambda paper: (paper.closed_on is not None, paper.due_on or dt.date.max, paper.title)
    )


def changes_of(organisation: Organisation, record_id: UUID) -> list[Change]:
    """A record's history, the latest first."""
    return list(Change.objects.of(organisation).filter(record_id=record_id).select_related("by"))


def writers(organisation: Organisation) -> list[User]:
    """Everybody who may write, by name."""
    return list(
        User.objects.filter(memberships__organisation=organisation, memberships__role__in=WRITING_ROLES)
        .order_by("username")
        .distinct()
    )
