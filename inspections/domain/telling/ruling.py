"""What an organisation decides of how its people are told."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.db.models import F

from inspections.models import TellingRules
from portfolio.domain.history import differences, note_change
from portfolio.domain.refusals import Invalid, Stale
from portfolio.models import Organisation, User

FIELDS = (
    "is_on",
    "before_days",
    "before_reach",
    "on_reach",
    "after_days",
    "after_reach",
    "later_days",
    "later_reach",
    "flag_reach",
    "unanswered_days",
    "unanswered_reach",
    "danger_reach",
)
MOST_DAYS = 365


@transaction.atomic
def kept_rules(organisation: Organisation) -> TellingRules:
    """The organisation's rules as a row, made with the usual values where there is none yet."""
    rules, _ = TellingRules.objects.get_or_create(organisation=organisation)
    return rules


@transaction.atomic
def change_rules(
    *, rules: TellingRules, organisation: Organisation, user: User, values: Mapping[str, Any]
) -> TellingRules:
    """Give the rules new values, unless somebody changed them since they were read."""
    changed = {name: value for name, value in values.items() if getattr(rules, name) != value}
    if not changed:
        return rules
    whole = {name: getattr(rules, name) for name in FIELDS} | changed
    if not 0 < whole["after_days"] < whole["later_days"] <= MOST_DAYS:
        raise Invalid([("later_days", f"Say more days than for overdue, and at most {MOST_DAYS}.")])
    fields = differences(rules, changed)
    same = TellingRules.objects.filter(pk=rules.pk, revision=rules.revision)
    if not same.update(**changed, revision=F("revision") + 1):
        raise Stale
    note_change(record=rules, organisation=organisation, user=user, fields=fields)
    rules.refresh_from_db()
    return rules
