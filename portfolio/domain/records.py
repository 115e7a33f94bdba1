"""Entering, correcting and voiding any record that people keep: each with its history, in one transaction.

Values are by the model's fields (`building_id` rather than `building`) and have been checked already; what is
looked at here is what only the whole of the records can tell.
"""

from __future__ import annotations

import uuid
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone

from portfolio.domain.due import ask_for_assessment
from portfolio.domain.history import as_entered, differences, named, note_change
from portfolio.domain.refusals import Conflict, Stale
from portfolio.models import Organisation, Record, User

R = TypeVar("R", bound=Record)


@dataclass(frozen=True, slots=True)
class Kind:
    """What is to be known of a model in order to keep its records."""

    model: type[Record]
    #: The fields that tell one record from another; empty where only the id does.
    key: Sequence[str] = ()
    #: How people call the key.
    key_names: Sequence[str] = ()
    #: Fields that follow from others, so that a difference in them alone is no change.
    following: Collection[str] = frozenset()

    @property
    def noun(self) -> str:
        return str(self.model._meta.verbose_name)


@transaction.atomic
def enter(
    *,
    kind: Kind,
    organisation: Organisation,
    user: User,
    values: Mapping[str, Any],
    record_id: uuid.UUID | None = None,
) -> tuple[Any, bool]:
    """Enter a record; the second value is False where it was entered before, by the same id and values."""
    if record_id is not None and (there := _entered_before(kind, organisation, record_id, values)):
        return there, False
    record = kind.model(id=record_id or uuid.uuid4(), entered_by=user, **values)
    try:
        with transaction.atomic():
            record.save(force_insert=True)
    except IntegrityError:
        # Somebody else may have entered it since; on every engine their row can be seen now.
        if record_id is not None and (there := _entered_before(kind, organisation, record_id, values)):
            return there, False
        _refuse_taken_key(kind, values)
        raise
    ask_for_assessment(record.building_ids())
    return record, True


@transaction.atomic
def correct(
    *, kind: Kind, record: R, organisation: Organisation, user: User, values: Mapping[str, Any], reason: str
) -> R:
    """Give a record new values, unless somebody changed it since it was read. The old ones are kept."""
    _refuse_voided(kind, record)
    changed = {name: value for name, value in values.items() if getattr(record, name) != value}
    if changed.keys() <= set(kind.following):
        _refuse_stale(record)
        return record
    fields = differences(record, changed)
    before = record.building_ids()
    try:
        with transaction.atomic():
            _change(record, changed)
    except IntegrityError:
        _refuse_taken_key(kind, {**{name: getattr(record, name) for name in kind.key}, **values}, record)
        raise
    note_change(record=record, organisation=organisation, user=user, fields=fields, reason=reason)
    record.refresh_from_db()
    ask_for_assessment([*before, *record.building_ids()])
    return record


@transaction.atomic
def void(*, kind: Kind, record: R, organisation: Organisation, user: User, reason: str) -> R:
    """Take a record out of use, with the reason. It and its history stay."""
    _refuse_voided(kind, record)
    new = {"voided_at": timezone.now(), "void_reason": reason}
    fields = differences(record, new)
    _change(record, new)
    note_change(record=record, organisation=organisation, user=user, fields=fields, reason=reason)
    record.refresh_from_db()
    ask_for_assessment(record.building_ids())
    return record


def _change(record: Record, new: Mapping[str, Any]) -> None:
    """Write new values, by a conditional update, so that of two writers one is told."""
    standing = type(record).objects.filter(pk=record.pk, revision=record.revision)
    if not standing.update(revision=F("revision") + 1, changed_at=timezone.now(), **new):
        raise Stale


def _refuse_stale(record: Record) -> None:
    if not type(record).objects.filter(pk=record.pk, revision=record.revision).exists():
        raise Stale


def _refuse_voided(kind: Kind, record: Record) -> None:
    if record.voided_at is not None:
        raise Conflict(f"This {kind.noun} was voided on {record.voided_at:%Y-%m-%d}; it stays as it is.")


def _entered_before(
    kind: Kind, organisation: Organisation, record_id: uuid.UUID, values: Mapping[str, Any]
) -> Record | None:
    """The record with this id, if it was entered with these values; with others it is a conflict."""
    if not kind.model.objects.filter(pk=record_id).exists():
        return None
    record: Record | None = kind.model.objects.of(organisation).filter(pk=record_id).first()
    if record is None:
        raise Conflict("This id is taken; make a new one.")
    compared = {name: value for name, value in values.items() if name not in kind.following}
    if as_entered(record, compared) != named(record, compared):
        raise Conflict(
            f"A {kind.noun} with this id was entered with other values; "
            "correct that one, or make a new id for another."
        )
    return record


def _refuse_taken_key(kind: Kind, values: Mapping[str, Any], besides: Record | None = None) -> None:
    """Say which record has the key already, if that is why the database refused."""
    if not kind.key:
        return
    same = {
        f"{name}__isnull" if values[name] is None else name: True if values[name] is None else values[name]
        for name in kind.key
    }
    found: Record | None = kind.model.objects.filter(**same).first()
    if found is None or found == besides:
        return
    voided = ", voided since" if found.voided_at else ""
    raise Conflict(
        f"There is a {kind.noun} with the same {', '.join(kind.key_names)} already: {found.pk}{voided}."
    )
