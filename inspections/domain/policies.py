"""Changing how often an organisation looks at its walls."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F

from inspections.models import Policy
from portfolio.domain.due import ask_for_assessment
from portfolio.domain.history import differences, note_change
from portfolio.domain.refusals import Invalid, Stale
from portfolio.models import Building, User

#: So many looks after a new coat, and none later than so many months after it.
MOST_LOOKS, MOST_MONTHS, MOST_DAYS = 12, 120, 366
SEASONS = ("late_winter", "late_summer")
_DAY = re.compile(r"\d\d-\d\d", re.ASCII)
_MONTHS = re.compile(r"\d{1,3}", re.ASCII)


@transaction.atomic
def change_policy(*, policy: Policy, user: User, values: Mapping[str, Any], reason: str = "") -> Policy:
    """Give the policy new values, unless somebody changed it since it was read; all houses are planned anew.

    Raises `Invalid` where a value is none, by its field.
    """
    checked = _checked(values)
    fields = differences(policy, checked)
    if not fields:
        return policy
    _write(policy, {name: value for name, value in checked.items() if name in fields})
    note_change(record=policy, organisation=policy.organisation, user=user, fields=fields, reason=reason)
    houses = Building.objects.of(policy.organisation).standing()
    ask_for_assessment(houses.values_list("pk", flat=True))
    policy.refresh_from_db()
    return policy


def _write(policy: Policy, new: Mapping[str, Any]) -> None:
    """A policy that nobody has changed yet has no row."""
    standing = Policy.objects.filter(pk=policy.pk, revision=policy.revision)
    if not policy._state.adding:
        if not standing.update(revision=F("revision") + 1, **new):
            raise Stale
        return
    for name, value in new.items():
        setattr(policy, name, value)
    policy.revision += 1
    try:
        with transaction.atomic():
            policy.save(force_insert=True)
    except IntegrityError:
        raise Stale from None


def _checked(values: Mapping[str, Any]) -> dict[str, Any]:
    checked, errors = {}, []
    for name, value in values.items():
        try:
            checked[name] = _value(name, value)
        except ValueError as error:
            errors.append((name, str(error)))
    if errors:
        raise Invalid(errors)
    return checked


def _value(name: str, value: Any) -> Any:
    if name in SEASONS:
        return _season(value.strip())
    if name == "new_coat_months":
        return _sequence(value)
    least, most = limits_of(name)
    if not least <= value <= most:
        raise ValueError(f"Write a whole number from {least} to {most}.")
    return value


def limits_of(name: str) -> tuple[int, int]:
    """The least and the greatest value of one of the policy's numbers."""
    return (0, MOST_DAYS) if name.endswith("_days") else (1, MOST_MONTHS)


def _season(text: str) -> str:
    """A day of every year as MM-DD; empty for none."""
    if not text:
        return ""
    try:
        if not _DAY.fullmatch(text):
            raise ValueError
        # 2001 had no 29 February, as most years have none.
        dt.date.fromisoformat(f"2001-{text}")
    except ValueError:
        raise ValueError("Write month and day such as 03-01, or leave it empty.") from None
    return text


def _sequence(text: str) -> str:
    """Months in rising order with commas between; empty for none."""
    parts = [part.strip() for part in text.split(",") if part.strip()]
    months = [int(part) for part in parts if _MONTHS.fullmatch(part)]
    rising = all(1 <= a < b for a, b in zip(months, [*months[1:], MOST_MONTHS + 1], strict=True))
    if len(months) < len(parts) or len(months) > MOST_LOOKS or not rising:
        raise ValueError(
            f"Write rising months such as 1, 3, 6, 12: at most {MOST_LOOKS}, none over {MOST_MONTHS}."
        )
    return ", ".join(map(str, months))
