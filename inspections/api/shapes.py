"""The shape of what is sent, told from the tables' columns and the models' fields for the description."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from django.db import models

from inspections.records.bulk import MOST_ROWS
from inspections.records.entering import ids_of
from inspections.records.rules import VALUE_GIVEN
from inspections.records.tables import Column, Table

ID, REASON = "id", "change_reason"
TEXT = {"type": "string"}
UUID = {"type": "string", "format": "uuid"}
#: A number may be sent as text, to keep the digits as they were written.
NUMBER = {"type": ["number", "string", "null"]}
_OWN_WORDS: Mapping[str, Mapping[str, Any]] = {
    "taken_at": {**TEXT, "description": "ISO 8601; without an offset it is the building's local time."},
    "value": {**NUMBER, "type": ["number", "string"], "description": "As read, in `unit`."},
    "entered_value": {},
}
_OF_THE_CLIENT = {
    **UUID,
    "description": "The client's own UUID, so that a repeat is known; one is made if none is sent.",
}
_WHY = {**TEXT, "maxLength": 500, "description": "Why it is corrected; it stays in the history."}
LOG_VALUES_SCHEMA = {
    "type": "array",
    "minItems": 1,
    "maxItems": MOST_ROWS,
    "items": {
        "type": "object",
        "properties": {"at": _OWN_WORDS["taken_at"], "value": {"type": ["number", "string"]}},
        "required": ["at", "value"],
        "additionalProperties": False,
    },
}


def row_schema(table: Table, action: str) -> dict[str, Any]:
    """The JSON Schema of what is sent to enter (`create`) or correct one record."""
    codes = {column.name: _schema(table, column) for column in table.columns}
    ids = {
        name: {**UUID, "type": ["string", "null"], "description": _instead_of(name)} for name in ids_of(table)
    }
    extra = {ID: _OF_THE_CLIENT} if action == "create" else {ID: UUID, REASON: _WHY}
    schema: dict[str, Any] = {"type": "object", "properties": {**extra, **codes, **ids}}
    if action != "partial_update":
        schema |= _required(table, ids)
    return {**schema, "additionalProperties": False}


def _required(table: Table, ids: Collection[str]) -> dict[str, Any]:
    """What may not be left out; what may be named by id instead of code is required by either name."""
    needed = _needed(table)
    ways = {f"{name}_id": [name] for name in needed if f"{name}_id" in ids}
    if "section_id" in ids and "building" in needed:
        ways |= {"section_id": [name for name in ("building", "section") if name in needed]}
        ways.pop("building_id", None)
    named = {name for names in ways.values() for name in names}
    either = [{"anyOf": [{"required": [way]}, {"required": names}]} for way, names in ways.items()]
    required: dict[str, Any] = {"required": [name for name in needed if name not in named]}
    return {**required, "allOf": either} if either else required


def _needed(table: Table) -> list[str]:
    """The columns that a row may not leave empty, by themselves or by a rule."""
    by_rule = {"value"} if VALUE_GIVEN in table.rules else set()
    return [column.name for column in table.columns if column.required or column.name in by_rule]


def rows_schema(table: Table, most: int) -> dict[str, Any]:
    """The JSON Schema of many rows with the columns of the table's file."""
    row = {
        "type": "object",
        "properties": {column.name: _schema(table, column) for column in table.columns},
        "required": _needed(table),
        "additionalProperties": False,
    }
    return {"type": "array", "items": row, "minItems": 1, "maxItems": most}


def _instead_of(name: str) -> str:
    return "Instead of `section` and `building`." if name == "section_id" else f"Instead of `{name[:-3]}`."


def _schema(table: Table, column: Column) -> dict[str, Any]:
    own = _OWN_WORDS.get(column.name)
    schema = dict(own) if own else _of_field(table.model._meta.get_field(column.fields[0]), column)
    return schema if column.required or column.name == "value" else _or_empty(schema)


def _of_field(field: Any, column: Column) -> dict[str, Any]:
    if isinstance(field, models.ForeignKey):
        return dict(UUID) if column.name.endswith("_id") else dict(TEXT)
    if field.choices:
        return {**TEXT, "enum": [word for word, _ in field.flatchoices if word]}
    if isinstance(field, models.BooleanField):
        return {"type": "boolean"}
    if isinstance(field, models.IntegerField):
        return {"type": "integer"}
    if isinstance(field, models.FloatField):
        return {"type": "number"}
    if isinstance(field, models.DecimalField):
        return {"type": ["number", "string"]}
    if isinstance(field, models.DateField):
        return {**TEXT, "format": "date"}
    longest = {"maxLength": field.max_length} if field.max_length else {}
    return {**TEXT, **longest}


def _or_empty(schema: dict[str, Any]) -> dict[str, Any]:
    """The same, or null for empty."""
    kinds = schema["type"] if isinstance(schema["type"], list) else [schema["type"]]
    words = {"enum": [*schema["enum"], "", None]} if "enum" in schema else {}
    return {**schema, "type": list(dict.fromkeys([*kinds, "null"])), **words}
