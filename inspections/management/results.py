"""What commands that answer with JSON share: a day, an organisation, and where the answer goes."""

from __future__ import annotations

import datetime as dt
import json
import os
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, OutputWrapper

from portfolio.models import Organisation


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
    text = json.dumps(result, ensure_ascii=False, indent=1, allow_nan=False)
    if not options["output"]:
        stdout.write(text)
        return
    path = Path(options["output"])
    partial = path.with_name(path.name + ".partial")
    try:
        partial.write_text(text + "\n", encoding="utf-8")
        os.replace(partial, path)
    except OSError as error:
        raise CommandError(f"--output: {path} can't be written ({error.strerror}).") from None
