"""The history of records: what changed, from which value to which, by whom and why."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any

from portfolio.models import Change, Organisation, Scoped, User

Differences = dict[str, list[Any]]


def as_json(value: object) -> Any:
    """A field's value as the history holds it."""
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if isinstance(value, uuid.UUID):
        return str(value)
    return value


def note_change(
    *, record: Scoped, organisation: Organisation, user: User, fields: Differences, reason: str = ""
) -> None:
    """Write down one change of one record."""
    Change.objects.create(
        organisation=organisation,
        by=user,
        model=str(record._meta.model_name),
        record_id=record.pk,
        fields=fields,
        reason=reason,
    )


def differences(record: Scoped, new: Mapping[str, object]) -> Differences:
    """For each field whose value would change, by its name: the old value and the new one."""
    return {
        _name(record, field): [as_json(getattr(record, field)), as_json(value)]
        for field, value in new.items()
        if getattr(record, field) != value
    }


def as_entered(record: Scoped, fields: Iterable[str]) -> dict[str, Any]:
    """The values that these fields had when the record was entered, as the history holds them."""
    values = {_name(record, field): as_json(getattr(record, field)) for field in fields}
    for change in Change.objects.filter(record_id=record.pk).order_by("-at", "-id"):
        values.update({name: old for name, (old, _) in change.fields.items() if name in values})
    return values


def named(record: Scoped, values: Mapping[str, object]) -> dict[str, Any]:
    """Values by field as the history names and holds them."""
    return {_name(record, field): as_json(value) for field, value in values.items()}


def _name(record: Scoped, field: str) -> str:
    """A field's name, where its column's may be given."""
    return str(record._meta.get_field(field).name)
