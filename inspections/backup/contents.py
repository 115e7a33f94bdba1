"""What a backup holds, and in what order: the stamp, a file of JSON lines for each table, and the photos."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from decimal import Decimal
from graphlib import TopologicalSorter
from typing import Any

from django.apps import apps
from django.db import connection, models
from django.db.migrations.recorder import MigrationRecorder

#: The layout of the file itself; a program reads its own and all earlier ones.
FORMAT = 1
STAMP = "backup.json"
TABLES, MEDIA = "tables/", "media/"
#: The apps whose tables are carried. Sessions are not: people sign in again.
APPS = ("portfolio", "inspections")

Table = type[models.Model]
#: What is being done, and how many of it are done.
Progress = Callable[[str, int], None]


@dataclass(frozen=True, slots=True)
class Stamp:
    """What made a backup, and what is in it: rows by table, and the number of other files."""

    format: int
    program: str
    made_at: str
    migrations: list[str]
    tables: dict[str, int]
    media: int

    def as_json(self) -> dict[str, Any]:
        return asdict(self)


def applied_migrations() -> list[str]:
    """The steps by which this database got its tables, as ``app.step``: what its backup can be put into."""
    applied = MigrationRecorder(connection).applied_migrations()
    return sorted(f"{app}.{step}" for app, step in applied if app in APPS)


def tables() -> list[Table]:
    """All tables that are carried, each after those it points to."""
    carried = {model for app in APPS for model in apps.get_app_config(app).get_models()}
    pointed_to = {
        model: {field.related_model for field in model._meta.concrete_fields if field.is_relation}
        & (carried - {model})
        for model in sorted(carried, key=label)
    }
    return list(TopologicalSorter(pointed_to).static_order())  # type: ignore[arg-type]


def label(table: Table) -> str:
    return table._meta.label_lower


def fields(table: Table) -> list[Any]:
    """The fields whose values are carried: all but those that the database reckons itself."""
    return [field for field in table._meta.concrete_fields if not field.generated]


def columns(table: Table) -> list[str]:
    """The names that a row's values have in the file."""
    return [field.attname for field in fields(table)]


def entry(table: Table) -> str:
    """The name of the table's file."""
    return f"{TABLES}{label(table)}.jsonl"


def as_json(value: object) -> str:
    """What JSON has no word for, as text that the field reads back to the same value."""
    if isinstance(value, dt.datetime | dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, uuid.UUID | Decimal):
        return str(value)
    raise TypeError(f"{type(value).__name__} has no place in a backup")


def missing(wanted: Iterable[str], held: Iterable[str]) -> list[str]:
    return sorted(set(wanted) - set(held))


def quietly(what: str, rows: int) -> None:
    """Progress that nobody watches."""
