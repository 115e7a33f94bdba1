"""Walls that were opened to look: what was measured there, and what had been said of them before."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from uuid import UUID

import numpy as np

from inspections.models import Assessment, Reading, Replay
from inspections.vocabulary import Quantity, Unit
from portfolio.models import Event, Organisation, Section
from portfolio.vocabulary import EventKind

#: Samples are weighed, and mortar probed, up to so many days after the wall was opened.
WEIGHED_WITHIN = 14
_TOTAL = frozenset({Quantity.SURFACE_MOISTURE, Quantity.DEEP_MOISTURE})


@dataclass(frozen=True, slots=True)
class OpenedWall:
    """One opening: the greatest of each measure, NaN where none was made, and the last look before."""

    section: Section
    day: dt.date
    note: str
    moisture: float
    hygroscopic: float
    soft_mm: float
    probability: float | None


def opened_walls(organisation: Organisation) -> list[OpenedWall]:
    """Every standing opening of a section, in time; three queries."""
    events = Event.objects.of(organisation).standing().filter(kind=EventKind.OPENING, section__isnull=False)
    ordered = events.select_related("section__building").order_by("happened_on", "pk")
    found = [(event, event.section) for event in ordered if event.section]
    sections = {section.pk for _, section in found}
    measured = _measured(organisation, sections)
    looks = _looks(organisation, sections)
    return [
        OpenedWall(
            section=section,
            day=event.happened_on,
            note=event.note,
            probability=_before(looks.get(section.pk, []), event.happened_on),
            **_near(measured[section.pk], event.happened_on),
        )
        for event, section in found
    ]


_Measures = list[tuple[dt.date, str, float]]


def _measured(organisation: Organisation, sections: set[UUID]) -> dict[UUID, _Measures]:
    """Weighed moistures, total or at 75 % RH, and depths of soft mortar, by section."""
    readings = Reading.objects.of(organisation).standing().filter(section__in=sections, qualifier="")
    rows = readings.filter(quantity__in=(*_TOTAL, Quantity.HYGROSCOPIC_MOISTURE, Quantity.MORTAR_SOFT_DEPTH))
    found: dict[UUID, _Measures] = defaultdict(list)
    for section, day, quantity, unit, value in rows.order_by().values_list(
        "section", "visit__day", "quantity", "unit", "value"
    ):
        if quantity == Quantity.MORTAR_SOFT_DEPTH:
            found[section].append((day, "soft_mm", value))
        elif quantity == Quantity.HYGROSCOPIC_MOISTURE:
            found[section].append((day, "hygroscopic", value))
        elif unit == Unit.PERCENT_MASS:
            found[section].append((day, "moisture", value))
    return found


def _near(measures: _Measures, day: dt.date) -> dict[str, float]:
    """The greatest of each measure from the day of the opening on."""
    found = {"moisture": np.nan, "hygroscopic": np.nan, "soft_mm": np.nan}
    for measured_on, name, value in measures:
        if 0 <= (measured_on - day).days <= WEIGHED_WITHIN:
            found[name] = float(np.fmax(found[name], value))
    return found


def _looks(organisation: Organisation, sections: set[UUID]) -> dict[UUID, list[dict[str, object]]]:
    kept = Replay.objects.of(organisation).filter(section__in=sections)
    return dict(kept.order_by().values_list("section", "looks"))


def _before(looks: list[dict[str, object]], day: dt.date) -> float | None:
    """The probability of trapped water at the last look before ``day``."""
    before = [look for look in looks if str(look["as_of"]) < day.isoformat()]
    return float(before[-1]["probability"]["trapped_water"]) if before else None  # type: ignore[index]


def current_probabilities(organisation: Organisation) -> list[tuple[Section, float]]:
    """Each standing section with its present probability of trapped water, by building and code."""
    current = Assessment.objects.of(organisation).filter(current=True, section__voided_at__isnull=True)
    rows = current.filter(section__building__voided_at__isnull=True).select_related("section__building")
    ordered = rows.defer("result").order_by("section__building__code", "section__code")
    return [(row.section, row.trapped_probability) for row in ordered]
