"""When each section is next due, and why then."""

from __future__ import annotations

from django.utils import timezone

from inspections.analysis.results import SectionAssessment
from inspections.domain.flags import FLAGGED
from inspections.models import Plan
from inspections.vocabulary import PlanReason
from portfolio.models import Building, Section


def plan_sections(building: Building, results: list[tuple[Section, SectionAssessment]]) -> None:
    """Set the due day of each assessed section of ``building``."""
    known = {plan.section_id: plan for plan in Plan.objects.filter(building=building, section__isnull=False)}
    new, changed = [], []
    for section, result in results:
        if result.next_inspection is None:
            continue
        plan = known.get(section.pk)
        reason = _reason(result)
        if plan is None:
            new.append(Plan(building=building, section=section, due_on=result.next_inspection, reason=reason))
        elif (plan.due_on, plan.reason) != (result.next_inspection, reason):
            plan.due_on, plan.reason, plan.computed_at = result.next_inspection, reason, timezone.now()
            changed.append(plan)
    Plan.objects.bulk_create(new)
    Plan.objects.bulk_update(changed, ("due_on", "reason", "computed_at"))


def _reason(result: SectionAssessment) -> PlanReason:
    if not result.trends:
        return PlanReason.FIRST
    if result.verdict in FLAGGED:
        return PlanReason.FLAG
    early = result.forecast.early if result.forecast else None
    if (
        early is not None
        and result.next_inspection is not None
        and (early - result.next_inspection).days < 365
    ):
        return PlanReason.FORECAST
    return PlanReason.POLICY
