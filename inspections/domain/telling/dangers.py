"""Readings that can't wait for the next round: much radon, and a sump that stands still in rising water."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

from django.db.models import QuerySet

from inspections.models import Reading
from inspections.vocabulary import PICOCURIE_PER_LITRE_BQ, Qualifier, Quantity
from portfolio.models import Organisation

#: Bq/m³. US Environmental Protection Agency, A Citizen's Guide to Radon (EPA 402/K-12/002): mend from
#: 4 pCi/L on.
RADON_ACTION: Final = 4.0 * PICOCURIE_PER_LITRE_BQ
#: mm. A rise of the water level that a dip stick shows beyond doubt; ours.
RISE_MM: Final = 10.0
#: Water levels read within so long of the count of starts speak of the same water; ours.
SAME_WATER: Final = dt.timedelta(days=2)
#: Readings of visits longer ago are history by the time they are entered; ours.
FRESH: Final = dt.timedelta(days=14)


def dangerous_readings(organisation: Organisation, now: dt.datetime) -> list[tuple[Reading, dict[str, Any]]]:
    """Fresh readings that are dangerous at once, each with what makes it so."""
    fresh = (
        Reading.objects.of(organisation)
        .standing()
        .filter(visit__day__gte=(now - FRESH).date(), building__voided_at__isnull=True)
        .select_related("building", "section")
    )
    return [*_radon(fresh), *_sumps(fresh)]


def _radon(fresh: QuerySet[Reading]) -> list[tuple[Reading, dict[str, Any]]]:
    # A value that is only an upper bound says nothing of danger.
    high = fresh.filter(quantity=Quantity.RADON, value__gte=RADON_ACTION).exclude(qualifier=Qualifier.BELOW)
    return [(reading, {"danger": "radon", "value": reading.value}) for reading in high]


def _sumps(fresh: QuerySet[Reading]) -> list[tuple[Reading, dict[str, Any]]]:
    """Counts of no start while the water rose: from its first to its last level about that time."""
    still = fresh.filter(quantity=Quantity.SUMP_STARTS, value=0).exclude(qualifier=Qualifier.ABOVE)
    found = []
    for count in still:
        levels = fresh.filter(
            quantity=Quantity.WATER_LEVEL,
            building=count.building_id,
            qualifier=Qualifier.EXACT,
            taken_at__range=(count.taken_at - SAME_WATER, count.taken_at + SAME_WATER),
        )
        by_place: dict[str, list[float]] = {}
        for level in levels.order_by("taken_at"):
            by_place.setdefault(level.point, []).append(level.value)
        rise = max((values[-1] - values[0] for values in by_place.values()), default=0.0)
        if rise >= RISE_MM:
            found.append((count, {"danger": "sump", "rise_mm": rise}))
    return found
