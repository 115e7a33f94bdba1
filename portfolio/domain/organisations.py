"""What an owner decides of the organisation itself."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import transaction

from portfolio.domain.due import ask_for_assessment
from portfolio.domain.history import differences, note_change
from portfolio.domain.refusals import Stale
from portfolio.models import Building, Organisation, User


@transaction.atomic
def change_organisation(
    *, organisation: Organisation, user: User, values: Mapping[str, Any], reason: str = ""
) -> Organisation:
    """Change the name, or the affected share at which a coat has failed; houses are then assessed anew."""
    fields = differences(organisation, values)
    if not fields:
        return organisation
    old = {name: getattr(organisation, name) for name in fields}
    if not Organisation.objects.filter(pk=organisation.pk, **old).update(**values):
        raise Stale
    note_change(record=organisation, organisation=organisation, user=user, fields=fields, reason=reason)
    if "failure_threshold" in fields:
        houses = Building.objects.of(organisation).standing()
        ask_for_assessment(houses.values_list("pk", flat=True))
    organisation.refresh_from_db()
    return organisation
