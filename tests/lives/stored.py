"""A simulated book put into the database, as the loader would have put it there."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from inspections.models import Reading, Visit
from portfolio.models import Building, Organisation, Section, Treatment
from tests.lives.simulated import Simulated

EPOCH = dt.date(1970, 1, 1)
BINDERS = ("NHL 3.5", "portland_cement", "lime_putty")


def store(book: Simulated, organisation: Organisation, binders: Sequence[str] = BINDERS) -> list[Treatment]:
    """Houses, sections, coats (of each binder in turn) and readings; the coats in the book's order."""
    houses = [
        Building(organisation=organisation, code=f"H{one:05}", timezone="UTC")
        for one in range(int(book.house.max()) + 1)
    ]
    Building.objects.bulk_create(houses)
    coats = book.coats
    sections = [
        Section(
            building=houses[int(house)],
            code=f"S{row:05}",
            substrate="rubble_stone" if row % 2 else "brick",
            length_m=area / 2,
            height_m=2.0,
        )
        for row, (house, area) in enumerate(zip(book.house, coats.area, strict=True))
    ]
    Section.objects.bulk_create(sections, batch_size=2000)
    treatments = [
        Treatment(
            section=section,
            layer=1,
            kind="parge_coat",
            binder=binders[row % len(binders)],
            applied_on=_date(coats.begun[row]),
            found=bool(coats.found[row]),
            removed_on=_date(coats.ended[row]) if coats.removed[row] else None,
            removal_reason=("failed" if coats.failed[row] else "planned") if coats.removed[row] else "",
            cost="400.00",
            currency="EUR",
        )
        for row, section in enumerate(sections)
    ]
    Treatment.objects.bulk_create(treatments, batch_size=2000)
    visits: dict[tuple[int, float], Visit] = {}
    readings = []
    for row, day, hollow, area in zip(
        book.areas.section.tolist(),
        book.areas.day.tolist(),
        book.areas.hollow.tolist(),
        book.areas.low.tolist(),
        strict=True,
    ):
        house = int(book.house[row])
        visit = visits.get((house, day))
        if visit is None:
            visit = visits[house, day] = Visit(building=houses[house], day=_date(day), inspector="GH")
        readings.append(
            Reading(
                building=houses[house],
                section=sections[row],
                visit=visit,
                taken_at=dt.datetime.combine(_date(day), dt.time(10), dt.UTC),
                quantity="hollow_area" if hollow else "spall_area",
                value=area,
                entered_value=str(area),
                unit="m2",
            )
        )
    Visit.objects.bulk_create(visits.values(), batch_size=2000)
    Reading.objects.bulk_create(readings, batch_size=2000)
    return treatments


def _date(day: float) -> dt.date:
    return EPOCH + dt.timedelta(days=int(day))
