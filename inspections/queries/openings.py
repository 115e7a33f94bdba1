"""Walls that were opened to look: what was measured there, and what had been said of them before."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import numpy as np
from django.db.models import Q

from inspections.analysis.openings import finding
from inspections.models import Assessment, Replay
from inspections.vocabulary import Quantity, Unit
from portfolio.models import Event, Organisation, Section
from portfolio.vocabulary import EventKind

#: Samples are weighed, and mortar probed, up to so many days after the wall was opened.
WEIGHED_WITHIN = 14
_TOTAL = frozenset({Quantity.SURFACE_MOISTURE, Quantity.DEEP_MOISTURE})
#: What else is measured of an opened wall.
_MEASURE = {Quantity.HYGROSCOPIC_MOISTURE: "hygroscopic", Quantity.MORTAR_SOFT_DEPTH: "soft_mm"}


_Measures = list[tuple[dt.date, str, float]]


@dataclass(frozen=True, slots=True)
class OpenedWall:
    """One opening: what was measured there, and the probability of trapped water at the last look before.

    ``probability`` is what was said, ``alone`` what the model alone said; None where nobody had looked back.
    """

    section: Section
    day: dt.date
    note: str
    measures: _Measures
    probability: float | None
    alone: float | None

    def held(self, until: dt.date = dt.date.max) -> bool | None:
        """Whether it held water, by the greatest of each measure of up to ``until``; None: nothing tells."""
        found = {"moisture": np.nan, "hygroscopic": np.nan, "soft_mm": np.nan}
        for measured_on, name, value in self.measures:
            if measured_on <= until and 0 <= (measured_on - self.day).days <= WEIGHED_WITHIN:
                found[name] = float(np.fmax(found[name], value))
        return finding(**found)


def opened_walls(organisation: Organisation) -> list[OpenedWall]:
    """Every standing opening of a section, in time; three queries, one where there is none."""
    events = Event.objects.of(organisation).standing().filter(kind=EventKind.OPENING, **_STANDING)
    ordered = events.select_related("section__building").order_by("happened_on", "pk")
    found = [(event, event.section) for event in ordered if event.section]
    if not found:
        return []
    sections = {section.pk for _, section in found}
    measured = _measured(organisation, sections)
    looks = _looks(organisation, sections)
    return [
        OpenedWall(
            section=section,
            day=event.happened_on,
            note=event.note,
            measures=measured[section.pk],
            **_before(*looks.get(section.pk, ([], [])), event.happened_on),
        )
        for event, section in found
    ]


#: Of walls and houses that stand.
_STANDING = {"section__voided_at__isnull": True, "section__building__voided_at__isnull": True}


def _measured(organisation: Organisation, sections: set[UUID]) -> dict[UUID, _Measures]:
    """Weighed moistures, total or at 75 % RH, and depths of soft mortar, by section."""
    # From the sections to their readings: the other way the database would go through all of its houses'.
    own = Section.objects.of(organisation).filter(
        Q(readings__quantity__in=_TOTAL, readings__unit=Unit.PERCENT_MASS)
        | Q(readings__quantity__in=tuple(_MEASURE)),
        pk__in=sections,
        readings__voided_at=None,
        readings__qualifier="",
    )
    columns = ("pk", "readings__visit__day", "readings__quantity", "readings__value")
    found: dict[UUID, _Measures] = defaultdict(list)
    for section, day, quantity, value in own.order_by().values_list(*columns):
        found[section].append((day, _MEASURE.get(quantity, "moisture"), value))
    return found


_Looks = tuple[list[dict[str, Any]], list[dict[str, Any]]]


def _looks(organisation: Organisation, sections: set[UUID]) -> dict[UUID, _Looks]:
    kept = Replay.objects.of(organisation).filter(section__in=sections)
    rows = kept.order_by().values_list("section", "looks", "alone")
    return {section: (looks, alone) for section, looks, alone in rows}


def _before(
    looks: list[dict[str, Any]], alone: list[dict[str, Any]], day: dt.date
) -> dict[str, float | None]:
    """The probability of trapped water at the last look before ``day``: as said, and by the model alone."""
    before = [i for i, look in enumerate(looks) if str(look["as_of"]) < day.isoformat()]
    if not before:
        return {"probability": None, "alone": None}
    said = looks[before[-1]]
    plain = alone[before[-1]] if len(alone) == len(looks) else said
    return {
        name: float(look["probability"]["trapped_water"])
        for name, look in (("probability", said), ("alone", plain))
    }


def current_probabilities(organisation: Organisation) -> list[tuple[Section, float]]:
    """Each standing section with its present probability of trapped water, by building and code."""
    current = Assessment.objects.of(organisation).filter(current=True, section__voided_at__isnull=True)
    rows = current.filter(section__building__voided_at__isnull=True).select_related("section__building")
    ordered = rows.defer("result").order_by("section__building__code", "section__code")
    return [(row.section, row.trapped_probability) for row in ordered]
