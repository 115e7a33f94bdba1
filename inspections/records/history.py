"""The old values of what a load corrects: one :class:`Change` for each record."""

from __future__ import annotations

import datetime as dt
import uuid
from decimal import Decimal
from itertools import islice
from typing import Any

from inspections.models import Reading
from inspections.records.rules import Values
from inspections.records.staging import Stage
from inspections.records.visits import Visits
from portfolio.models import Change

CHUNK = 500


def change_stage() -> Stage:
    """Where changes are set down before they become live with the rest."""
    fields = ("organisation_id", "at", "by_id", "model", "record_id", "fields", "reason")
    return Stage(Change, fields, key=())


def stage_changes(changes: Stage, stage: Stage, visits: Visits, constants: Values) -> None:
    """Set down what a load will change in the rows of ``stage``, each with the ``constants``."""
    line = changes.count
    rows = stage.changes()
    while chunk := list(islice(rows, CHUNK)):
        inspectors = _inspectors(chunk, visits) if stage.model is Reading else {}
        for record_id, old, new in chunk:
            line += 1
            values = {
                "id": uuid.uuid4(),
                "model": stage.model._meta.model_name,
                "record_id": record_id,
                "fields": _differences(stage, old, new, inspectors),
            }
            changes.add(line, constants | values)
    changes.flush()


def _differences(
    stage: Stage, old: Values, new: Values, inspectors: dict[uuid.UUID, str]
) -> dict[str, list[Any]]:
    """Field name to its old and new value, as JSON."""
    differences: dict[str, list[Any]] = {
        stage.field(name).name: [_as_json(old[name]), _as_json(new[name])]
        for name in old
        if old[name] != new[name]
    }
    if "visit" in differences:
        names = [inspectors[old["visit_id"]], inspectors[new["visit_id"]]]
        if names[0] != names[1]:
            differences["inspector"] = names
    return differences


def _inspectors(chunk: list[tuple[Any, Values, Values]], visits: Visits) -> dict[uuid.UUID, str]:
    moved = [
        side["visit_id"]
        for _, old, new in chunk
        if "visit_id" in old and old["visit_id"] != new["visit_id"]
        for side in (old, new)
    ]
    return visits.inspectors(set(moved))


def _as_json(value: object) -> object:
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if isinstance(value, uuid.UUID):
        return str(value)
    return value
