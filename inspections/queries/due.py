"""What is due: looks at sections and houses, and papers, each by its own house's calendar."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from inspections.models import Plan, Reading
from portfolio.models import Building, Organisation


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
