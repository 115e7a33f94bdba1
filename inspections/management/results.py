"""What commands that answer with JSON share: a day, an organisation, and where the answer goes."""

from __future__ import annotations

import datetime as dt
import json
import os
from argparse import ArgumentParser
from collections.abc import Iterable, Iterator
from contextlib import suppress
from pathlib import Path
from tempfile import TemporaryFile
from textwrap import indent
from typing import Any

from django.core.management.base import CommandError, OutputWrapper

from portfolio.models import Organisation

#: Characters that go to standard output at once.
_AT_ONCE = 1 << 20


def add_options(parser: ArgumentParser) -> None:
    """The options that all of them take."""
    parser.add_argument("--organisation", required=True, metavar="SLUG")
    parser.add_argument("--as-of", metavar="DATE", help="replay what was known at the end of this day")
    parser.add_argument("--output", metavar="FILE", help="write the JSON here, not to standard output")


def organisation_of(options: dict[str, Any]) -> Organisation:
    """The organisation that is named."""
    slug = options["organisation"]
    found = Organisation.objects.filter(slug=slug).first()
    if found is None:
        raise CommandError(f"There is no organisation {slug!r}; load its records first: load_records.")
    return found


def known_organisation(slug: str) -> Organisation:
    """The organisation with this slug; where there is none, those that there are."""
    found = Organisation.objects.filter(slug=slug).first()
    if found is None:
        known = ", ".join(Organisation.objects.values_list("slug", flat=True)[:20]) or "none yet"
        raise CommandError(f"There is no organisation {slug!r}. There are: {known}.")
    return found


def day_of(options: dict[str, Any]) -> dt.date | None:
    """The day that is named, if one is."""
    text = options["as_of"]
    if not text:
        return None
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise CommandError(f"--as-of: {text!r} is not a date; write it as 2025-09-15.") from None


def give(result: object, options: dict[str, Any], stdout: OutputWrapper) -> None:
    """The result as JSON, into the named file or to standard output."""
    _write(iter([_dumped(result)]), options, stdout)


def give_rows(rows: Iterable[object], options: dict[str, Any], stdout: OutputWrapper) -> int:
    """The array of ``rows`` as :func:`give` gives it, one in memory at a time; how many there were."""
    count = 0

    def parts() -> Iterator[str]:
        nonlocal count
        for row in rows:
            yield (",\n" if count else "[\n") + indent(_dumped(row), " ")
            count += 1
        yield "\n]" if count else "[]"

    _write(parts(), options, stdout)
    return count


def _dumped(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, indent=1, allow_nan=False)


def _write(parts: Iterator[str], options: dict[str, Any], stdout: OutputWrapper) -> None:
    """All of it or nothing: what can't be finished leaves no file, and nothing on standard output."""
    if not options["output"]:
        with TemporaryFile("w+", encoding="utf-8") as kept:
            kept.writelines(parts)
            kept.seek(0)
            while text := kept.read(_AT_ONCE):
                stdout.write(text, ending="")
        stdout.write("")
        return
    path = Path(options["output"])
    partial = path.with_name(path.name + ".partial")
    try:
        with partial.open("w", encoding="utf-8") as file:
            file.writelines(parts)
            file.write("\n")
        os.replace(partial, path)
    except OSError as error:
        raise CommandError(f"--output: {path} can't be written ({error.strerror}).") from None
    finally:
        with suppress(OSError):
            partial.unlink()
