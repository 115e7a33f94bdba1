"""Where records come from: a folder of CSV files, or rows that are in memory already."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from inspections.records.faults import Fault, Faults, Problem, RecordsRefused
from inspections.records.streams import CsvStream, Unreadable
from inspections.records.tables import FILES, Table

Row = Mapping[str, str]


class Rows(Protocol):
    """One table's rows. Iterating gives each with the line it starts on; its cells are trimmed text."""

    @property
    def columns(self) -> Sequence[str]: ...

    def each(self, faults: Faults) -> Iterator[tuple[int, Row]]: ...

    def close(self) -> None: ...


class Source(Protocol):
    """Tables of records, each there or not."""

    @property
    def name(self) -> str: ...

    def open(self, table: Table) -> Rows | None: ...


# A folder ------------------------------------------------------------------------------------------------


class Folder:
    """A folder of CSV files, named as the tables."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.name = path.resolve().name
        known = {table.file for table in FILES}
        try:
            files = sorted(entry.name for entry in path.iterdir() if entry.is_file())
        except NotADirectoryError:
            raise self._refusal("is not a folder; give the folder that holds the CSV files") from None
        except OSError:
            raise self._refusal("cannot be read: there is no such folder; check the path") from None
        if known.isdisjoint(files):
            raise self._refusal(f"holds none of {', '.join(sorted(known))}")
        #: Files that are not part of a folder of records.
        self.ignored = [name for name in files if name not in known and not name.startswith(".")]

    def _refusal(self, problem: str) -> RecordsRefused:
        return RecordsRefused([Fault(str(self.path), 0, "", problem)])

    def open(self, table: Table) -> CsvRows | None:
        path = self.path / table.file
        return CsvRows(path, table) if path.is_file() else None


class CsvRows:
    """A CSV file with a header, in UTF-8, read as a stream."""

    def __init__(self, path: Path, table: Table) -> None:
        self.path = path
        self.table = table
        self._stream = CsvStream(path)
        self._rows = self._stream.rows()
        try:
            self.columns: Sequence[str] = self._header()
        except Unreadable:
            self.close()
            raise

    def close(self) -> None:
        self._stream.close()

    def each(self, faults: Faults) -> Iterator[tuple[int, Row]]:
        width = len(self.columns)
        for line, cells in self._rows:
            if len(cells) == width:
                yield line, dict(zip(self.columns, cells, strict=True))
            else:
                faults.add(self._of_other_width(line, cells))

    def _header(self) -> list[str]:
        header = next((cells for _, cells in self._rows), None)
        if header is None:
            problem = f"the file is empty; its first line names the columns of {self.path.name}"
            raise self._stream.unreadable(1, problem)
        if len(header) == 1 and header[0].count(";") > 1:
            problem = "the cells are separated by semicolons; save the file with commas"
            raise self._stream.unreadable(1, problem)
        return header

    def _of_other_width(self, line: int, cells: list[str]) -> Fault:
        width = len(self.columns)
        split = _decimal_comma(self.table, self.columns, cells)
        if split is not None:
            whole, part = cells[split : split + 2]
            problem = f"decimal comma: write {whole}.{part}, not {whole},{part}"
            return Fault(self.path.name, line, self.columns[split], problem)
        problem = f"the row has {len(cells)} cells, the header {width}; look for a comma too many or too few"
        return Fault(self.path.name, line, "", problem)


def _decimal_comma(table: Table, columns: Sequence[str], cells: list[str]) -> int | None:
    """Where one cell too many comes from a number that was written with a comma, if that explains the row."""
    if len(cells) != len(columns) + 1:
        return None
    known = {column.name: column.read for column in table.columns}
    for i in range(len(columns)):
        merged = [*cells[:i], f"{cells[i]}.{cells[i + 1]}", *cells[i + 2 :]]
        if not (cells[i].lstrip("+-").isdigit() and cells[i + 1].isdigit()):
            continue
        try:
            for name, cell in zip(columns, merged, strict=True):
                if cell:
                    known[name](cell)
        except (Problem, KeyError):
            continue
        return i
    return None


# Rows in memory --------------------------------------------------------------------------------------------


@dataclass(slots=True)
class GivenRows:
    """Rows of one table as mappings, such as JSON objects; a row's line is its number from 1."""

    table: Table
    rows: Sequence[Mapping[str, object]]
    columns: Sequence[str] = field(init=False)

    def __post_init__(self) -> None:
        self.columns = list(dict.fromkeys(name for row in self.rows for name in row))

    def each(self, faults: Faults) -> Iterator[tuple[int, Row]]:
        for number, row in enumerate(self.rows, 1):
            yield number, {name: as_text(row.get(name)) for name in self.columns}

    def close(self) -> None:
        pass


@dataclass(frozen=True, slots=True)
class Given:
    """Tables whose rows are in memory."""

    name: str
    tables: Mapping[str, Sequence[Mapping[str, object]]]

    def open(self, table: Table) -> GivenRows | None:
        rows = self.tables.get(table.name)
        return None if rows is None else GivenRows(table, rows)


def as_text(value: object) -> str:
    """A JSON value as the text of a cell."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value).strip()
