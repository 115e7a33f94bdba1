"""Putting a data logger's file in: all of it or nothing, beside what its series hold already."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from django.db import DatabaseError, IntegrityError, transaction
from django.utils import timezone

from inspections.models import Load
from inspections.records.applying import Overtaken, insert_new
from inspections.records.database import wide_cache
from inspections.records.faults import Fault, Faults, Problem
from inspections.records.history import change_stage
from inspections.records.loading import REASON_LENGTH, Counts, Progress, attempt
from inspections.records.log_options import Channels, Place, Placed, channels_of, placed
from inspections.records.logger_files import Clock, LoggerFile, Numbers
from inspections.records.logs import Logs
from inspections.records.staging import BATCH
from inspections.records.streams import Unreadable
from inspections.records.tables import LOGS
from portfolio.models import User


@dataclass(slots=True)
class LogReport:
    """What a logger's file did, in values: ``gaps`` were empty, ``repeated`` stood in it twice."""

    file: str
    dry_run: bool
    counts: Counts
    gaps: int
    repeated: int
    first: dt.datetime | None
    last: dt.datetime | None


def load_log(
    path: str | Path,
    organisation_slug: str,
    place: Place,
    *,
    time: str,
    columns: Mapping[str, str],
    units: Mapping[str, str] | None = None,
    offset: str = "",
    user: User | None = None,
    dry_run: bool = False,
    progress: Progress | None = None,
) -> LogReport:
    """Load the ``columns`` (quantity to column) of a logger's file; raises :class:`RecordsRefused`.

    A quantity's unit is that of ``units``, else the scale of the place's instrument if it fits, else the
    canonical one. ``offset`` is that of the logger's clock, where it does not follow the building's.
    """
    path = Path(path)
    at = placed(organisation_slug, place)
    channels = channels_of(time, columns, units or {}, at.scale, offset)
    report_progress = progress or (lambda what, rows: None)
    return attempt(path.name, lambda: _Run(path, at, channels, user, report_progress), dry_run)


class _Run:
    """One attempt to load one file."""

    def __init__(
        self,
        path: Path,
        place: Placed,
        channels: Channels,
        user: User | None,
        progress: Progress,
    ) -> None:
        self.path = path
        self.place = place
        self.channels = channels
        self.user = user
        self.progress = progress
        self.now = timezone.now()
        self.clock = Clock(place.zone, channels.offset)
        self.faults = Faults()
        self.logs = Logs()
        self.changes = change_stage()
        self.gaps = 0
        self.span: tuple[dt.datetime, dt.datetime] | None = None
        #: Each quantity's series, and each series' column.
        self.ids: dict[str, uuid.UUID] = {}
        self.columns: dict[uuid.UUID, str] = {}

    def go(self, dry_run: bool) -> LogReport:
        self.logs.create()
        self.changes.create()
        try:
            self._read()
        except Unreadable as unreadable:
            self.faults.add(unreadable.fault)
        self.faults.refuse_any()
        self.logs.finish()
        repeated = self._repeated()
        self.faults.refuse_any()
        self.progress("comparing", self.logs.values.count)
        constants = {
            "organisation_id": self.place.organisation_id,
            "at": self.now,
            "by_id": self.user.pk if self.user else None,
            "reason": f"load of {self.path.name}"[:REASON_LENGTH],
        }
        counts = Counts(*self.logs.compare(self.changes, constants))
        if not dry_run:
            self._apply(counts)
        first, last = self.span or (None, None)
        return LogReport(self.path.name, dry_run, counts, self.gaps, repeated, first, last)

    def drop_stages(self) -> None:
        # A transaction around the load may have failed; the tables then go with it.
        with suppress(DatabaseError):
            self.logs.drop()
            self.changes.drop()

    def _read(self) -> None:
        file = LoggerFile(self.path, self.channels.time, list(self.channels.columns.values()))
        numbers = [Numbers(file.header.separator) for _ in self.channels.columns]
        try:
            for done, (line, time, row) in enumerate(file.each(self.faults), 1):
                self._read_row(line, time, row, numbers)
                if done % BATCH == 0:
                    self.progress(f"checking {self.path.name}", done)
        finally:
            file.close()

    def _read_row(self, line: int, time: str, row: list[str], numbers: list[Numbers]) -> None:
        try:
            at = self.clock.read(time)
        except Problem as problem:
            self._fault(line, self.channels.time, problem)
            return
        self.span = (min(self.span[0], at), max(self.span[1], at)) if self.span else (at, at)
        for (quantity, column), cell, number in zip(self.channels.columns.items(), row, numbers, strict=True):
            try:
                value = number.read(cell)
            except Problem as problem:
                self._fault(line, column, problem)
                continue
            if value is None:
                self.gaps += 1
            else:
                self.logs.values.add(line, self._series(quantity, column, line), at, value)

    def _series(self, quantity: str, column: str, line: int) -> uuid.UUID:
        if quantity not in self.ids:
            values = {
                **self.place.fields,
                "quantity": quantity,
                "unit": self.channels.units[quantity],
            }
            id = self.logs.series_of(values, line, f"{self.path.name}: {column}")
            self.ids[quantity], self.columns[id] = id, column
        return self.ids[quantity]

    def _repeated(self) -> int:
        """Drop what the file holds twice alike; different values at one moment are a fault."""
        found, total = self.logs.values.repeated(but_equal=True)
        for line, first, series_id in found:
            problem = f"another value than line {first} has for the same moment; keep one of the two"
            self._fault(line, self.columns[series_id], problem)
        self.faults.more(total - len(found))
        for line, problem in self.logs.halves_of_a_unit():
            self._fault(line, self.channels.time, problem)
        return 0 if total else self.logs.values.drop_repeated()

    def _fault(self, line: int, column: str, problem: Problem | str) -> None:
        self.faults.add(Fault(self.path.name, line, column, str(problem)))

    def _apply(self, counts: Counts) -> None:
        self.progress("saving", counts.new + counts.changed)
        try:
            with wide_cache(), transaction.atomic():
                self.logs.apply(self.user, self.now)
                insert_new(self.changes, self.user, self.now, self.changes.count)
                self._note_load(counts)
        except IntegrityError as error:
            raise Overtaken from error

    def _note_load(self, counts: Counts) -> None:
        load = Load.objects.create(
            organisation_id=self.place.organisation_id,
            by=self.user,
            ended_at=timezone.now(),
            source=self.path.name[:REASON_LENGTH],
            counts={LOGS.name: asdict(counts)},
        )
        # It would be the time of the entry otherwise.
        Load.objects.filter(pk=load.pk).update(started_at=self.now)
