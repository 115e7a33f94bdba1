"""Checked rows, set down in a temporary table beside the live one until all of them are known to be good.

Temporary tables belong to one connection: nobody else sees or waits for them, and they end with it, so that
a load that dies leaves nothing behind. What is asked of a whole table is asked in one statement.
"""

from __future__ import annotations

from collections.abc import Iterator
from operator import itemgetter
from typing import Any

from django.db import connection, models

from inspections.records.database import (
    adapter,
    checks,
    definition,
    differs,
    execute,
    fetch,
    key_expression,
    on_sqlite,
    quoted,
    temporary_writes,
    write_rows,
)
from inspections.records.faults import SHOWN
from inspections.records.rules import Values
from portfolio.models import Scoped

#: Rows that are held in memory at a time.
BATCH = 5_000


class Stage:
    """The rows that a load brings for one model.

    ``fields`` are the model's fields that the rows hold, ``key`` those that tell one row from another, and
    ``following`` those that change only with others.
    """

    def __init__(
        self,
        model: type[Scoped],
        fields: tuple[str, ...],
        key: tuple[str, ...],
        following: frozenset[str] = frozenset(),
    ) -> None:
        self.model = model
        self.fields = fields
        self.key = key
        self.following = following
        name = model.__name__.lower()
        self.staged = quoted(f"staged_{name}")
        self.matched = quoted(f"matched_{name}")
        self.live = quoted(model._meta.db_table)
        self.count = 0
        #: Every check of the live table holds for the staged rows too.
        self.fully_checked = False
        self._batch: list[list[Any]] = []
        held = ("id", *fields)
        self._values_of = itemgetter(*held)
        adapters = [(place, adapter(self.field(name))) for place, name in enumerate(held, 1)]
        self._adapters = [(place, adapt) for place, adapt in adapters if adapt is not None]

    def field(self, name: str) -> models.Field[Any, Any]:
        """The model's field by its name or its column's."""
        return next(f for f in self.model._meta.concrete_fields if name in (f.name, f.attname))

    def column(self, name: str) -> str:
        return quoted(str(self.field(name).column))

    def driver_value(self, name: str, value: object) -> Any:
        """A value of the field as the database's driver takes it."""
        adapt = adapter(self.field(name))
        return value if adapt is None else adapt(value)

    # Setting down ------------------------

    def create(self) -> None:
        self.drop()
        fields = [self.field(name) for name in ("id", *self.fields)]
        constraints, self.fully_checked = checks(self.model, [field.name for field in fields])
        columns = ", ".join([*map(definition, fields), *constraints])
        execute(f"CREATE TEMPORARY TABLE {self.staged} (line integer NOT NULL PRIMARY KEY, {columns})")
        execute(
            f"CREATE TEMPORARY TABLE {self.matched} (line integer NOT NULL PRIMARY KEY, "
            f"id {self.field('id').db_type(connection)}, revision integer, changed boolean)"
        )

    def drop(self) -> None:
        for table in (self.staged, self.matched):
            execute(f"DROP TABLE IF EXISTS {'temp' if on_sqlite() else 'pg_temp'}.{table}")

    def add(self, line: int, values: Values) -> None:
        row: list[Any] = [line, *self._values_of(values)]
        for place, adapt in self._adapters:
            row[place] = adapt(row[place])
        self._batch.append(row)
        if len(self._batch) >= BATCH:
            self.flush()

    def flush(self) -> None:
        if self._batch:
            columns = ["line", *(str(self.field(name).column) for name in ("id", *self.fields))]
            with temporary_writes():
                write_rows(self.staged, columns, self._batch)
            self.count += len(self._batch)
            self._batch.clear()

    # Asking ------------------------

    def repeated_keys(self) -> tuple[list[tuple[int, int]], int]:
        """The first lines whose key an earlier line has, with that line; and how many there are."""
        key = ", ".join(key_expression(self.field(name), self.column(name)) for name in self.key)
        lines = (
            f"SELECT line, first FROM (SELECT line, MIN(line) OVER (PARTITION BY {key}) AS first "
            f"FROM {self.staged}) AS keyed WHERE line <> first"
        )
        found = fetch(f"{lines} ORDER BY line LIMIT {SHOWN}")
        total = len(found)
        if total == SHOWN:
            total = fetch(f"SELECT COUNT(*) FROM ({lines}) AS repeated")[0][0]
        return [(line, first) for line, first in found], total

    def match(self) -> None:
        """Find the live row of each staged one, and whether it would change."""
        if not on_sqlite():
            execute(f"ANALYZE {self.staged}")
        same = " AND ".join(
            f"{key_expression(self.field(name), 'live.' + self.column(name))} = "
            f"{key_expression(self.field(name), 'staged.' + self.column(name))}"
            for name in self.key
        )
        changed = " OR ".join(
            differs(f"live.{self.column(name)}", f"staged.{self.column(name)}") for name in self.compared
        )
        # CROSS JOIN tells SQLite to walk the staged rows and look each up in the live table's index.
        execute(
            f"INSERT INTO {self.matched} (line, id, revision, changed) "
            f"SELECT staged.line, live.id, live.revision, {changed or 'FALSE'} "
            f"FROM {self.staged} AS staged CROSS JOIN {self.live} AS live WHERE {same}"
        )
        if not on_sqlite():
            execute(f"ANALYZE {self.matched}")

    @property
    def compared(self) -> tuple[str, ...]:
        """The fields in which a difference is a change."""
        return tuple(name for name in self.fields if name not in self.key and name not in self.following)

    def counts(self) -> tuple[int, int, int]:
        """How many staged rows are new, changed and unchanged."""
        matched, changed = fetch(
            f"SELECT COUNT(*), COALESCE(SUM(CASE WHEN changed THEN 1 ELSE 0 END), 0) FROM {self.matched}"
        )[0]
        return self.count - matched, int(changed), matched - int(changed)

    def changes(self) -> Iterator[tuple[Any, Values, Values]]:
        """Each changed live row: its id, its old values and its new ones."""
        fields = [name for name in self.fields if name not in self.key]
        columns = [self.column(name) for name in fields]
        old, new = (", ".join(f"{side}.{column}" for column in columns) for side in ("live", "staged"))
        converters = self._converters(["id", *fields, *fields])
        last = 0
        while True:
            rows = fetch(
                f"SELECT matched.line, live.id, {old}, {new} FROM {self.matched} AS matched "
                f"JOIN {self.staged} AS staged ON staged.line = matched.line "
                f"JOIN {self.live} AS live ON live.id = matched.id "
                f"WHERE matched.changed AND matched.line > %s ORDER BY matched.line LIMIT {BATCH}",
                [last],
            )
            for line, *cells in rows:
                last = line
                id, *values = [convert(cell) for convert, cell in zip(converters, cells, strict=True)]
                half = len(fields)
                yield (
                    id,
                    dict(zip(fields, values[:half], strict=True)),
                    dict(zip(fields, values[half:], strict=True)),
                )
            if len(rows) < BATCH:
                return

    def _converters(self, names: list[str]) -> list[Any]:
        return [self.field(name).to_python for name in names]
