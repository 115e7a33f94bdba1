"""A book of records in memory: tables of the record-folder contract, with the truth beside them.

A simulator fills a :class:`Book`. :func:`write_book` writes it as the CSV folder that ``load_records`` takes,
:func:`to_records` hands it to the analysis without files, and :func:`read_book` reads such a folder back.
Nothing here needs Django. Rows are dictionaries; a column left out is empty.
"""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from inspections.analysis.records import (
    CANONICAL_UNIT,
    BuildingRecord,
    Coat,
    Happening,
    Instrument,
    Readings,
    SectionRecord,
    no_readings,
)

Row = dict[str, object]


def _columns(names: str) -> tuple[str, ...]:
    return tuple(names.split())


#: Columns of each file of the contract, in order.
TABLES: dict[str, tuple[str, ...]] = {
    "buildings": _columns("code name street locality region postal_code country timezone year_built"),
    "sections": _columns(
        "building code wall start_m length_m height_m below_grade_m substrate bedding_mortar adjoins beyond"
    ),
    "treatments": _columns(
        "building section layer kind binder mix thickness_mm applied_on removed_on removal_reason mu sd_m "
        "applied_earliest found face area_m2 purpose drains_to strength_mpa applied_by cost currency"
    ),
    "events": _columns("building section happened_on kind layer area_m2 cost currency note"),
    "instruments": _columns("code kind scale minimum maximum resolution repeatability"),
    "readings": _columns(
        "building section taken_at quantity value unit qualifier height_mm depth_mm instrument inspector "
        "note point replicate duration_h"
    ),
    "logs": _columns("building section quantity unit height_mm depth_mm instrument point taken_at value"),
    "trials": _columns("code question outcome started_on planned_end_on"),
    "allocations": _columns("trial building section arm allocated_by note block sequence"),
}

#: Columns of ``truth.csv``. ``truth`` is one of :data:`CLASSES`; ``store`` is the wall's free water as a
#: share of its capacity (empty where a simulator has none); ``onset`` is when the present truth began.
TRUTH_COLUMNS = _columns("building section date truth lost_fraction hollow_fraction store onset")

#: The six hypotheses of a verdict.
CLASSES = ("trapped_water", "water_entry", "condensation", "surface_wear", "drying_out", "stable")

MOISTURE_SCALES = frozenset({"relative", "percent_wme", "percent_mass"})

#: Factor and offset from a unit to its canonical unit: ``canonical = factor * value + offset``.
#: Exact by definition (international foot and inch, Fahrenheit), and 1 pCi/L = 37 Bq/m³ (1 Ci = 3.7e10 Bq).
CONVERSIONS: dict[str, tuple[float, float]] = {
    "degF": (1 / 1.8, -32 / 1.8),
    "ft2": (0.3048**2, 0.0),
    "in": (25.4, 0.0),
    "in_per_day": (25.4, 0.0),
    "pCi_per_L": (37.0, 0.0),
}


@dataclass(slots=True)
class Book:
    """The tables of a record folder by name (keys of :data:`TABLES`), and rows of :data:`TRUTH_COLUMNS`."""

    tables: dict[str, list[Row]] = field(default_factory=lambda: {name: [] for name in TABLES})
    truth: list[Row] = field(default_factory=list)

    def add(self, table: str, **row: object) -> None:
        """Append one row to a table."""
        self.tables[table].append(row)


def day_number(day: dt.date) -> int:
    """Days since 1970-01-01."""
    return day.toordinal() - 719163


def iso_day(day: float) -> str:
    """The ISO date of a float day since 1970-01-01; empty where it isn't finite."""
    return dt.date.fromordinal(int(day // 1) + 719163).isoformat() if np.isfinite(day) else ""


# Writing ------------------------


def write_book(book: Book, folder: Path) -> None:
    """Write the folder of CSV files, and ``truth.csv`` beside it inside the same folder where there is any.

    ``truth.csv`` is no part of the record contract: move or drop it before loading the folder.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for name, columns in TABLES.items():
        if book.tables.get(name):
            _write_table(folder / f"{name}.csv", columns, book.tables[name])
    if book.truth:
        _write_table(folder / "truth.csv", TRUTH_COLUMNS, book.truth)


def _write_table(path: Path, columns: Sequence[str], rows: Iterable[Row]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, columns, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


# Reading ------------------------


def load_tables(folder: Path) -> Book:
    """Read a record folder's CSV files as text; a missing file means none."""
    book = Book()
    for name in TABLES:
        book.tables[name] = _read_table(folder / f"{name}.csv")
    book.truth = _read_table(folder / "truth.csv")
    return book


def _read_table(path: Path) -> list[Row]:
    if not path.exists():
        return []
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def read_book(folder: Path) -> list[BuildingRecord]:
    """The houses of a record folder, in canonical units and local float days."""
    return to_records(load_tables(folder))


def to_records(book: Book) -> list[BuildingRecord]:
    """The houses of a book, ordered by code, their sections ordered by code."""
    tables = book.tables
    zones = {_text(row, "code"): _text(row, "timezone") for row in tables["buildings"]}
    instruments = {_text(row, "code"): _instrument(row) for row in tables["instruments"]}
    readings = _readings_by_place(tables["readings"], zones)
    coats: dict[tuple[str, str], list[Coat]] = {}
    for row in tables["treatments"]:
        coats.setdefault(_place(row), []).append(_coat(row))
    events: dict[tuple[str, str], list[Happening]] = {}
    for row in tables["events"]:
        events.setdefault(_place(row), []).append(_happening(row))
    sections: dict[str, list[SectionRecord]] = {}
    for row in sorted(tables["sections"], key=lambda row: _text(row, "code")):
        place = (_text(row, "building"), _text(row, "code"))
        record = _section(row, coats.get(place, []), events.get(place, []), readings.get(place))
        sections.setdefault(place[0], []).append(record)
    return [
        _building(row, sections, events, readings, instruments)
        for row in sorted(tables["buildings"], key=lambda row: _text(row, "code"))
    ]


def _building(
    row: Row,
    sections: dict[str, list[SectionRecord]],
    events: dict[tuple[str, str], list[Happening]],
    readings: dict[tuple[str, str], Readings],
    instruments: dict[str, Instrument],
) -> BuildingRecord:
    code = _text(row, "code")
    return BuildingRecord(
        code=code,
        sections=tuple(sections.get(code, [])),
        readings=readings.get((code, ""), no_readings()),
        events=tuple(sorted(events.get((code, ""), []), key=lambda event: event.time)),
        instruments=instruments,
        year_built=_number(row, "year_built"),
        country=_text(row, "country"),
    )


def _section(
    row: Row, coats: list[Coat], events: list[Happening], readings: Readings | None
) -> SectionRecord:
    return SectionRecord(
        code=_text(row, "code"),
        wall=_text(row, "wall"),
        start_m=_number(row, "start_m"),
        length_m=_number(row, "length_m"),
        height_m=_number(row, "height_m"),
        below_grade_m=_number(row, "below_grade_m"),
        substrate=_text(row, "substrate") or "unknown",
        bedding_mortar=_text(row, "bedding_mortar") or "unknown",
        adjoins=_text(row, "adjoins") or "soil",
        beyond=_text(row, "beyond") or "unknown",
        coats=tuple(sorted(coats, key=lambda coat: (coat.applied, coat.layer))),
        events=tuple(sorted(events, key=lambda event: event.time)),
        readings=no_readings() if readings is None else readings,
    )


def _instrument(row: Row) -> Instrument:
    numbers = {name: _number(row, name) for name in ("minimum", "maximum", "resolution", "repeatability")}
    return Instrument(_text(row, "code"), _text(row, "kind"), _text(row, "scale"), **numbers)


def _coat(row: Row) -> Coat:
    removed = _day(row, "removed_on")
    return Coat(
        layer=int(str(row["layer"])),
        kind=_text(row, "kind"),
        applied=_day(row, "applied_on"),
        removed=np.inf if np.isnan(removed) else removed,
        removal_reason=_text(row, "removal_reason"),
        binder=_text(row, "binder") or "unknown",
        mix=_text(row, "mix"),
        thickness_mm=_number(row, "thickness_mm"),
        mu=_number(row, "mu"),
        sd_m=_number(row, "sd_m"),
        applied_earliest=_day(row, "applied_earliest"),
        found=_text(row, "found") == "yes",
        face=_text(row, "face") or "room",
        area_m2=_number(row, "area_m2"),
        purpose=_text(row, "purpose") or "permanent",
        drains_to=_text(row, "drains_to") or "unknown",
        strength_mpa=_number(row, "strength_mpa"),
    )


def _happening(row: Row) -> Happening:
    return Happening(
        time=_day(row, "happened_on"),
        kind=_text(row, "kind"),
        layer=_number(row, "layer"),
        area_m2=_number(row, "area_m2"),
        note=_text(row, "note"),
    )


def _text(row: Row, column: str) -> str:
    value = row.get(column)
    return "" if value is None else str(value)


def _number(row: Row, column: str) -> float:
    value = row.get(column)
    return np.nan if value is None or value == "" else float(value)  # type: ignore[arg-type]


def _day(row: Row, column: str) -> float:
    text = _text(row, column)
    return float(day_number(dt.date.fromisoformat(text))) if text else np.nan


def _place(row: Row) -> tuple[str, str]:
    return _text(row, "building"), _text(row, "section")


# Readings, by whole columns since a book holds tens of thousands ------------------------


def _readings_by_place(rows: list[Row], zones: dict[str, str]) -> dict[tuple[str, str], Readings]:
    if not rows:
        return {}
    time = _local_days(rows, zones)
    quantity, unit, qualifier, instrument, point, inspector = (
        np.array([row.get(name) or "" for row in rows], dtype=np.str_)
        for name in ("quantity", "unit", "qualifier", "instrument", "point", "inspector")
    )
    value, unit = _canonical(_float_column(rows, "value"), quantity, unit)
    low = np.where(qualifier == "<", -np.inf, value)
    high = np.where(qualifier == ">", np.inf, value)
    height, depth = _float_column(rows, "height_mm"), _float_column(rows, "depth_mm")
    columns = (time, quantity, value, low, high, unit, height, depth, instrument, point, inspector)
    numbers: dict[tuple[str, str], int] = {}
    group = np.array([numbers.setdefault(_place(row), len(numbers)) for row in rows])
    order = np.lexsort((time, group))
    edges = np.searchsorted(group[order], np.arange(len(numbers) + 1))
    ordered = [column[order] for column in columns]
    return {
        place: Readings(*(column[edges[i] : edges[i + 1]] for column in ordered))
        for place, i in numbers.items()
    }


def _float_column(rows: list[Row], name: str) -> npt.NDArray[np.float64]:
    return np.array([_number(row, name) for row in rows])


def _canonical(
    value: npt.NDArray[np.float64], quantity: npt.NDArray[np.str_], unit: npt.NDArray[np.str_]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.str_]]:
    """Values in canonical units and the units' names; a moisture meter keeps its own scale."""
    value, unit = value.copy(), unit.astype("<U16")
    for name in np.unique(unit):
        if name in CONVERSIONS:
            factor, offset = CONVERSIONS[name]
            value[unit == name] = value[unit == name] * factor + offset
    for name in np.unique(quantity):
        of_it = quantity == name
        if CANONICAL_UNIT[name] in MOISTURE_SCALES:
            unit[of_it & (unit == "")] = CANONICAL_UNIT[name]
        else:
            unit[of_it] = CANONICAL_UNIT[name]
    return value, unit


def _local_days(rows: list[Row], zones: dict[str, str]) -> npt.NDArray[np.float64]:
    """Float days of ``taken_at`` on the building's wall clock."""
    texts = [str(row["taken_at"]) for row in rows]
    for i, text in enumerate(texts):
        if text[-1] == "Z" or "+" in text or text.count("-") > 2:
            zone = ZoneInfo(zones[_text(rows[i], "building")])
            texts[i] = dt.datetime.fromisoformat(text).astimezone(zone).replace(tzinfo=None).isoformat()
    seconds = np.array(texts, dtype="datetime64[s]").astype(np.int64)
    return seconds / 86400.0
