"""Values of data loggers, set down in a temporary table and applied to their series at once."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator
from functools import lru_cache
from typing import Any

from django.db import connection, models

from inspections.models import LogValue
from inspections.records.applying import Overtaken
from inspections.records.database import (
    adapter,
    definition,
    execute,
    fetch,
    on_sqlite,
    quoted,
    temporary_writes,
    write_rows,
)
from inspections.records.faults import SHOWN
from inspections.records.staging import BATCH

Correction = tuple[uuid.UUID, dt.datetime, float, float]

STAGED = quoted("staged_logvalue")
CORRECTED = quoted("corrected_logvalue")
LIVE = quoted(LogValue._meta.db_table)
SAME_MOMENT = f"{LIVE}.series_id = {STAGED}.series_id AND {LIVE}.at = {STAGED}.at"


class LogValueStage:
    """The values that a load brings; each belongs to a series by id and to a line of its file."""

    def __init__(self) -> None:
        series, at, value = (_field(name) for name in ("series", "at", "value"))
        self._series = series
        self._columns = {
            "line": "line integer NOT NULL",
            "series_id": definition(series),
            "at": definition(at),
            "value": definition(value),
        }
        self._adapt_series = adapter(series)
        # Columns of one line share its moment.
        self._adapt_at = lru_cache(maxsize=1)(connection.ops.adapt_datetimefield_value)
        self._batch: list[tuple[Any, ...]] = []
        self.count = 0
        self.new = 0
        self.corrected = 0

    # Setting down ------------------------

    def create(self) -> None:
        self.drop()
        execute(f"CREATE TEMPORARY TABLE {STAGED} ({', '.join(self._columns.values())})")
        value = self._columns["value"].removeprefix(quoted("value"))
        execute(
            f"CREATE TEMPORARY TABLE {CORRECTED} "
            f"({self._columns['series_id']}, {self._columns['at']}, was {value}, becomes {value})"
        )

    def drop(self) -> None:
        for table in (STAGED, CORRECTED):
            execute(f"DROP TABLE IF EXISTS {'temp' if on_sqlite() else 'pg_temp'}.{table}")

    def add(self, line: int, series_id: uuid.UUID, at: dt.datetime, value: float) -> None:
        if self._adapt_series is not None:
            series_id = self._adapt_series(series_id)
        self._batch.append((line, series_id, self._adapt_at(at), value))
        if len(self._batch) >= BATCH:
            self.flush()

    def flush(self) -> None:
        if self._batch:
            with temporary_writes():
                write_rows(STAGED, list(self._columns), self._batch)
            self.count += len(self._batch)
            self._batch.clear()

    def finish(self) -> None:
        """All values are set down; from here on they can be asked about."""
        self.flush()
        with temporary_writes():
            execute(f"CREATE INDEX staged_logvalue_key ON {STAGED} (series_id, at)")
        if not on_sqlite():
            execute(f"ANALYZE {STAGED}")

    # Asking ------------------------

    def repeated(self, *, but_equal: bool) -> tuple[list[tuple[int, int, uuid.UUID]], int]:
        """The first values whose moment an earlier line of their series has: their line, that line and the
        series; and how many there are. Values that are equal do not count with ``but_equal``."""
        others = "AND value <> first_value" if but_equal else ""
        lines = (
            "SELECT line, first, series_id FROM ("
            "SELECT line, series_id, value, MIN(line) OVER moment AS first, "
            f"FIRST_VALUE(value) OVER moment AS first_value FROM {STAGED} "
            "WINDOW moment AS (PARTITION BY series_id, at ORDER BY line)) AS keyed "
            f"WHERE line <> first {others}"
        )
        found = fetch(f"{lines} ORDER BY line LIMIT {SHOWN}")
        total = len(found)
        if total == SHOWN:
            total = fetch(f"SELECT COUNT(*) FROM ({lines}) AS repeated")[0][0]
        return [(line, first, self._series.to_python(series)) for line, first, series in found], total

    def drop_repeated(self) -> int:
        """Keep the first of the values that have one series and one moment; how many went."""
        with temporary_writes():
            dropped = execute(
                f"DELETE FROM {STAGED} WHERE EXISTS (SELECT 1 FROM {STAGED} AS earlier "
                f"WHERE earlier.series_id = {STAGED}.series_id AND earlier.at = {STAGED}.at "
                f"AND earlier.line < {STAGED}.line)"
            )
        self.count -= dropped
        return dropped

    def left_out(self, series_id: uuid.UUID) -> int:
        """How many live values of a series these do not replace."""
        given = f"SELECT 1 FROM {STAGED} WHERE {SAME_MOMENT}"
        adapt = self._adapt_series
        return int(
            fetch(
                f"SELECT COUNT(*) FROM {LIVE} WHERE {LIVE}.series_id = %s AND NOT EXISTS ({given})",
                [adapt(series_id) if adapt else series_id],
            )[0][0]
        )

    def match(self) -> None:
        """Find which values are new, and which differ from the live one of their moment."""
        # CROSS JOIN tells SQLite to walk the staged values and look each up in the live table's index.
        both = f"FROM {STAGED} CROSS JOIN {LIVE} WHERE {SAME_MOMENT}"
        self.new = self.count - int(fetch(f"SELECT COUNT(*) {both}")[0][0])
        self.corrected = execute(
            f"INSERT INTO {CORRECTED} (series_id, at, was, becomes) "
            f"SELECT {STAGED}.series_id, {STAGED}.at, {LIVE}.value, {STAGED}.value {both} "
            f"AND {LIVE}.value <> {STAGED}.value"
        )

    def counts(self) -> tuple[int, int, int]:
        """How many values are new, changed and unchanged."""
        return self.new, self.corrected, self.count - self.new - self.corrected

    def corrections(self) -> Iterator[Correction]:
        """Each changed value by series and moment: its series, its moment, the old value and the new."""
        last: tuple[Any, ...] = ()
        while True:
            after = "WHERE (series_id, at) > (%s, %s)" if last else ""
            rows = fetch(
                f"SELECT series_id, at, was, becomes FROM {CORRECTED} {after} "
                f"ORDER BY series_id, at LIMIT {BATCH}",
                last,
            )
            for series_id, at, was, becomes in rows:
                yield self._series.to_python(series_id), self._moment(at), was, becomes
            if len(rows) < BATCH:
                return
            last = rows[-1][:2]

    # Applying ------------------------

    def apply(self) -> None:
        """Add the new values and write the changed ones over the live, unless those changed meanwhile."""
        if self.new:
            inserted = execute(
                f"INSERT INTO {LIVE} (series_id, at, value) SELECT series_id, at, value FROM {STAGED} "
                f"WHERE NOT EXISTS (SELECT 1 FROM {LIVE} WHERE {SAME_MOMENT}) ORDER BY series_id, at"
            )
            if inserted != self.new:
                raise Overtaken
        if self.corrected:
            updated = execute(
                f"UPDATE {LIVE} SET value = {CORRECTED}.becomes FROM {CORRECTED} "
                f"WHERE {LIVE}.series_id = {CORRECTED}.series_id AND {LIVE}.at = {CORRECTED}.at "
                f"AND {LIVE}.value = {CORRECTED}.was"
            )
            if updated != self.corrected:
                raise Overtaken

    def _moment(self, at: Any) -> dt.datetime:
        """A moment as the database gives it, which on SQLite is text in UTC."""
        if isinstance(at, dt.datetime):
            return at.astimezone(dt.UTC)
        return dt.datetime.fromisoformat(at).replace(tzinfo=dt.UTC)


def _field(name: str) -> models.Field[Any, Any]:
    return next(field for field in LogValue._meta.concrete_fields if field.name == name)
