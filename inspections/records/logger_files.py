"""A data logger's own CSV file: one column of times, and a column for each quantity."""

from __future__ import annotations

import csv
import datetime as dt
import re
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

from inspections.records import cells
from inspections.records.cells import suggestion
from inspections.records.faults import Fault, Faults, Problem, shown
from inspections.records.streams import CsvStream

SEPARATORS = (",", ";", "\t")
NAMES = {",": "commas", ";": "semicolons", "\t": "tabs"}
#: Loggers write about themselves first; the header is sought in so many lines.
HEADER_WITHIN = 50
#: What loggers write where nothing was measured.
GAPS = frozenset({"", "-", "--", "---", "nan", "na", "n/a", "null", "none"})

_OFFSET = re.compile(r"Z|([+-])(\d\d?)(?::?(\d\d))?", re.ASCII)
_HAS_OFFSET = re.compile(r".*\d\d:\d\d.*(Z|[+-]\d\d(:?\d\d)*)", re.ASCII)
FARTHEST_HOURS = 18


def utc_offset(text: str) -> str:
    """An offset such as ``+02:00``, ``-5`` or ``Z``, as ISO 8601 writes it."""
    found = _OFFSET.fullmatch(text)
    if found is None:
        raise Problem(f"{shown(text)} is not an offset from UTC; write it as +02:00")
    sign, hours, minutes = found.group(1) or "+", int(found.group(2) or 0), int(found.group(3) or 0)
    if hours > FARTHEST_HOURS or minutes > 59:
        raise Problem(f"{shown(text)} is no offset of any clock; write it as +02:00")
    return f"{sign}{hours:02}:{minutes:02}"


@dataclass(frozen=True, slots=True)
class Header:
    """The line that names the columns, and what separates them."""

    line: int
    separator: str
    names: Sequence[str]


class LoggerFile:
    """The rows of a logger's file, each as its line, its time and the cells of the wanted columns."""

    def __init__(self, path: Path, time: str, wanted: Sequence[str]) -> None:
        self.path = path
        self.header = _header(path, (time, *wanted))
        self._stream = CsvStream(path, self.header.separator, skipped=self.header.line)
        self._time = self.header.names.index(time)
        self._wanted = [self.header.names.index(name) for name in wanted]

    def close(self) -> None:
        self._stream.close()

    def each(self, faults: Faults) -> Iterator[tuple[int, str, list[str]]]:
        width = len(self.header.names)
        for line, row in self._stream.rows():
            # Some loggers end each row, but not the header, with a separator.
            if len(row) < width or any(row[width:]):
                faults.add(Fault(self.path.name, line, "", self._of_other_width(len(row))))
            else:
                yield line, row[self._time], [row[place] for place in self._wanted]

    def _of_other_width(self, width: int) -> str:
        problem = f"the row has {width} cells, the header {len(self.header.names)}"
        if self.header.separator == ",":
            return f"{problem}; a file with decimal commas must be separated by semicolons or tabs"
        return f"{problem}; look for {NAMES[self.header.separator]} too many or too few"


def _header(path: Path, wanted: Sequence[str]) -> Header:
    """The first line that has every wanted column, whatever separates them; raises RecordsRefused."""
    best, most = Header(1, ",", ()), (0, 0)
    with closing(CsvStream(path)) as stream:
        for number, line in enumerate(stream.lines(), 1):
            if number > HEADER_WITHIN:
                break
            for separator in SEPARATORS:
                names = [name.strip() for name in next(csv.reader([line], delimiter=separator), [])]
                score = (len(set(wanted) & set(names)), len(names))
                if score > most:
                    best, most = Header(number, separator, names), score
    faults = Faults()
    for name in dict.fromkeys(wanted):
        count = best.names.count(name)
        if count != 1:
            problem = _why_not(name, best.names) if count == 0 else "the column is there twice; leave one out"
            faults.add(Fault(path.name, best.line, name, problem))
    faults.refuse_any()
    return best


def _why_not(name: str, names: Sequence[str]) -> str:
    named = [name for name in names if name]
    if not named:
        return f"no such column: the first {HEADER_WITHIN} lines of the file are empty"
    return f"no such column {shown(name)}{suggestion(name, named)}"


class Clock:
    """Reads a logger's times: as they say themselves, else at ``offset``, else on the building's clock.

    A time that the building's clock shows twice is the first, unless the file, which goes on in time, was
    there already: then it is the second.
    """

    def __init__(self, zone: ZoneInfo, offset: str = "") -> None:
        self.zone = zone
        self.offset = offset
        self._last: dt.datetime | None = None

    def read(self, cell: str) -> dt.datetime:
        if not cell:
            raise Problem("is missing; every row needs its time")
        own = _HAS_OFFSET.fullmatch(cell) is not None
        if self.offset and not own:
            cell = f"{cell}T00:00" if ":" not in cell else cell
            return cells.moment(f"{cell}{self.offset}", self.zone)[0]
        at = cells.moment(cell, self.zone)[0]
        if not own and self._last is not None and at <= self._last:
            at = self._second(at)
        self._last = at
        return at

    def _second(self, at: dt.datetime) -> dt.datetime:
        """The same time on the clock when it is shown again, if it is."""
        again = at.astimezone(self.zone).replace(fold=1).astimezone(dt.UTC)
        return again if again > at else at


class Numbers:
    """Reads a logger's numbers, which have all a decimal point or, unless commas part them, all a comma."""

    def __init__(self, separator: str) -> None:
        self.separator = separator
        self._mark = ""

    def read(self, cell: str) -> float | None:
        """The number; None where nothing was measured."""
        if cell.lower() in GAPS:
            return None
        if self.separator != "," and ("," in cell or "." in cell):
            cell = self._with_point(cell)
        return cells.number(cell)

    def _with_point(self, cell: str) -> str:
        marks = [character for character in cell if character in ",."]
        if len(marks) > 1:
            raise Problem(f"{shown(cell)} has separators of thousands; write the digits without them")
        self._mark = self._mark or marks[0]
        if marks[0] != self._mark:
            raise Problem(f"{shown(cell)} has a {marks[0]!r} where lines before have a {self._mark!r}")
        return cell.replace(",", ".")
