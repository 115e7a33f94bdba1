"""Putting records in: read and checked row by row, staged, and applied at once or not at all."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Protocol, TypeVar

from django.core.exceptions import ValidationError
from django.core.validators import validate_slug
from django.db import DatabaseError, IntegrityError, transaction
from django.utils import timezone

from inspections.models import Load, Reading
from inspections.records.applying import Overtaken, insert_new, update_changed
from inspections.records.database import wide_cache
from inspections.records.faults import Fault, Faults, Problem, RecordsRefused, shown
from inspections.records.history import change_stage, stage_changes
from inspections.records.logs import Logs
from inspections.records.places import Places, places_of
from inspections.records.rows import RowChecker, faults_of_columns
from inspections.records.source import Folder, Given, Rows, Source
from inspections.records.staging import BATCH, Stage
from inspections.records.streams import Unreadable
from inspections.records.tables import LOGS, TABLES, Table
from inspections.records.visits import Visits
from portfolio.models import Organisation, User

#: What is being done, and how many rows of it are done.
Progress = Callable[[str, int], None]
#: How often a load is checked again when others change the same records meanwhile.
ATTEMPTS = 3
SLUG_LENGTH = 100
#: Room for a change's reason and a load's source.
REASON_LENGTH = 500


#: What a run reports.
R = TypeVar("R", covariant=True)


class Run(Protocol[R]):
    """One attempt to load something."""

    def go(self, dry_run: bool) -> R: ...

    def drop_stages(self) -> None: ...


@dataclass(frozen=True, slots=True)
class Counts:
    """What one file did, in rows."""

    new: int
    changed: int
    unchanged: int


@dataclass(slots=True)
class LoadReport:
    """What a load did, or without ``dry_run`` would have done."""

    organisation: str
    dry_run: bool
    files: dict[str, Counts] = field(default_factory=dict)
    notices: list[str] = field(default_factory=list)
    organisation_is_new: bool = False


def load_folder(
    path: str | Path,
    organisation_slug: str,
    *,
    user: User | None = None,
    dry_run: bool = False,
    progress: Progress | None = None,
) -> LoadReport:
    """Load a folder of CSV files, all or nothing; raises :class:`RecordsRefused`."""
    folder = Folder(Path(path))
    report = load(folder, organisation_slug, user=user, dry_run=dry_run, progress=progress)
    report.notices += [f"{name} is no file of records and was left alone" for name in folder.ignored]
    return report


def load_rows(
    tables: Mapping[str, Sequence[Mapping[str, object]]],
    organisation_slug: str,
    *,
    source: str,
    user: User | None = None,
    dry_run: bool = False,
) -> LoadReport:
    """Load rows that are in memory, by table name, as :func:`load_folder` loads files."""
    return load(Given(source, tables), organisation_slug, user=user, dry_run=dry_run)


def load(
    source: Source,
    organisation_slug: str,
    *,
    user: User | None = None,
    dry_run: bool = False,
    progress: Progress | None = None,
) -> LoadReport:
    """Load tables of records, all or nothing; raises :class:`RecordsRefused`."""
    _check_slug(organisation_slug)
    report_progress = progress or (lambda what, rows: None)
    return attempt(source.name, lambda: _Run(source, organisation_slug, user, report_progress), dry_run)


def attempt(source_name: str, new_run: Callable[[], Run[R]], dry_run: bool) -> R:
    """Go through with a new run until nobody changes the same records meanwhile."""
    for _ in range(ATTEMPTS):
        run = new_run()
        try:
            return run.go(dry_run)
        except Overtaken as error:
            overtaken = error
        except IntegrityError as error:
            problem = f"a row is against a rule of the database: {str(error).splitlines()[0]}"
            raise RecordsRefused([Fault(source_name, 0, "", problem)]) from error
        finally:
            run.drop_stages()
    problem = "somebody else kept changing the same records meanwhile; load them again"
    raise RecordsRefused([Fault(source_name, 0, "", problem)]) from overtaken


def _check_slug(slug: str) -> None:
    try:
        validate_slug(slug)
    except ValidationError:
        slug_is_good = False
    else:
        slug_is_good = len(slug) <= SLUG_LENGTH
    if not slug_is_good:
        problem = f"{shown(slug)} cannot name an organisation; use up to 100 letters, digits, - and _"
        raise RecordsRefused([Fault("--organisation", 0, "", problem)])


class _Run:
    """One attempt to load one source."""

    def __init__(self, source: Source, slug: str, user: User | None, progress: Progress) -> None:
        self.source = source
        self.user = user
        self.progress = progress
        self.now = timezone.now()
        known = Organisation.objects.filter(slug=slug).first()
        self.is_new = known is None
        self.organisation = known or Organisation(id=uuid.uuid4(), slug=slug, name=slug)
        self.places: Places = places_of(self.organisation)
        self.faults = Faults()
        self.visits = Visits()
        self.changes = change_stage()
        self.stages: dict[str, Stage] = {}
        self.logs = Logs()

    def go(self, dry_run: bool) -> LoadReport:
        self.visits.stage.create()
        self.changes.create()
        for table in (*TABLES, LOGS):
            self._read(table)
        self.faults.refuse_any()
        self.visits.stage.flush()
        counts = self._compare()
        if not dry_run:
            self._apply(counts)
        return LoadReport(self.organisation.slug, dry_run, counts, organisation_is_new=self.is_new)

    def drop_stages(self) -> None:
        # A transaction around the load may have failed; the tables then go with it.
        with suppress(DatabaseError):
            for stage in (self.visits.stage, self.changes, *self.stages.values()):
                stage.drop()
            self.logs.drop()

    # Reading and checking ------------------------

    def _read(self, table: Table) -> None:
        try:
            rows = self.source.open(table)
            if rows is None:
                return
            try:
                self._read_rows(table, rows)
            finally:
                rows.close()
        except Unreadable as unreadable:
            self.faults.add(unreadable.fault)
            self.places.unread.add(table.name)

    def _read_rows(self, table: Table, rows: Rows) -> None:
        wrong = list(faults_of_columns(table, rows.columns))
        for column, problem in wrong:
            self.faults.add(Fault(table.file, 1, column, problem))
        if wrong:
            self.places.unread.add(table.name)
            return
        present = set(rows.columns)
        checker = RowChecker(table, present, self.places, self.faults)
        if table is LOGS:
            self._stage_logs(rows, checker)
            return
        stage = Stage(table.model, table.fields_of(present), table.key, table.following)
        self.stages[table.name] = stage
        stage.create()
        self._stage_rows(rows, checker, stage)
        if not self.places.unread:
            self._note_repeated_keys(table, stage)

    def _stage_rows(self, rows: Rows, checker: RowChecker, stage: Stage) -> None:
        for done, (line, row) in enumerate(rows.each(self.faults), 1):
            values = checker.check(row, line)
            if values is not None:
                if stage.model is Reading:
                    values["visit_id"] = self.visits.id_of(
                        values["building_id"], values["day"], values["inspector"]
                    )
                stage.add(line, values)
            if done % BATCH == 0:
                self.progress(f"checking {checker.file}", done)
        stage.flush()

    def _stage_logs(self, rows: Rows, checker: RowChecker) -> None:
        self.logs.create()
        for done, (line, row) in enumerate(rows.each(self.faults), 1):
            values = checker.check(row, line)
            if values is not None:
                try:
                    series_id = self.logs.series_of(values, line, f"{self.source.name}/{LOGS.file}")
                except Problem as problem:
                    self.faults.add(Fault(LOGS.file, line, "unit", str(problem)))
                    continue
                self.logs.values.add(line, series_id, values["taken_at"], values["value"])
            if done % BATCH == 0:
                self.progress(f"checking {LOGS.file}", done)
        self.logs.finish()
        if not self.places.unread:
            self._note_faults_of_logs()

    def _note_faults_of_logs(self) -> None:
        repeated, total = self.logs.values.repeated(but_equal=False)
        for line, first, _ in repeated:
            problem = f"the same series and moment as line {first}; keep one of the two"
            self.faults.add(Fault(LOGS.file, line, LOGS.key_column, problem))
        self.faults.more(total - len(repeated))
        for line, problem in self.logs.halves_of_a_unit():
            self.faults.add(Fault(LOGS.file, line, "unit", problem))

    def _note_repeated_keys(self, table: Table, stage: Stage) -> None:
        repeated, total = stage.repeated_keys()
        for line, first in repeated:
            problem = f"the same key as line {first} ({', '.join(table.key_columns)}); keep one of the two"
            self.faults.add(Fault(table.file, line, table.key_column, problem))
        self.faults.more(total - len(repeated))

    # Comparing and applying ------------------------

    def _compare(self) -> dict[str, Counts]:
        constants = {
            "organisation_id": self.organisation.id,
            "at": self.now,
            "by_id": self.user.pk if self.user else None,
            "reason": f"load of {self.source.name}"[:REASON_LENGTH],
        }
        counts = {}
        for name, stage in self.stages.items():
            self.progress(f"comparing {name}", stage.count)
            # In a new organisation nothing stands yet; who makes it meanwhile is met at its key.
            if not self.is_new:
                stage.match()
            counts[name] = Counts(*stage.counts())
            if counts[name].changed:
                stage_changes(self.changes, stage, self.visits, constants)
        if self.logs.used:
            self.progress("comparing logs", self.logs.values.count)
            counts[LOGS.name] = Counts(*self.logs.compare(self.changes, constants))
        return counts

    def _apply(self, counts: dict[str, Counts]) -> None:
        self.progress("saving", sum(c.new + c.changed for c in counts.values()))
        try:
            with wide_cache(), transaction.atomic():
                self._save(counts)
        except IntegrityError as error:
            raise Overtaken from error

    def _save(self, counts: dict[str, Counts]) -> None:
        if self.is_new:
            self.organisation.save(force_insert=True)
        for name, stage in self.stages.items():
            if stage.model is Reading:
                insert_new(self.visits.stage, self.user, self.now, self.visits.stage.count)
            insert_new(stage, self.user, self.now, counts[name].new)
            update_changed(stage, self.now, counts[name].changed)
        if self.logs.used:
            self.logs.apply(self.user, self.now)
        insert_new(self.changes, self.user, self.now, self.changes.count)
        self._note_load(counts)

    def _note_load(self, counts: dict[str, Counts]) -> None:
        load = Load.objects.create(
            organisation=self.organisation,
            by=self.user,
            ended_at=timezone.now(),
            source=self.source.name[:REASON_LENGTH],
            counts={name: asdict(count) for name, count in counts.items()},
        )
        # It would be the time of the entry otherwise.
        Load.objects.filter(pk=load.pk).update(started_at=self.now)
