"""What data loggers recorded: series and their values, staged and applied like every other record."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby, islice

from inspections.models import LogSeries
from inspections.records.applying import insert_new, update_changed
from inspections.records.database import execute
from inspections.records.faults import Problem
from inspections.records.history import stage_changes
from inspections.records.log_values import CORRECTED, Correction, LogValueStage
from inspections.records.rules import Values
from inspections.records.staging import Stage
from inspections.records.tables import LOGS
from inspections.records.visits import Visits
from portfolio.models import User

SeriesKey = tuple[object, ...]

SOURCE_LENGTH = 200
#: So many corrected values are kept in one entry of the history.
IN_ONE_CHANGE = 500


@dataclass(frozen=True, slots=True)
class KnownSeries:
    """A series by its id, its unit, and the line that first names it here (0: it stands already)."""

    id: uuid.UUID
    unit: str
    line: int = 0


class Logs:
    """The logged values that a load brings, and the series that they belong to.

    A value for a moment that its series has already corrects it; the old one stays in the history.
    """

    def __init__(self) -> None:
        self.series = Stage(LogSeries, (*LOGS.key, "unit", "source"), LOGS.key, frozenset({"source"}))
        self.values = LogValueStage()
        self.used = False
        self._standing: dict[SeriesKey, KnownSeries] = {}
        self._fetched: set[uuid.UUID] = set()
        self._named: dict[SeriesKey, KnownSeries] = {}

    def create(self) -> None:
        self.used = True
        self.series.create()
        self.values.create()

    def drop(self) -> None:
        if self.used:
            self.series.drop()
            self.values.drop()

    # Setting down ------------------------

    def series_of(self, values: Values, line: int, source: str) -> uuid.UUID:
        """The id of the series that the values name, which is staged when it first comes up."""
        key = tuple(values[name] for name in LOGS.key)
        named = self._named.get(key)
        if named is None:
            standing = self._standing_of(values["building_id"]).get(key)
            named = KnownSeries(standing.id if standing else uuid.uuid4(), values["unit"], line)
            self._named[key] = named
            self.series.add(len(self._named), {**values, "id": named.id, "source": source[:SOURCE_LENGTH]})
        elif named.unit != values["unit"]:
            raise Problem(
                f"line {named.line} has the same series in {named.unit}; a series has one unit: "
                "write one of the two throughout"
            )
        return named.id

    def finish(self) -> None:
        self.series.flush()
        self.values.finish()

    def _standing_of(self, building_id: uuid.UUID) -> dict[SeriesKey, KnownSeries]:
        if building_id not in self._fetched:
            rows = LogSeries.objects.filter(building_id=building_id).values_list(*LOGS.key, "id", "unit")
            self._standing |= {tuple(key): KnownSeries(id, unit) for *key, id, unit in rows}
            self._fetched.add(building_id)
        return self._standing

    # Asking ------------------------

    def halves_of_a_unit(self) -> Iterator[tuple[int, str]]:
        """Series whose unit would change for a part of their values: the line that names them, the problem.

        A unit entered wrongly is mended with a file of the whole series; otherwise values in two units
        would stand side by side.
        """
        for key, named in self._named.items():
            standing = self._standing.get(key)
            if standing is None or standing.unit == named.unit:
                continue
            others = self.values.left_out(named.id)
            if others:
                yield (
                    named.line,
                    f"the series stands in {standing.unit}, with {others:,} values that are not in this "
                    f"file; give {standing.unit}, or mend the unit with all of the series' values",
                )

    def compare(self, changes: Stage, constants: Values) -> tuple[int, int, int]:
        """Set down the history of what would change; how many values are new, changed and unchanged."""
        self.series.match()
        self.values.match()
        # Series of a logger come without a visit.
        stage_changes(changes, self.series, Visits(), constants)
        line = changes.count
        for series_id, corrections in _in_parts(self.values.corrections()):
            line += 1
            fields = {f"value at {_text(at)}": [was, becomes] for _, at, was, becomes in corrections}
            named = {"id": uuid.uuid4(), "model": "logseries", "record_id": series_id, "fields": fields}
            changes.add(line, constants | named)
        changes.flush()
        return self.values.counts()

    # Applying ------------------------

    def apply(self, user: User | None, now: dt.datetime) -> None:
        """Make it live; within the load's transaction."""
        new, changed, _ = self.series.counts()
        insert_new(self.series, user, now, new)
        update_changed(self.series, now, changed)
        self.values.apply()
        if self.values.corrected:
            execute(
                f"UPDATE {self.series.live} SET revision = revision + 1, changed_at = %s "
                f"WHERE id IN (SELECT series_id FROM {CORRECTED})",
                [self.series.driver_value("changed_at", now)],
            )


def _in_parts(corrections: Iterable[Correction]) -> Iterator[tuple[uuid.UUID, list[Correction]]]:
    """The corrections of one series at a time, and not too many at once."""
    for series_id, own in groupby(corrections, key=lambda correction: correction[0]):
        while part := list(islice(own, IN_ONE_CHANGE)):
            yield series_id, part


def _text(at: dt.datetime) -> str:
    return at.isoformat().replace("+00:00", "Z")
