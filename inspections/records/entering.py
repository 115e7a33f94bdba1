"""Entering and correcting one record from a row, checked as a row of its file is.

A row is a mapping from column name to a JSON value. What it belongs to is named by code as in the files, or
by id (`section_id` for `section` and its `building`).
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

from django.db import transaction

from inspections.domain.answers import close_by_action
from inspections.domain.plans import plan_papers
from inspections.models import Action, Instrument, Reading, Trial, Visit
from inspections.records.exporting import as_cell
from inspections.records.faults import Faults
from inspections.records.rows import RowChecker
from inspections.records.rules import Values
from inspections.records.source import as_text
from inspections.records.standing import StandingPlaces
from inspections.records.tables import Table
from portfolio.domain import records
from portfolio.domain.records import Kind
from portfolio.domain.refusals import Invalid
from portfolio.models import Building, Organisation, Paper, Record, Section, User

Row = Mapping[str, object]

#: For each id that may stand for codes: its model, and the columns with the way to their codes.
IDS: dict[str, tuple[type[Record], dict[str, str]]] = {
    "building_id": (Building, {"building": "code"}),
    "section_id": (Section, {"section": "code", "building": "building__code"}),
    "instrument_id": (Instrument, {"instrument": "code"}),
    "trial_id": (Trial, {"trial": "code"}),
}


def kind_of(table: Table) -> Kind:
    """What the domain is to know of the table's records."""
    return Kind(table.model, table.key, table.key_columns, table.following)


def ids_of(table: Table) -> list[str]:
    """The ids that a row of the table may name instead of codes."""
    names = {column.name for column in table.columns}
    return [name for name, (_, columns) in IDS.items() if next(iter(columns)) in names]


def fields_of_rows(table: Table) -> list[str]:
    """All that a row of the table may hold."""
    return [*(column.name for column in table.columns), *ids_of(table)]


@transaction.atomic
def enter_row(
    *, table: Table, organisation: Organisation, user: User, row: Row, record_id: uuid.UUID | None = None
) -> tuple[Any, bool]:
    """Enter a record; the second value is False where it was entered before. Raises a `Refusal`."""
    values = values_of_row(table=table, organisation=organisation, user=user, row=row)
    record, is_new = records.enter(
        kind=kind_of(table), organisation=organisation, user=user, values=values, record_id=record_id
    )
    if is_new:
        _follow(record, organisation, user)
    return record, is_new


def values_of_row(*, table: Table, organisation: Organisation, user: User, row: Row) -> Values:
    """The model's values of a new row, checked; what it lacks is empty. Raises a `Refusal`."""
    return _checked(table, StandingPlaces(organisation), user, _by_codes(table, organisation, row))


@transaction.atomic
def correct_row(
    *,
    table: Table,
    record: Any,
    organisation: Organisation,
    user: User,
    row: Row,
    reason: str = "",
    whole: bool = False,
) -> Any:
    """Correct a record: of the row's columns alone, or where it is ``whole`` of all. Raises a `Refusal`."""
    given = _by_codes(table, organisation, row)
    standing = {} if whole else {column.name: _cell(record, column.path) for column in table.columns}
    values = _checked(table, StandingPlaces(organisation, record), user, {**standing, **given})
    corrected = records.correct(
        kind=kind_of(table),
        record=record,
        organisation=organisation,
        user=user,
        values=values,
        reason=reason,
    )
    _follow(corrected, organisation, user)
    return corrected


@transaction.atomic
def void_record(*, table: Table, record: Any, organisation: Organisation, user: User, reason: str) -> Any:
    """Take a record out of use, with the reason. Raises a `Refusal`."""
    voided = records.void(
        kind=kind_of(table), record=record, organisation=organisation, user=user, reason=reason
    )
    if isinstance(voided, Paper):
        plan_papers(voided.building)
    return voided


def _follow(record: Any, organisation: Organisation, user: User) -> None:
    """What follows at once from a record that was entered or corrected."""
    if isinstance(record, Action):
        close_by_action(action=record, organisation=organisation, user=user)
    if isinstance(record, Paper):
        plan_papers(record.building)


def _by_codes(table: Table, organisation: Organisation, row: Row) -> dict[str, str]:
    """The row's cells as text, with ids replaced by the codes that they stand for."""
    cells = {name: as_text(value) for name, value in row.items() if name not in IDS}
    errors = []
    for name in ids_of(table):
        if name not in row:
            continue
        text, (model, columns) = as_text(row[name]), IDS[name]
        codes = dict.fromkeys(columns, "") if not text else _codes(model, columns, organisation, text)
        if codes is None:
            errors.append((name, f"{text!r} does not exist; mend the id, or enter the record first"))
            continue
        for column, code in codes.items():
            if text and cells.get(column, code) != code:
                errors.append((name, f"names {column} {code!r}, and {column} another; give one of the two"))
            # An id that is empty says nothing of what a wall stands in.
            if text or column == next(iter(columns)):
                cells[column] = code
    if errors:
        raise Invalid(errors)
    return cells


def _codes(
    model: type[Record], columns: Mapping[str, str], organisation: Organisation, text: str
) -> dict[str, str] | None:
    try:
        pk = uuid.UUID(text)
    except ValueError:
        return None
    codes = model.objects.of(organisation).filter(pk=pk).values_list(*columns.values()).first()
    return None if codes is None else dict(zip(columns, codes, strict=True))


def _checked(table: Table, places: StandingPlaces, user: User, row: Mapping[str, str]) -> Values:
    """The model's values of a whole row; what it lacks is empty."""
    faults = Faults()
    columns = [column.name for column in table.columns]
    checker = RowChecker(table, columns, places, faults)
    values = checker.check({name: row.get(name, "") for name in columns}, 1)
    if values is None:
        raise Invalid([(fault.column, fault.problem) for fault in faults.kept])
    if table.model is Reading:
        values["visit_id"] = _visit_id(values, user)
    return {name: values[name] for name in table.fields_of(columns)}


def _visit_id(values: Values, user: User) -> uuid.UUID:
    """The visit that a reading belongs to, entered where it is the first of it."""
    visit, _ = Visit.objects.get_or_create(
        building_id=values["building_id"],
        day=values["day"],
        inspector=values["inspector"],
        defaults={"entered_by": user},
    )
    return visit.pk


def _cell(record: Any, path: str) -> str:
    for step in path.split("__"):
        record = None if record is None else getattr(record, step)
    return as_cell(record)
