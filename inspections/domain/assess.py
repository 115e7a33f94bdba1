"""Assessing an organisation's walls: from the records to stored assessments, flags and plans."""

from __future__ import annotations

import datetime as dt
import logging
from collections.abc import Iterator

from django.db import transaction
from django.utils import timezone

from inspections.analysis.assessment import assess_building, model_version
from inspections.analysis.results import SectionAssessment
from inspections.domain.flags import settle_flags
from inspections.domain.plans import plan_sections
from inspections.models import Assessment
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
    for building in Building.objects.of(organisation).standing().order_by("code"):
        if as_of is not None:
            yield from _assess(building, organisation, as_of)
        else:
            yield from reassess(building)


def reassess(building: Building) -> list[SectionAssessment]:
    """Assess a house as of its own today, store the results, and settle its flags and plans."""
    asked = list(Reassessment.objects.filter(building=building).values_list("pk", flat=True))
    today = timezone.now().astimezone(building.zone).date()
    results = _assess(building, building.organisation, today)
    _store(building, results, today, asked)
    return results


def reassess_due(*, building: Building | None = None) -> int:
    """Assess the houses whose records changed (or this one, if its did); how many there were."""
    waiting = Building.objects.standing().filter(reassessments__isnull=False).distinct()
    if building is not None:
        waiting = waiting.filter(pk=building.pk)
    houses = list(waiting.select_related("organisation").order_by("organisation__slug", "code"))
    for house in houses:
        try:
            reassess(house)
        except Exception:
            # One house must not keep the others from being assessed; it goes on waiting.
            log.exception("Building %s could not be assessed", house.pk)
    Reassessment.objects.filter(building__voided_at__isnull=False).delete()
    return len(houses)


def _assess(building: Building, organisation: Organisation, as_of: dt.date) -> list[SectionAssessment]:
    return assess_building(building_record(building), as_of, organisation.failure_threshold)


@transaction.atomic
def _store(building: Building, results: list[SectionAssessment], today: dt.date, asked: list[int]) -> None:
    """Store the results and take away what ``asked`` for them.

    Of several processes that assess the same house, one stores at a time. Where another has taken away all
    that this one was asked, its results rest on records at least as new, and stand.
    """
    Building.objects.select_for_update().get(pk=building.pk)
    taken, _ = Reassessment.objects.filter(pk__in=asked).delete()
    if asked and not taken:
        return
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
