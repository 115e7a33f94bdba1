"""What is wrong in a folder of records, where, and how to mend it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

#: So many faults are shown; the rest are counted.
SHOWN = 50
LONGEST_SHOWN = 40


class Problem(ValueError):
    """What is wrong with one cell or row, worded so that it can be mended."""


@dataclass(frozen=True, slots=True)
class Fault:
    """A problem and its place: the file, the line a row starts on, and the column (empty: the row).

    Line 0 stands for something as a whole, such as the folder.
    """

    file: str
    line: int
    column: str
    problem: str

    def __str__(self) -> str:
        if not self.line:
            return f"{self.file}: {self.problem}"
        return f"{self.file}:{self.line}: {printable(self.column) or '-'}: {self.problem}"


@dataclass(slots=True)
class Faults:
    """All that was found wrong: the first :data:`SHOWN` faults, and how many there are."""

    kept: list[Fault] = field(default_factory=list)
    total: int = 0

    def add(self, fault: Fault) -> None:
        self.total += 1
        if len(self.kept) < SHOWN:
            self.kept.append(fault)

    def more(self, count: int) -> None:
        """Count faults that are like the last one and are not shown."""
        self.total += count

    def refuse_any(self) -> None:
        """Raise :class:`RecordsRefused` if anything is wrong."""
        if self.total:
            raise RecordsRefused(self.kept, self.total)


class RecordsRefused(Exception):
    """The records are wrong somewhere, and nothing was saved."""

    def __init__(self, errors: Iterable[Fault], total: int | None = None) -> None:
        self.errors = list(errors)
        self.total = len(self.errors) if total is None else total
        super().__init__(str(self))

    def __str__(self) -> str:
        lines = [str(error) for error in self.errors]
        if self.total > len(lines):
            lines.append(f"… and {self.total - len(lines):,} more")
        return "\n".join(lines)


def printable(text: str) -> str:
    """A cell's text as it may be repeated in a message: short, without control characters."""
    short = text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 1] + "…"
    return "".join(c if c.isprintable() else "�" for c in short)


def shown(text: str) -> str:
    """A cell's text as it may be repeated in a message, in quotes."""
    return f"'{printable(text)}'"
