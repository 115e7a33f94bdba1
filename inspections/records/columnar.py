"""Every reading of an organisation as one columnar file (Apache Parquet), for programs that compute."""

from __future__ import annotations

import os
from collections.abc import Callable
from itertools import islice
from pathlib import Path
from typing import Any, Final

from inspections.models import Reading
from inspections.queries.api import canonical_unit
from inspections.records.database import snapshot
from inspections.records.exporting import STANDING
from portfolio.models import Organisation

#: Readings held at once, and in one group of the file's rows.
GROUP: Final = 50_000
#: Each column's path from the reading, and the name of its type.
COLUMNS: Final = {
    "id": ("id", "string"),
    "building": ("building__code", "string"),
    "section": ("section__code", "string"),
    "taken_at": ("taken_at", "timestamp[us, tz=UTC]"),
    "quantity": ("quantity", "string"),
    "value": ("value", "float64"),
    "entered_value": ("entered_value", "string"),
    "unit": ("unit", "string"),
    "qualifier": ("qualifier", "string"),
    "height_mm": ("height_mm", "float64"),
    "depth_mm": ("depth_mm", "float64"),
    "instrument": ("instrument__code", "string"),
    "point": ("point", "string"),
    "replicate": ("replicate", "int16"),
    "duration_h": ("duration_h", "float64"),
    "inspector": ("visit__inspector", "string"),
    "note": ("note", "string"),
}


def export_columns(
    path: str | Path, organisation: Organisation, *, progress: Callable[[str, int], None] | None = None
) -> int:
    """Write all standing readings, the earliest first, into ``path``; how many there were.

    The columns are the API's: ``value`` is in ``canonical_unit``, ``entered_value`` and ``unit`` are as
    written. All are of one moment, and an earlier file is replaced only once they are written. Needs pyarrow,
    the extra `columnar`.
    """
    import pyarrow as pa
    from pyarrow import parquet

    whole = Path(path)
    part = whole.with_name(f".{whole.name}.{os.getpid()}.part")
    schema = pa.schema(
        [(name, _type(pa, kind)) for name, (_, kind) in COLUMNS.items()] + [("canonical_unit", pa.string())]
    )
    quantity, unit = (list(COLUMNS).index(name) for name in ("quantity", "unit"))
    standing = {f"{voided}__isnull": True for voided in STANDING["readings"]}
    readings = Reading.objects.of(organisation).filter(**standing).order_by("taken_at", "id")
    count = 0
    try:
        with snapshot(), parquet.ParquetWriter(part, schema) as file:
            rows = readings.values_list(*(path for path, _ in COLUMNS.values())).iterator(GROUP)
            while group := list(islice(rows, GROUP)):
                columns: list[Any] = [list(column) for column in zip(*group, strict=True)]
                columns[0] = [str(key) for key in columns[0]]
                columns.append(list(map(canonical_unit, columns[quantity], columns[unit])))
                file.write_table(pa.table(columns, schema=schema))
                count += len(group)
                if progress:
                    progress(f"wrote {whole.name}", count)
        part.replace(whole)
    finally:
        part.unlink(missing_ok=True)
    return count


def _type(pa: Any, kind: str) -> Any:
    return pa.timestamp("us", "UTC") if kind.startswith("timestamp") else pa.type_for_alias(kind)
