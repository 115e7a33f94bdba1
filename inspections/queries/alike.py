"""Sections of one organisation that share a coat and an exposure, with the rates that were found for them."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.db.models import Q

from inspections.models import Assessment, Instrument
from inspections.vocabulary import InstrumentKind
from portfolio.models import Organisation, Section, Treatment
from portfolio.vocabulary import Face, Purpose

#: By section: its area as measured, m², and its current trends.
Rates = dict[UUID, tuple[float | None, dict[str, dict[str, Any]]]]


def rates_of_alike(organisation: Organisation, section: Section, coat: Treatment) -> Rates:
    """Current rates of the sections with a coat like ``coat`` in place and the exposure of ``section``."""
    coats = Treatment.objects.of(organisation).standing()
    alike = coats.filter(
        kind=coat.kind,
        binder=coat.binder,
        removed_on__isnull=True,
        section__adjoins=section.adjoins,
        section__voided_at__isnull=True,
    ).exclude(Q(face=Face.OUTSIDE) | Q(purpose=Purpose.PATCH))
    current = Assessment.objects.of(organisation).filter(current=True, section__in=alike.values("section"))
    columns = ("section", "section__length_m", "section__height_m", "result__trends")
    return {
        key: (length * height if length and height else None, trends or {})
        for key, length, height, trends in current.values_list(*columns)
    }


def moisture_scales(organisation: Organisation) -> int:
    """How many scales the organisation's moisture meters have; numbers of two can't be compared."""
    meters = Instrument.objects.of(organisation).standing().filter(kind=InstrumentKind.MOISTURE_METER)
    return int(meters.values("scale", "minimum", "maximum").distinct().order_by().count())
