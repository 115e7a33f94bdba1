"""Writing an organisation's records as the folder that a load takes."""

from __future__ import annotations

import csv
import datetime as dt
import os
from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from functools import lru_cache, reduce
from operator import or_
from pathlib import Path
from typing import Any

from django.db.models import CharField, F, OrderBy, Q, QuerySet, TextField
from django.db.models.constants import LOOKUP_SEP
from django.db.models.functions import Collate

from inspections.models import LogValue
from inspections.records.cells import zone_of
from inspections.records.database import on_sqlite, snapshot
from inspections.records.tables import FILES, INSTRUMENTS, LOGS, READINGS, Table
from portfolio.models import Organisation

CHUNK = 5_000
#: A whole float up to here has the same shortest text as an integer.
EXACT = 2.0**53

#: Standing rows of what is voided itself are left out with it: the folder must load elsewhere.
STANDING: dict[str, tuple[str, ...]] = {
    "buildings": ("voided_at",),
    "sections": ("voided_at", "building__voided_at"),
    "treatments": ("voided_at", "section__voided_at", "section__building__voided_at"),
    "events": ("voided_at", "building__voided_at", "section__voided_at"),
    "instruments": (),
    "readings": ("voided_at", "building__voided_at", "section__voided_at"),
    "trials": ("voided_at",),
    "allocations": (
        "voided_at",
        "trial__voided_at",
        "section__voided_at",
        "section__building__voided_at",
    ),
    "logs": ("voided_at", "building__voided_at", "section__voided_at"),
}


def export_folder(
    path: str | Path, organisation: Organisation, *, progress: Callable[[str, int], None] | None = None
) -> dict[str, int]:
    """Write every file of the contract into the folder, which is made if it is missing; rows by file.

    All files are of one moment, and replace earlier ones only once all are written.
    """
    folder = Path(path)
    folder.mkdir(parents=True, exist_ok=True)
    parts = {table: folder / f".{table.file}.{os.getpid()}.part" for table in FILES}
    counts: dict[str, int] = {}
    try:
        with snapshot():
            for table, part in parts.items():
                counts[table.name] = _write(table, organisation, part)
                if progress:
                    progress(f"wrote {table.file}", counts[table.name])
        for table, part in parts.items():
            part.replace(folder / table.file)
    finally:
        for part in parts.values():
            part.unlink(missing_ok=True)
    return counts


def _write(table: Table, organisation: Organisation, path: Path) -> int:
    count = 0
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow([column.name for column in table.columns])
        for cells in _rows(table, organisation):
            writer.writerow(cells)
            count += 1
    return count


def _rows(table: Table, organisation: Organisation) -> Iterator[Sequence[str]]:
    if table is LOGS:
        yield from _logged(organisation)
        return
    paths = [column.path for column in table.columns]
    rows = _standing(table, organisation).order_by(*_order(table))
    if table is not READINGS:
        for values in rows.values_list(*paths).iterator(CHUNK):
            yield [as_cell(value) for value in values]
        return
    taken_at = paths.index("taken_at")
    for *values, timezone in rows.values_list(*paths, "building__timezone").iterator(CHUNK):
        cells = [as_cell(value) for value in values]
        cells[taken_at] = local_time(values[taken_at], timezone)
        yield cells


def _logged(organisation: Organisation) -> Iterator[Sequence[str]]:
    """Every value of every series, series by series, so that only one of them is sorted at a time."""
    paths = [column.path for column in LOGS.columns[:-2]]
    series = _standing(LOGS, organisation).order_by(*_order(LOGS))
    for id, timezone, *values in list(series.values_list("id", "building__timezone", *paths)):
        place = [as_cell(value) for value in values]
        rows = LogValue.objects.filter(series_id=id).order_by("at").values_list("at", "value")
        for at, value in rows.iterator(CHUNK):
            yield [*place, local_time(at, timezone), as_cell(value)]


def _standing(table: Table, organisation: Organisation) -> QuerySet[Any, Any]:
    records = table.model.objects.of(organisation)
    if table is INSTRUMENTS:
        # A voided instrument is still named by the readings taken with it and by what it logged.
        used = (_standing(table, organisation).values("instrument") for table in (READINGS, LOGS))
        return records.filter(reduce(or_, (Q(pk__in=ids) for ids in used), Q(voided_at__isnull=True)))
    return records.filter(**{f"{path}__isnull": True for path in STANDING[table.name]})


def _order(table: Table) -> list[OrderBy]:
    """By key, in the same order on both engines: text by code point, empty first."""
    paths = [column.path for column in table.columns if column.name in table.key_columns]
    return [
        OrderBy(
            Collate(path, "C") if _is_text(table, path) and not on_sqlite() else F(path), nulls_first=True
        )
        for path in paths
    ]


def _is_text(table: Table, path: str) -> bool:
    model: Any = table.model
    *relations, name = path.split(LOOKUP_SEP)
    for relation in relations:
        model = model._meta.get_field(relation).related_model
    return isinstance(model._meta.get_field(name), CharField | TextField)


# Cells ---------------------------------------------------------------------------------------------------


def as_cell(value: object) -> str:
    """A value as the shortest text that reads back as the same value."""
    if value is None or value is False:
        return ""
    if isinstance(value, str):
        return value.strip()
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < EXACT else repr(value)
    if value is True:
        return "yes"
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if isinstance(value, dt.date):
        return value.isoformat()
    return str(value)


@lru_cache(maxsize=20_000)
def local_time(at: dt.datetime, timezone: str) -> str:
    """A point in time in the building's zone, with its offset, to the second unless it has a fraction."""
    return at.astimezone(zone_of(timezone)).isoformat(
        timespec="microseconds" if at.microsecond else "seconds"
    )
