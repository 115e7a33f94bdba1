"""Sections of one organisation that share a coat and an exposure, with the rates that were found for them."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from functools import reduce
from operator import or_
from typing import Any
from uuid import UUID

from django.db.models import Q

from inspections.models import Instrument
from inspections.queries.coats import tightest
from inspections.vocabulary import InstrumentKind
from portfolio.models import Organisation, Treatment
from portfolio.vocabulary import Face, Purpose


@dataclass(frozen=True, slots=True)
class Likeness:
    """What sections alike share: a coat's kind and binder, and what lies behind the wall."""

    kind: str
    binder: str
    adjoins: str


@dataclass(frozen=True, slots=True)
class Rated:
    """A section's house, its area as measured, m², and its current trends by quantity."""

    house: UUID
    area: float | None
    trends: dict[str, dict[str, Any]]


def likeness_of(
    organisation: Organisation, sections: Collection[UUID], today: dt.date
) -> dict[UUID, Likeness]:
    """By section what it shares with its like, named by its tightest coat; none where nothing is on it."""
    coats: dict[UUID, list[Treatment]] = defaultdict(list)
    rows = Treatment.objects.of(organisation).standing().filter(section__in=sections)
    for row in rows.select_related("section"):
        coats[row.section_id].append(row)
    found = {}
    for section, own in coats.items():
        likeness = likeness_by(own, own[0].section.adjoins, today)
        if likeness is not None:
            found[section] = likeness
    return found


def likeness_by(treatments: Collection[Treatment], adjoins: str, today: dt.date) -> Likeness | None:
    """What a section with these treatments and that behind it shares with its like."""
    coat = tightest(treatments, today)
    return Likeness(coat.kind, coat.binder, adjoins) if coat else None


def rates_of_alike(
    organisation: Organisation, groups: Collection[Likeness]
) -> dict[Likeness, dict[UUID, Rated]]:
    """Current rates of the sections of each group: with such a coat in place, and that exposure."""
    if not groups:
        return {}
    asked = (Q(kind=one.kind, binder=one.binder, section__adjoins=one.adjoins) for one in groups)
    coats = (
        Treatment.objects.of(organisation).standing().exclude(Q(face=Face.OUTSIDE) | Q(purpose=Purpose.PATCH))
    )
    rows = coats.filter(
        reduce(or_, asked),
        removed_on__isnull=True,
        section__voided_at__isnull=True,
        section__assessments__current=True,
    ).order_by("section")
    found: dict[Likeness, dict[UUID, Rated]] = {one: {} for one in groups}
    for kind, binder, adjoins, section, house, length, height, trends in rows.values_list(*_COLUMNS):
        area = length * height if length and height else None
        found[Likeness(kind, binder, adjoins)][section] = Rated(house, area, trends or {})
    return found


_COLUMNS = (
    "kind",
    "binder",
    "section__adjoins",
    "section",
    "section__building",
    "section__length_m",
    "section__height_m",
    "section__assessments__result__trends",
)


def moisture_scales(organisation: Organisation) -> int:
    """How many scales the organisation's moisture meters have; numbers of two can't be compared."""
    meters = Instrument.objects.of(organisation).standing().filter(kind=InstrumentKind.MOISTURE_METER)
    return int(meters.values("scale", "minimum", "maximum").distinct().order_by().count())
