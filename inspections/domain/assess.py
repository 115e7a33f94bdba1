"""Assessing an organisation's walls: from the records to stored assessments, flags and plans."""

from __future__ import annotations

import datetime as dt
import logging
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from itertools import chain, groupby
from uuid import UUID, uuid4

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from inspections.analysis.assessment import assess_buildings, model_version
from inspections.analysis.results import SectionAssessment
from inspections.domain.flags import settle_flags
from inspections.domain.plans import in_step, keep_plans, looks_at
from inspections.domain.recalibrating import Openings, ask_the_others, openings_of
from inspections.models import Assessment
from inspections.queries.due import today_at
from inspections.queries.series import records_of, some_at_a_time
from portfolio.models import Building, Organisation, Reassessment, Section

log = logging.getLogger(__name__)

#: What was found of houses, in the order of their sections.
Results = dict[Building, list[SectionAssessment]]


def assess_organisation(
    organisation: Organisation, *, as_of: dt.date | None = None
) -> Iterator[SectionAssessment]:
    """Assess every section, house by house in order of code, and yield the results.

    With ``as_of`` this is a replay of what was known at the end of that day, and nothing is stored. Without
    it each house is assessed as of its own today, stored, and its flags and plans are settled.
    """
    openings = openings_of(organisation)
    standing = Building.objects.of(organisation).standing().select_related("organisation")
    for houses in some_at_a_time(standing.order_by("code")):
        if as_of is None:
            found = reassess_all(houses, openings)
        else:
            found = _planned(_assess(houses, as_of, openings), as_of)
        yield from chain.from_iterable(found[house] for house in houses)


def reassess(building: Building, openings: Openings | None = None) -> list[SectionAssessment]:
    """As :func:`reassess_all`, of one house; ``openings``: its organisation's, where they are at hand."""
    return reassess_all([building], openings or openings_of(building.organisation))[building]


def reassess_all(houses: Collection[Building], openings: Openings) -> Results:
    """Assess houses of one organisation as of their own today, store, and settle their flags and plans.

    Houses whose today is the same are worked on together, and stored in one transaction.
    """
    asked: dict[UUID, list[int]] = {}
    for key, request in Reassessment.objects.filter(building__in=houses).values_list("building", "pk"):
        asked.setdefault(key, []).append(request)
    by_day: dict[dt.date, list[Building]] = {}
    for house in houses:
        by_day.setdefault(today_at(house), []).append(house)
    found: Results = {}
    for today, some in by_day.items():
        results = _assess(some, today, openings)
        found |= _store(results, today, asked, model_version(openings.taught(today)))
    return found


def reassess_due(
    *,
    buildings: Collection[UUID] | None = None,
    asked_before: dt.datetime | None = None,
    most: int | None = None,
) -> int:
    """Assess the houses whose records changed; how many there were.

    ``buildings``: of these alone. ``asked_before``: those alone that have waited since. ``most``: so many.
    """
    asked = Q(reassessments__isnull=False)
    if asked_before is not None:
        asked = Q(reassessments__asked_at__lt=asked_before)
    waiting = Building.objects.standing().filter(asked).distinct()
    if buildings is not None:
        waiting = waiting.filter(pk__in=buildings)
    houses = list(waiting.select_related("organisation").order_by("organisation__slug", "code")[:most])
    known: dict[UUID, Openings] = {}
    for organisation, of_one in groupby(houses, key=lambda house: house.organisation):
        for some in some_at_a_time(of_one):
            try:
                if organisation.pk not in known:
                    known[organisation.pk] = openings_of(organisation)
                reassess_all(some, known[organisation.pk])
            except Exception:
                _one_by_one(some, known.get(organisation.pk))
    for house in houses:
        # What was found where a wall was opened bears on all the organisation's walls.
        openings = known.get(house.organisation_id)
        if openings and house.pk in openings.houses:
            ask_the_others(house.organisation, model_version(openings.taught(today_at(house))))
    Reassessment.objects.filter(building__voided_at__isnull=False).delete()
    return len(houses)


def _one_by_one(houses: Iterable[Building], openings: Openings | None) -> None:
    """One house must not keep the others from being assessed; it goes on waiting."""
    for house in houses:
        try:
            reassess(house, openings)
        except Exception:
            log.exception("Building %s could not be assessed", house.pk)


def _assess(houses: Sequence[Building], as_of: dt.date, openings: Openings) -> Results:
    threshold = houses[0].organisation.failure_threshold
    results = assess_buildings(records_of(houses), as_of, threshold, openings.taught(as_of))
    return dict(zip(houses, results, strict=True))


def _planned(results: Results, as_of: dt.date) -> Results:
    """The results with the next inspection of the plan, without storing any."""
    by_section = _by_section(results)
    looks = looks_at(by_section, as_of)
    return {house: in_step(own.values(), looks[house]) for house, own in by_section.items()}


def _by_section(results: Results) -> dict[Building, dict[Section, SectionAssessment]]:
    """The results by section, without those that were voided since they were read."""
    standing = Section.objects.standing().filter(building__in=list(results))
    by_code = {(section.building_id, section.code): section for section in standing}
    return {
        house: {
            section: result
            for result in own
            if (section := by_code.get((house.pk, result.section))) is not None
        }
        for house, own in results.items()
    }


@transaction.atomic
def _store(results: Results, today: dt.date, asked: Mapping[UUID, list[int]], version: str) -> Results:
    """Store the results, settle flags and plans by them, and take away what ``asked`` for them.

    Of several processes that assess the same house, one stores at a time. Where another has taken away all
    that this one was asked, its results rest on records at least as new, and stand.
    """
    # In one order for all, so that no two processes wait for each other.
    list(Building.objects.select_for_update().filter(pk__in=[house.pk for house in results]).order_by("pk"))
    requests = Reassessment.objects.filter(pk__in=[one for own in asked.values() for one in own])
    waiting = set(requests.values_list("building", flat=True))
    late = {house for house in results if asked.get(house.pk) and house.pk not in waiting}
    requests.filter(building__in=list(results)).delete()
    by_section = _by_section({house: own for house, own in results.items() if house not in late})
    rows = _rows(by_section, today, version)
    # A flag that opens now shortens the plan, whose day the assessments carry; the flag's reference to its
    # assessment is looked at when the transaction ends.
    settle_flags(rows, today)
    looks = looks_at(by_section, today)
    planned = {house: in_step(own.values(), looks[house]) for house, own in by_section.items()}
    for row, result in zip(rows, chain.from_iterable(planned.values()), strict=True):
        row.next_inspection, row.result = result.next_inspection, result.as_json()
    _store_rows(rows)
    keep_plans(looks)
    return planned | _planned({house: results[house] for house in late}, today)


def _store_rows(rows: list[Assessment]) -> None:
    houses = {row.section.building_id for row in rows}
    Assessment.objects.filter(section__building__in=houses, current=True).update(current=False)
    Assessment.objects.bulk_create(
        rows,
        update_conflicts=True,
        unique_fields=("section", "as_of"),
        update_fields=(
            "made_at",
            "model_version",
            "verdict",
            "trapped_probability",
            "since",
            "next_inspection",
            "current",
            "result",
        ),
    )


def _rows(
    results: Mapping[Building, Mapping[Section, SectionAssessment]], today: dt.date, version: str
) -> list[Assessment]:
    """A row for each result; one of the same day keeps its id."""
    before = Assessment.objects.filter(section__building__in=list(results), as_of=today)
    ids = dict(before.values_list("section_id", "pk"))
    return [
        _row(section, result, ids.get(section.pk) or uuid4(), version)
        for own in results.values()
        for section, result in own.items()
    ]


def _row(section: Section, result: SectionAssessment, pk: UUID, version: str) -> Assessment:
    return Assessment(
        id=pk,
        section=section,
        as_of=result.as_of,
        made_at=timezone.now(),
        model_version=version,
        verdict=result.verdict,
        trapped_probability=result.probability["trapped_water"],
        since=result.since,
        next_inspection=result.next_inspection,
        current=True,
        result={"probability": result.probability},
    )
