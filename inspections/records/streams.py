"""A CSV file as a stream of rows, whatever separates its cells, with each fault at its line."""

from __future__ import annotations

import codecs
import csv
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from inspections.records.faults import Fault

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


class CsvStream:
    """A CSV file in UTF-8. Of its first ``skipped`` lines nothing is read."""

    def __init__(self, path: Path, separator: str = ",", skipped: int = 0) -> None:
        self.path = path
        self._skipped = skipped
        self._stream = self._opened()
        self._reader = csv.reader(self._unskipped(), delimiter=separator, strict=True)

    def close(self) -> None:
        self._stream.close()

    def unreadable(self, line: int, problem: str) -> Unreadable:
        return Unreadable(Fault(self.path.name, line, "", problem))

    def lines(self) -> Iterator[str]:
        """The text line by line. It can be walked once, either so or by :meth:`rows`."""
        try:
            for number, line in enumerate(self._stream, 1):
                if "\0" in line:
                    raise self.unreadable(number, f"a NUL byte: this is not text; {AS_UTF_8}")
                yield line
        except UnicodeDecodeError as error:
            raise self.unreadable(self._line_not_decoded(), _not_utf_8(error)) from None

    def rows(self) -> Iterator[tuple[int, list[str]]]:
        """Each row that is not blank, as trimmed cells with the line it starts on."""
        while True:
            line = self._reader.line_num + 1
            try:
                cells = [cell.strip() for cell in next(self._reader)]
            except StopIteration:
                return
            except csv.Error as error:
                raise self.unreadable(line, _quoting(str(error))) from None
            if any(cells):
                yield line, cells

    def _unskipped(self) -> Iterator[str]:
        """The lines, those to skip as blank ones so that lines are still counted from the file's first."""
        if not self._skipped:
            return self.lines()
        return self._blanked()

    def _blanked(self) -> Iterator[str]:
        for number, line in enumerate(self.lines(), 1):
            yield line if number > self._skipped else "\n"

    def _opened(self) -> IO[str]:
        try:
            with self.path.open("rb") as file:
                start = file.read(4)
            if start.startswith(SPREADSHEET_SIGNATURES):
                raise self.unreadable(1, f"this is a spreadsheet or an archive, not CSV; {AS_UTF_8}")
            if start.startswith(UTF_16_MARKS):
                raise self.unreadable(1, f"the text is UTF-16; {AS_UTF_8}")
            return self.path.open(encoding="utf-8-sig", newline="")
        except OSError as error:
            raise self.unreadable(1, f"cannot be read: {error.strerror}") from None

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


def _quoting(error: str) -> str:
    if "unexpected end of data" in error:
        return "a quotation mark is opened here and never closed"
    if "field limit" in error:
        return "a cell of more than 131,072 characters; look for a quotation mark that is never closed"
    return f"the row cannot be split into cells ({error}); look at its quotation marks"


def _not_utf_8(error: UnicodeDecodeError) -> str:
    return f"not UTF-8 text (byte 0x{error.object[error.start]:02x}); {AS_UTF_8}"
