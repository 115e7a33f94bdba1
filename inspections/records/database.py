"""The few things that SQLite and PostgreSQL say differently, and fast writing into a temporary table."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager
from functools import lru_cache, partial
from typing import Any

from django.db import connection, models, transaction

Adapter = Callable[[Any], Any]
#: Memory for SQLite's pages while much is inserted into several indexes at once, in KiB.
APPLY_CACHE_KIB = 64_000


def on_sqlite() -> bool:
    return connection.vendor == "sqlite"


def quoted(name: str) -> str:
    return connection.ops.quote_name(name)


def execute(sql: str, parameters: Sequence[Any] = ()) -> int:
    """Run one statement; the number of rows that it changed."""
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        return int(cursor.rowcount)


def fetch(sql: str, parameters: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
    """All rows of a query that gives few."""
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        return list(cursor.fetchall())


def differs(one: str, other: str) -> str:
    """A condition under which NULL equals NULL."""
    return f"{one} IS NOT {other}" if on_sqlite() else f"{one} IS DISTINCT FROM {other}"


def key_expression(field: models.Field[Any, Any], column: str) -> str:
    """A key's column as in the model's unique index, where empty equals empty.

    It is written out as the index has it, so that SQLite finds that index.
    """
    if not field.null:
        return column
    if field.is_relation:
        nothing = "'" + uuid.UUID(int=0).hex + "'" + ("" if on_sqlite() else "::uuid")
    else:
        nothing = "-1.0" if isinstance(field, models.FloatField) else "-1"
    return f"COALESCE({column}, {nothing})"


def adapter(field: models.Field[Any, Any]) -> Adapter | None:
    """How a value of ``field`` is handed to the driver; None where it goes as it is."""
    target = field.target_field if isinstance(field, models.ForeignKey) else field
    if isinstance(target, models.UUIDField):
        # What is pointed to is pointed to by many rows; a row's own id is its own.
        return (_hex if target is field else lru_cache(maxsize=20_000)(_hex)) if on_sqlite() else None
    if isinstance(target, models.DateTimeField):
        return _utc_text if on_sqlite() else None
    if isinstance(target, models.DateField | models.DecimalField):
        return lru_cache(maxsize=20_000)(
            partial(target.get_db_prep_value, connection=connection, prepared=False)
        )
    if isinstance(target, models.JSONField):
        return partial(target.get_db_prep_value, connection=connection, prepared=False)
    return None


def definition(field: models.Field[Any, Any]) -> str:
    """A column of a temporary table as the model's table has it, its own check included."""
    parameters = field.db_parameters(connection)
    check = f" CHECK ({parameters['check']})" if parameters["check"] else ""
    return f"{quoted(str(field.column))} {parameters['type']}{check}"


def checks(model: type[models.Model], columns: Collection[str]) -> tuple[list[str], bool]:
    """The model's check constraints that need these columns alone, in SQL, and whether those are all."""
    constraints = [c for c in model._meta.constraints if isinstance(c, models.CheckConstraint)]
    # Only for what it knows of quoting; it is not entered and changes nothing.
    editor = connection.schema_editor(collect_sql=True)
    apt = [
        c
        for c in constraints
        if isinstance(c.condition, models.Q) and c.condition.referenced_base_fields <= set(columns)
    ]
    return [str(c.constraint_sql(model, editor)) for c in apt], len(apt) == len(constraints)


@contextmanager
def checked_before(so: bool) -> Iterator[None]:
    """Spare SQLite the checks of rows that have passed the same ones already.

    They are half the work of an insert, and while it lasts nobody else can write.
    """
    if not (so and on_sqlite()):
        yield
        return
    execute("PRAGMA ignore_check_constraints = ON")
    try:
        yield
    finally:
        execute("PRAGMA ignore_check_constraints = OFF")


def _hex(value: uuid.UUID | None) -> str | None:
    return None if value is None else value.hex


def _utc_text(value: dt.datetime | None) -> str | None:
    """A time as Django keeps it in SQLite, without asking it anew for every row."""
    return None if value is None else value.astimezone(dt.UTC).replace(tzinfo=None).isoformat(" ")


def write_rows(table: str, columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    """Add rows of driver values to a temporary table."""
    names = ", ".join(map(quoted, columns))
    with connection.cursor() as cursor:
        if on_sqlite():
            places = ", ".join(["%s"] * len(columns))
            cursor.executemany(f"INSERT INTO {table} ({names}) VALUES ({places})", rows)
        else:
            with connection.wrap_database_errors, cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)


@contextmanager
def temporary_writes() -> Iterator[None]:
    """One transaction for writes to temporary tables, which makes nobody wait.

    Django would begin an immediate one, that locks the whole of an SQLite file; a deferred one locks it only
    when a table that lasts is written to. PostgreSQL needs none.
    """
    if connection.in_atomic_block or not on_sqlite():
        yield
        return
    execute("BEGIN DEFERRED")
    try:
        yield
    except BaseException:
        execute("ROLLBACK")
        raise
    execute("COMMIT")


@contextmanager
def snapshot() -> Iterator[None]:
    """Reads that all see the records of one moment, and make no writer wait."""
    if connection.in_atomic_block:
        yield
    elif on_sqlite():
        execute("BEGIN DEFERRED")
        try:
            yield
        finally:
            execute("ROLLBACK")
    else:
        with transaction.atomic():
            execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            yield


@contextmanager
def wide_cache() -> Iterator[None]:
    """More memory for SQLite's pages, for as long as it lasts."""
    if not on_sqlite():
        yield
        return
    usual = fetch("PRAGMA cache_size")[0][0]
    execute(f"PRAGMA cache_size = {-APPLY_CACHE_KIB}")
    try:
        yield
    finally:
        execute(f"PRAGMA cache_size = {usual}")
