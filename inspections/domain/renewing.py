"""Assessing anew what has only grown older: nightly, of the whole portfolio, and in chunks."""

from __future__ import annotations

import datetime as dt
from typing import Final

from django.db.models import Q

from inspections.analysis.assessment import model_version
from inspections.domain.recalibrating import openings_of
from inspections.models import Assessment
from portfolio.domain.due import ask_for_assessment
from portfolio.models import Building, Event, Organisation, Section
from portfolio.vocabulary import EventKind

#: Without a new record a wall's story changes slowly; what changes is asked for when it does. Ours.
OLD: Final = dt.timedelta(days=7)


def ask_for_old_assessments(now: dt.datetime) -> int:
    """Ask for the houses that have not been assessed for a week, or only by another model, or from
    other openings; how many."""
    fresh = Assessment.objects.filter(_of_today(now.date()), current=True, made_at__gt=now - OLD).values(
        "section__building"
    )
    waiting = Building.objects.standing().filter(reassessments__isnull=False).values("pk")
    with_walls = Section.objects.standing().values("building")
    old = Building.objects.standing().filter(pk__in=with_walls).exclude(pk__in=fresh).exclude(pk__in=waiting)
    ids = list(old.values_list("pk", flat=True))
    ask_for_assessment(ids)
    return len(ids)


def _of_today(today: dt.date) -> Q:
    """Assessments of the present model with what their own organisation's openings have taught."""
    openings = Event.objects.standing().filter(kind=EventKind.OPENING).values("building__organisation")
    opened = Organisation.objects.filter(pk__in=openings)
    present = Q(model_version=model_version()) & ~Q(section__building__organisation__in=opened)
    for one in opened:
        version = model_version(openings_of(one).taught(today))
        present |= Q(section__building__organisation=one, model_version=version)
    return present
