"""Making a backup: the rows of one moment, and the files beside them, however many there are."""

from __future__ import annotations

import json
import os
import shutil
import zipfile
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from django.conf import settings
from django.utils import timezone

import portfolio
from inspections.backup.contents import (
    FORMAT,
    MEDIA,
    STAMP,
    Progress,
    Stamp,
    Table,
    applied_migrations,
    as_json,
    columns,
    entry,
    label,
    quietly,
    tables,
)
from inspections.backup.refusals import BackupRefused
from inspections.records.database import snapshot

#: Rows that are held in memory at a time.
CHUNK = 2_000
#: Only its owner may read a backup: it holds the hashes of passwords and tokens.
PRIVATE = 0o600


def backup(path: Path, progress: Progress | None = None) -> Stamp:
    """Write everything to a new file; raises :class:`BackupRefused`."""
    if path.exists():
        raise BackupRefused(f"{path} is there already; give the backup another name.")
    partial = path.with_name(f"{path.name}.partial")
    try:
        with os.fdopen(os.open(partial, os.O_RDWR | os.O_CREAT | os.O_TRUNC, PRIVATE), "w+b") as file:
            with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
                stamp = _write(archive, progress or quietly)
            file.flush()
            os.fsync(file.fileno())
        partial.rename(path)
    except OSError as error:
        raise BackupRefused(f"{path} cannot be written: {error.strerror}.") from error
    finally:
        with suppress(OSError):
            partial.unlink()
    return stamp


def _write(archive: zipfile.ZipFile, progress: Progress) -> Stamp:
    with snapshot():
        migrations = applied_migrations()
        counts = {label(table): _write_table(archive, table, progress) for table in tables()}
    stamp = Stamp(
        format=FORMAT,
        program=portfolio.__version__,
        made_at=timezone.now().isoformat(),
        migrations=migrations,
        tables=counts,
        media=_write_media(archive, progress),
    )
    archive.writestr(STAMP, json.dumps(stamp.as_json(), indent=1))
    return stamp


def _write_table(archive: zipfile.ZipFile, table: Table, progress: Progress) -> int:
    names = columns(table)
    rows = table._default_manager.order_by("pk").values_list(*names).iterator(chunk_size=CHUNK)
    count = 0
    with archive.open(entry(table), "w", force_zip64=True) as file:
        for count, row in enumerate(rows, 1):
            line = json.dumps(dict(zip(names, row, strict=True)), default=as_json, ensure_ascii=False)
            file.write(line.encode() + b"\n")
            if count % CHUNK == 0:
                progress(f"saving {label(table)}", count)
    return count


def _write_media(archive: zipfile.ZipFile, progress: Progress) -> int:
    count = 0
    for count, path in enumerate(_media(), 1):
        name = MEDIA + path.relative_to(settings.MEDIA_ROOT).as_posix()
        # Pictures are compressed already.
        info = zipfile.ZipInfo.from_file(path, name)
        with path.open("rb") as source, archive.open(info, "w", force_zip64=True) as target:
            shutil.copyfileobj(source, target)
        progress("saving files", count)
    return count


def _media() -> Iterator[Path]:
    """The files that are kept beside the database, in one order."""
    root = Path(settings.MEDIA_ROOT)
    return (path for path in sorted(root.rglob("*")) if path.is_file() and not path.is_symlink())
