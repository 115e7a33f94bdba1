"""Planning many sections, on the database that ``DATABASE_URL`` names; `storing` starts it."""

from __future__ import annotations

import datetime as dt
from typing import Any

from tests.benchmarks.comparing import Result, Sizes, medians, times_slower

SECTIONS_A_HOUSE = 10
#: It is long enough to be told from the machine's other work.
MOST_REPEATS = 2
TODAY = dt.date(2024, 6, 20)


def run(engine: str, sizes: Sizes) -> Result:
    """The daily run over walls of which nothing changed: what is due is reckoned, and no row is written."""
    from inspections.domain.plans import keep_plans, looks_at
    from inspections.models import Plan

    houses = _houses(sizes.planned)

    def plan() -> None:
        for house, sections, results in houses:
            keep_plans(looks_at({house: dict(zip(sections, results, strict=True))}, TODAY))

    plan()
    kept = set(Plan.objects.values_list("pk", "computed_at"))
    assert len(kept) == sizes.planned + len(houses)
    took = medians({"ours": plan, "bare": lambda: [_rows(house.pk) for house, _, _ in houses]}, sizes.repeats)
    assert set(Plan.objects.values_list("pk", "computed_at")) == kept
    return times_slower(
        f"{engine}: plan {sizes.planned:,} sections of which nothing changed",
        took["ours"],
        "reading the rows that it rests on, house by house",
        took["bare"],
        "none",
    )


def _rows(house: Any) -> list[Any]:
    """The rows of one house as the driver gives them: last readings, events, coats, flags, work and plans."""
    from django.db.models import Max

    from inspections.models import Action, Allocation, Flag, Plan, Reading, Visit
    from portfolio.models import Event, Paper, Treatment

    last = (
        Reading.objects.filter(building=house).order_by().values_list("section").annotate(Max("visit__day"))
    )
    found = dict(last)
    of_last = Reading.objects.filter(building=house, visit__day__in=set(found.values()))
    return [
        found,
        list(of_last.values_list("section", "quantity", "visit__person")),
        list(Visit.objects.filter(building=house).values_list("day")),
        list(Event.objects.filter(building=house).values_list("section", "kind", "happened_on")),
        list(Treatment.objects.filter(section__building=house).values_list("section", "applied_on")),
        list(Flag.objects.filter(section__building=house).values_list("section", "opened_on", "state")),
        list(Allocation.objects.filter(section__building=house).values_list("section", "trial__started_on")),
        list(Action.objects.filter(section__building=house).values_list("section", "follow_up_on")),
        list(Paper.objects.filter(building=house).values_list("pk", "due_on")),
        list(Plan.objects.filter(building=house).values_list("pk", "section", "due_on", "reason")),
    ]


def _houses(planned: int) -> list[tuple[Any, list[Any], list[Any]]]:
    """Houses with their sections, each read twice and with one coat, and with an assessment."""
    from inspections.analysis.results import HYPOTHESES, LogOdds, SectionAssessment
    from inspections.models import Reading, Visit
    from portfolio.models import Building, Organisation, Section, Treatment

    organisation = Organisation.objects.create(slug="planned", name="Planned (invented)")
    count = planned // SECTIONS_A_HOUSE
    buildings = Building.objects.bulk_create(
        Building(organisation=organisation, code=f"H{i:05}", timezone="Europe/Berlin") for i in range(count)
    )
    days = (dt.date(2023, 9, 1), dt.date(2024, 3, 1))
    visits = Visit.objects.bulk_create(
        Visit(building=house, day=day, inspector="GH") for house in buildings for day in days
    )
    sections = Section.objects.bulk_create(
        Section(building=house, code=f"S{i}") for house in buildings for i in range(SECTIONS_A_HOUSE)
    )
    Treatment.objects.bulk_create(
        Treatment(section=section, layer=1, applied_on=dt.date(2015, 5, 1), kind="parge_coat")
        for section in sections
    )
    of_house = {house.pk: visits[2 * i : 2 * i + 2] for i, house in enumerate(buildings)}
    Reading.objects.bulk_create(
        Reading(
            building_id=section.building_id,
            section=section,
            visit=visit,
            taken_at=dt.datetime.combine(visit.day, dt.time(12), dt.UTC),
            quantity=quantity,
            value=40.0,
            entered_value="40",
            unit=unit,
        )
        for section in sections
        for visit in of_house[section.building_id]
        for quantity, unit in (("surface_moisture", "relative"), ("hollow_area", "m2"))
    )
    probability = dict.fromkeys(HYPOTHESES, 1 / len(HYPOTHESES))
    odds = LogOdds("water_entry", 0.0, 0.0)

    def assessed(house: Any, section: Any) -> SectionAssessment:
        return SectionAssessment(
            house.code, section.code, TODAY, "stable", probability, odds, None, (), {}, None, (), None
        )

    found = []
    for i, house in enumerate(buildings):
        own = sections[i * SECTIONS_A_HOUSE : (i + 1) * SECTIONS_A_HOUSE]
        found.append((house, own, [assessed(house, section) for section in own]))
    return found
