"""Putting off a look, with the reason, and saying who is to go."""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from inspections.models import Plan
from inspections.queries.due import today_at
from portfolio.domain.history import differences, note_change
from portfolio.domain.refusals import Conflict, Invalid, Stale
from portfolio.models import Membership, Organisation, User
from portfolio.vocabulary import WRITING_ROLES


@transaction.atomic
def postpone_plan(
    *, plan: Plan, organisation: Organisation, user: User, postponed_to: dt.date, reason: str
) -> Plan:
    """Put a look off to a later day than the one it is due on; the due day itself stays.

    A paper's day is the paper's own and is corrected there.
    """
    if plan.paper_id is not None:
        raise Conflict("A paper’s day is its own; correct the paper where whoever issued it gave more time.")
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


@transaction.atomic
def hand_over(*, plan: Plan, organisation: Organisation, user: User, username: str) -> Plan:
    """Say who is to go: a member who may write."""
    members = Membership.objects.of(organisation).filter(user__username=username, role__in=WRITING_ROLES)
    member = members.first()
    if member is None:
        raise Invalid([("person", "There is no such member who may write; choose another.")])
    new = {"person_id": member.user_id}
    fields = differences(plan, new)
    if fields:
        Plan.objects.filter(pk=plan.pk).update(**new)
        note_change(record=plan, organisation=organisation, user=user, fields=fields)
        plan.refresh_from_db()
    return plan


def _as_filter(values: dict[str, object]) -> dict[str, object]:
    return {
        f"{name}__isnull" if value is None else name: value is None or value for name, value in values.items()
    }
