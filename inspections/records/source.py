"""Where records come from: a folder of CSV files, or rows that are in memory already."""

from __future__ import annotations

import codecs
import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Protocol

from inspections.records.faults import Fault, Faults, Problem, RecordsRefused
from inspections.records.tables import TABLES, Table

Row = Mapping[str, str]

#: What files that are no CSV often begin with.
SPREADSHEET_SIGNATURES = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
UTF_16_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
READ_BYTES = 1 << 20
AS_UTF_8 = "save it as CSV in UTF-8"


class Unreadable(Exception):
    """A file that cannot be read any further, with the fault that says why."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(str(fault))
        self.fault = fault


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
        known = {table.file for table in TABLES}
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
        self._stream = self._opened()
        self._reader = csv.reader(self._lines(self._stream), strict=True)
        try:
            header = next((cells for _, cells in self._cells()), None)
            if header is None:
                raise self._unreadable(
                    1, f"the file is empty; its first line names the columns of {path.name}"
                )
        except Unreadable:
            self.close()
            raise
        self.columns: Sequence[str] = header
        if len(header) == 1 and header[0].count(";") > 1:
            self.close()
            raise self._unreadable(1, "the cells are separated by semicolons; save the file with commas")

    def close(self) -> None:
        self._stream.close()

    def each(self, faults: Faults) -> Iterator[tuple[int, Row]]:
        width = len(self.columns)
        for line, cells in self._cells():
            if len(cells) == width:
                yield line, dict(zip(self.columns, cells, strict=True))
            else:
                faults.add(self._of_other_width(line, cells))

    def _opened(self) -> IO[str]:
        try:
            with self.path.open("rb") as file:
                start = file.read(4)
            if start.startswith(SPREADSHEET_SIGNATURES):
                raise self._unreadable(1, f"this is a spreadsheet or an archive, not CSV; {AS_UTF_8}")
            if start.startswith(UTF_16_MARKS):
                raise self._unreadable(1, f"the text is UTF-16; {AS_UTF_8}")
            return self.path.open(encoding="utf-8-sig", newline="")
        except OSError as error:
            raise self._unreadable(1, f"cannot be read: {error.strerror}") from None

    def _lines(self, stream: IO[str]) -> Iterator[str]:
        for number, line in enumerate(stream, 1):
            if "\0" in line:
                raise self._unreadable(number, f"a NUL byte: this is not text; {AS_UTF_8}")
            yield line

    def _cells(self) -> Iterator[tuple[int, list[str]]]:
        """Each row that is not blank, with the line it starts on."""
        while True:
            line = self._reader.line_num + 1
            try:
                cells = [cell.strip() for cell in next(self._reader)]
            except StopIteration:
                return
            except csv.Error as error:
                raise self._unreadable(line, _quoting(str(error))) from None
            except UnicodeDecodeError as error:
                raise self._unreadable(self._line_not_decoded(), _not_utf_8(error)) from None
            if any(cells):
                yield line, cells

    def _line_not_decoded(self) -> int:
        """The line of the first byte that is not UTF-8, which the buffered stream does not tell."""
        decoder = codecs.getincrementaldecoder("utf-8")()
        line = 1
        with self.path.open("rb") as file:
            while chunk := file.read(READ_BYTES):
                try:
                    decoder.decode(chunk)
                except UnicodeDecodeError as error:
                    # The decoder may hold a few bytes of the chunk before; none of them is a line end.
                    return line + error.object[: error.start].count(b"\n")
                line += chunk.count(b"\n")
        return line

    def _of_other_width(self, line: int, cells: list[str]) -> Fault:
        width = len(self.columns)
        split = _decimal_comma(self.table, self.columns, cells)
        if split is not None:
            whole, part = cells[split : split + 2]
            problem = f"decimal comma: write {whole}.{part}, not {whole},{part}"
            return Fault(self.path.name, line, self.columns[split], problem)
        problem = f"the row has {len(cells)} cells, the header {width}; look for a comma too many or too few"
        return Fault(self.path.name, line, "", problem)

    def _unreadable(self, line: int, problem: str) -> Unreadable:
        return Unreadable(Fault(self.path.name, line, "", problem))


def _quoting(error: str) -> str:
    if "unexpected end of data" in error:
        return "a quotation mark is opened here and never closed"
    if "field limit" in error:
        return "a cell of more than 131,072 characters; look for a quotation mark that is never closed"
    return f"the row cannot be split into cells ({error}); look at its quotation marks"


def _not_utf_8(error: UnicodeDecodeError) -> str:
    return f"not UTF-8 text (byte 0x{error.object[error.start]:02x}); {AS_UTF_8}"


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
