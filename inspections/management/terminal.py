"""Progress on a terminal: one line that is written over, and nothing where output goes to a file."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Protocol

WIDTH = 60


class Output(Protocol):
    """As much of Django's wrapped standard error as is needed here."""

    def isatty(self) -> bool: ...

    def write(self, msg: str = "", style_func: None = None, ending: str | None = None) -> None: ...

    def flush(self) -> None: ...


@contextmanager
def progress_on(output: Output) -> Iterator[Callable[[str, int], None] | None]:
    """A function that shows what is being done and how many rows of it, or None without a terminal."""
    if not output.isatty():
        yield None
        return

    def show(what: str, rows: int) -> None:
        output.write(f"\r{what}: {rows:,} rows".ljust(WIDTH), ending="")
        output.flush()

    try:
        yield show
    finally:
        output.write("\r" + " " * WIDTH + "\r", ending="")
        output.flush()
