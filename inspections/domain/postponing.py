"""Putting off an inspection, with the reason."""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from inspections.models import Plan
from inspections.queries.due import today_at
from portfolio.domain.history import differences, note_change
from portfolio.domain.refusals import Invalid, Stale
from portfolio.models import Organisation, User


@transaction.atomic
def postpone_plan(
    *, plan: Plan, organisation: Organisation, user: User, postponed_to: dt.date, reason: str
) -> Plan:
    """Put an inspection off to a later day than the one it is due on; the due day itself stays."""
    today = today_at(plan.building)
    if postponed_to <= max(plan.due_on, today):
        raise Invalid([("postponed_to", f"Say a day after {max(plan.due_on, today)}, when it is due.")])
    new = {"postponed_to": postponed_to, "postponed_reason": reason}
    fields = differences(plan, new)
    unchanged = {name: getattr(plan, name) for name in ("due_on", "postponed_to", "postponed_reason")}
    if not Plan.objects.filter(pk=plan.pk, **_as_filter(unchanged)).update(**new):
        raise Stale
    note_change(record=plan, organisation=organisation, user=user, fields=fields, reason=reason)
    plan.refresh_from_db()
    return plan


def _as_filter(values: dict[str, object]) -> dict[str, object]:
    return {
        f"{name}__isnull" if value is None else name: value is None or value for name, value in values.items()
    }
