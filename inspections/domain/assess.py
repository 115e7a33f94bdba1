"""Assessing an organisation's walls: from the records to stored assessments, flags and plans."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from django.db import transaction
from django.utils import timezone

from inspections.analysis.assessment import assess_building, model_version
from inspections.analysis.results import SectionAssessment
from inspections.domain.flags import settle_flags
from inspections.domain.plans import plan_sections
from inspections.models import Assessment
from inspections.queries.series import building_record
from portfolio.models import Building, Organisation, Section


def assess_organisation(
    organisation: Organisation, *, as_of: dt.date | None = None
) -> Iterator[SectionAssessment]:
    """Assess every section, house by house in order of code, and yield the results.

    With ``as_of`` this is a replay of what was known at the end of that day, and nothing is stored. Without
    it each house is assessed as of its own today, stored, and its flags and plans are settled.
    """
    for building in Building.objects.of(organisation).standing().order_by("code"):
        if as_of is not None:
            yield from _assess(building, organisation, as_of)
        else:
            yield from reassess(building)


def reassess(building: Building) -> list[SectionAssessment]:
    """Assess a house as of its own today, store the results, and settle its flags and plans."""
    today = timezone.now().astimezone(building.zone).date()
    results = _assess(building, building.organisation, today)
    _store(building, results, today)
    return results


def _assess(building: Building, organisation: Organisation, as_of: dt.date) -> list[SectionAssessment]:
    return assess_building(building_record(building), as_of, organisation.failure_threshold)


@transaction.atomic
def _store(building: Building, results: list[SectionAssessment], today: dt.date) -> None:
    sections = {section.code: section for section in Section.objects.standing().filter(building=building)}
    Assessment.objects.filter(section__building=building, current=True).update(current=False)
    rows = [_row(sections[result.section], result) for result in results]
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
    stored = Assessment.objects.filter(section__building=building, current=True).select_related("section")
    settle_flags(list(stored), today)
    plan_sections(building, [(sections[result.section], result) for result in results])


def _row(section: Section, result: SectionAssessment) -> Assessment:
    return Assessment(
        section=section,
        as_of=result.as_of,
        made_at=timezone.now(),
        model_version=model_version(),
        verdict=result.verdict,
        trapped_probability=result.probability["trapped_water"],
        since=result.since,
        next_inspection=result.next_inspection,
        current=True,
        result=result.as_json(),
    )
