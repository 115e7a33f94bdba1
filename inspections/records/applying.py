"""What was staged becomes live, in one short transaction of a few statements."""

from __future__ import annotations

import datetime as dt
from typing import Any

from inspections.records.database import checked_before, execute, quoted
from inspections.records.staging import Stage
from portfolio.models import User


class Overtaken(Exception):
    """Somebody changed the records between the check and the apply; the load must be checked again."""


def insert_new(stage: Stage, user: User | None, now: dt.datetime, new: int) -> None:
    """Copy the staged rows that match no live one."""
    if not new:
        return
    fields = ["id", *stage.fields]
    constants = _constants(stage, user, now)
    columns = ", ".join([*(stage.column(name) for name in fields), *map(quoted, constants)])
    staged = ", ".join([*(f"staged.{stage.column(name)}" for name in fields), *["%s"] * len(constants)])
    matched = f"SELECT 1 FROM {stage.matched} AS matched WHERE matched.line = staged.line"
    unmatched = "" if new == stage.count else f"WHERE NOT EXISTS ({matched})"
    with checked_before(stage.fully_checked):
        inserted = execute(
            f"INSERT INTO {stage.live} ({columns}) "
            f"SELECT {staged} FROM {stage.staged} AS staged {unmatched} ORDER BY staged.line",
            list(constants.values()),
        )
    if inserted != new:
        raise Overtaken


def _constants(stage: Stage, user: User | None, now: dt.datetime) -> dict[str, Any]:
    """Column to driver value, for the fields that the rows do not bring."""
    given = {"entered_at": now, "changed_at": now, "entered_by": user.pk if user else None}
    constants: dict[str, Any] = {}
    for field in stage.model._meta.concrete_fields:
        if field.attname not in ("id", *stage.fields):
            value = given[field.name] if field.name in given else field.get_default()
            constants[str(field.column)] = stage.driver_value(field.name, value)
    return constants


def update_changed(stage: Stage, now: dt.datetime, changed: int) -> None:
    """Write the changed values over the live ones, unless somebody else has changed those rows since."""
    if not changed:
        return
    fields = [name for name in stage.fields if name not in stage.key]
    values = ", ".join(f"{stage.column(name)} = staged.{stage.column(name)}" for name in fields)
    updated = execute(
        f"UPDATE {stage.live} SET {values}, revision = {stage.live}.revision + 1, changed_at = %s "
        f"FROM {stage.matched} AS matched, {stage.staged} AS staged "
        f"WHERE matched.changed AND staged.line = matched.line "
        f"AND {stage.live}.id = matched.id AND {stage.live}.revision = matched.revision",
        [stage.driver_value("changed_at", now)],
    )
    if updated != changed:
        raise Overtaken
