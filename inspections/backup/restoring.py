"""Putting a backup into an empty database: all of it, or nothing."""

from __future__ import annotations

import hashlib
import io
import json
import shutil
import zipfile
import zlib
from collections.abc import Callable, Iterator
from itertools import islice
from pathlib import Path, PurePosixPath
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.management.color import no_style
from django.db import DatabaseError, connection, models, transaction
from django.db.migrations.executor import MigrationExecutor

from inspections.backup.contents import (
    FORMAT,
    MEDIA,
    STAMP,
    Progress,
    Stamp,
    Table,
    applied_migrations,
    entry,
    fields,
    label,
    missing,
    quietly,
    tables,
)
from inspections.backup.refusals import BackupRefused
from inspections.records.database import adapter, execute, quoted, write_rows

#: Rows that are held in memory at a time.
CHUNK = 2_000

Row = dict[str, Any]


def restore(path: Path, progress: Progress | None = None) -> Stamp:
    """Put everything into the empty database and media folder; raises :class:`BackupRefused`."""
    progress = progress or quietly
    _refuse_unfit_database()
    written: list[Path] = []
    try:
        with zipfile.ZipFile(path) as archive, transaction.atomic():
            stamp = _stamp_of(archive)
            for table in tables():
                _restore_table(archive, table, stamp, progress)
            _reset_sequences()
            connection.check_constraints()
            _restore_media(archive, stamp.media, written, progress)
    except BaseException as error:
        for file in written:
            file.unlink(missing_ok=True)
        if (reason := _reason(path, error)) is not None:
            raise BackupRefused(reason) from error
        raise
    return stamp


def _reason(path: Path, error: BaseException) -> str | None:
    """What is wrong with a backup that gave rise to this error, where it is the backup's doing."""
    match error:
        case zipfile.BadZipFile() | zlib.error() | EOFError() | KeyError():
            return f"{path} is not a whole backup ({error})."
        case OSError():
            return f"{error.filename or path} cannot be used: {error.strerror}."
        case DatabaseError() | ValidationError() | ValueError() | TypeError():
            return f"{path} holds a row that does not fit: {error}"
    return None


# Whether it can be restored ----------------------------------------------------------------------------


def _refuse_unfit_database() -> None:
    executor = MigrationExecutor(connection)
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        raise BackupRefused("The database lacks tables yet; run `python manage.py migrate` first.")
    held = [label(table) for table in tables() if table._default_manager.exists()]
    if held:
        raise BackupRefused(
            f"The database is not empty (it has rows in {', '.join(held)}), and a backup is put only into an "
            "empty one. Name a new database in DATABASE_URL and run `python manage.py migrate` on it."
        )


def _stamp_of(archive: zipfile.ZipFile) -> Stamp:
    with archive.open(STAMP) as file:
        given = json.load(file)
    if given["format"] > FORMAT:
        raise BackupRefused(_newer(given, f"format {given['format']}"))
    if unknown := missing(given["migrations"], applied_migrations()):
        raise BackupRefused(_newer(given, unknown[0]))
    if unknown := missing(given["tables"], map(label, tables())):
        raise BackupRefused(f"This version knows no table {unknown[0]}, which the backup holds.")
    return Stamp(**given)


def _newer(given: Row, what: str) -> str:
    return (
        f"The backup was made by a newer version ({given['program']}, {what}). "
        "Bring this installation up to that version, then restore it."
    )


# Rows --------------------------------------------------------------------------------------------------


def _restore_table(archive: zipfile.ZipFile, table: Table, stamp: Stamp, progress: Progress) -> None:
    expected = stamp.tables.get(label(table))
    if expected is None:  # The backup is older than the table.
        return
    own = fields(table)
    readers = {field.attname: _reader(field) for field in own}
    defaults = {field.attname: field.get_default() for field in own}
    names = [str(field.column) for field in own]
    count = 0
    rows = _rows(archive, table)
    while chunk := list(islice(rows, CHUNK)):
        for row in chunk:
            if unknown := missing(row, readers):
                raise BackupRefused(f"This version knows no {unknown[0]} of {label(table)}.")
        values = [[read((defaults | row)[name]) for name, read in readers.items()] for row in chunk]
        write_rows(quoted(table._meta.db_table), names, values)
        count += len(chunk)
        progress(f"restoring {label(table)}", count)
    if count != expected:
        raise BackupRefused(f"The backup is damaged: {label(table)} has {count:,} of {expected:,} rows.")


def _rows(archive: zipfile.ZipFile, table: Table) -> Iterator[Row]:
    with archive.open(entry(table)) as file, io.TextIOWrapper(file, encoding="utf-8", newline="\n") as lines:
        for line in lines:
            yield json.loads(line)


def _reader(field: models.Field[Any, Any]) -> Callable[[Any], Any]:
    """From a value in the file to one that the database's driver takes."""
    adapt = adapter(field)

    def read(value: Any) -> Any:
        value = field.to_python(value)
        return value if adapt is None else adapt(value)

    return read


def _reset_sequences() -> None:
    """Let numbered rows that come later be numbered on from the highest."""
    for statement in connection.ops.sequence_reset_sql(no_style(), tables()):
        execute(statement)


# Files -------------------------------------------------------------------------------------------------


def _restore_media(archive: zipfile.ZipFile, expected: int, written: list[Path], progress: Progress) -> None:
    """Put the files back, and note each in ``written``; none that is there already is touched."""
    names = [name for name in archive.namelist() if name.startswith(MEDIA)]
    if len(names) != expected:
        raise BackupRefused(f"The backup is damaged: of {expected:,} files it has {len(names):,}.")
    for count, name in enumerate(names, 1):
        target = _place_of(name.removeprefix(MEDIA))
        target.parent.mkdir(parents=True, exist_ok=True)
        with archive.open(name) as source:
            if target.exists():
                _refuse_other_content(target, source)
                continue
            with target.open("xb") as file:
                written.append(target)
                shutil.copyfileobj(source, file)
        progress("restoring files", count)


def _place_of(name: str) -> Path:
    """Where a file belongs; a name that leads out of the folder for files is refused."""
    parts = PurePosixPath(name).parts
    if not parts or name.startswith("/") or "\\" in name or ".." in parts:
        raise BackupRefused(f"The backup names a file outside its folder: {name!r}.")
    return Path(settings.MEDIA_ROOT).joinpath(*parts)


def _refuse_other_content(target: Path, source: Any) -> None:
    with target.open("rb") as there:
        if hashlib.file_digest(there, "sha256").digest() != hashlib.file_digest(source, "sha256").digest():
            raise BackupRefused(f"{target} is there already, with other content; name an empty WYTHE_MEDIA.")
