"""Assessing an organisation's walls: from the records to stored assessments, flags and plans."""

from __future__ import annotations

import datetime as dt
import logging
from collections.abc import Collection, Iterator
from uuid import UUID, uuid4

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from inspections.analysis.assessment import assess_building, model_version
from inspections.analysis.results import SectionAssessment
from inspections.domain.flags import settle_flags
from inspections.domain.plans import in_step, keep_plans, looks_at
from inspections.domain.recalibrating import Openings, ask_the_others, openings_of
from inspections.models import Assessment
from inspections.queries.due import today_at
from inspections.queries.series import building_record
from portfolio.models import Building, Organisation, Reassessment, Section

log = logging.getLogger(__name__)


def assess_organisation(
    organisation: Organisation, *, as_of: dt.date | None = None
) -> Iterator[SectionAssessment]:
    """Assess every section, house by house in order of code, and yield the results.

    With ``as_of`` this is a replay of what was known at the end of that day, and nothing is stored. Without
    it each house is assessed as of its own today, stored, and its flags and plans are settled.
    """
    openings = openings_of(organisation)
    for building in Building.objects.of(organisation).standing().order_by("code"):
        if as_of is not None:
            yield from _planned(building, _assess(building, organisation, as_of, openings), as_of)
        else:
            yield from reassess(building, openings)


def reassess(building: Building, openings: Openings | None = None) -> list[SectionAssessment]:
    """Assess a house as of its own today, store the results, and settle its flags and plans.

    ``openings``: its organisation's, where they are at hand.
    """
    openings = openings or openings_of(building.organisation)
    asked = list(Reassessment.objects.filter(building=building).values_list("pk", flat=True))
    today = today_at(building)
    results = _assess(building, building.organisation, today, openings)
    version = model_version(openings.taught(today))
    return _store(building, results, today, asked, version)


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
    for house in houses:
        try:
            if house.organisation_id not in known:
                known[house.organisation_id] = openings_of(house.organisation)
            reassess(house, known[house.organisation_id])
        except Exception:
            # One house must not keep the others from being assessed; it goes on waiting.
            log.exception("Building %s could not be assessed", house.pk)
    for house in houses:
        # What was found where a wall was opened bears on all the organisation's walls.
        openings = known.get(house.organisation_id)
        if openings and house.pk in openings.houses:
            ask_the_others(house.organisation, model_version(openings.taught(today_at(house))))
    Reassessment.objects.filter(building__voided_at__isnull=False).delete()
    return len(houses)


def _assess(
    building: Building, organisation: Organisation, as_of: dt.date, openings: Openings
) -> list[SectionAssessment]:
    taught = openings.taught(as_of)
    return assess_building(building_record(building), as_of, organisation.failure_threshold, taught)


def _planned(building: Building, results: list[SectionAssessment], as_of: dt.date) -> list[SectionAssessment]:
    """The results with the next inspection of the plan, without storing any."""
    return in_step(results, looks_at(building, _sections(building, results), results, as_of))


def _sections(building: Building, results: list[SectionAssessment]) -> list[Section]:
    by_code = {section.code: section for section in Section.objects.standing().filter(building=building)}
    return [by_code[result.section] for result in results]


@transaction.atomic
def _store(
    building: Building, results: list[SectionAssessment], today: dt.date, asked: list[int], version: str
) -> list[SectionAssessment]:
    """Store the results, settle flags and plans by them, and take away what ``asked`` for them.

    Of several processes that assess the same house, one stores at a time. Where another has taken away all
    that this one was asked, its results rest on records at least as new, and stand.
    """
    Building.objects.select_for_update().get(pk=building.pk)
    taken, _ = Reassessment.objects.filter(pk__in=asked).delete()
    if asked and not taken:
        return _planned(building, results, today)
    sections = _sections(building, results)
    rows = _rows(sections, results, version)
    # A flag that opens now shortens the plan, whose day the assessments carry; the flag's reference to its
    # assessment is looked at when the transaction ends.
    settle_flags(rows, today)
    looks = looks_at(building, sections, results, today)
    planned = in_step(results, looks)
    for row, result in zip(rows, planned, strict=True):
        row.next_inspection, row.result = result.next_inspection, result.as_json()
    _store_rows(building, rows)
    keep_plans(building, looks)
    return planned


def _store_rows(building: Building, rows: list[Assessment]) -> None:
    Assessment.objects.filter(section__building=building, current=True).update(current=False)
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


def _rows(sections: list[Section], results: list[SectionAssessment], version: str) -> list[Assessment]:
    """A row for each result; one of the same day keeps its id."""
    days = {result.as_of for result in results}
    before = Assessment.objects.filter(section__in=sections, as_of__in=days)
    ids = {(section, as_of): pk for section, as_of, pk in before.values_list("section_id", "as_of", "pk")}
    return [
        _row(section, result, ids.get((section.pk, result.as_of)) or uuid4(), version)
        for section, result in zip(sections, results, strict=True)
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
        result=result.as_json(),
    )
