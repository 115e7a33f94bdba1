from __future__ import annotations

import datetime as dt
import json
import os
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inspections.domain.assess import assess_organisation
from portfolio.models import Organisation


def _day(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise CommandError(f"--as-of: {text!r} is not a date; write it as 2025-09-15.") from None


class Command(BaseCommand):
    help = "Assess every section of an organisation; without --as-of the results are stored."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--organisation", required=True, metavar="SLUG")
        parser.add_argument("--as-of", metavar="DATE", help="replay what was known at the end of this day")
        parser.add_argument("--output", metavar="FILE", help="write the JSON here, not to standard output")

    def handle(self, *args: Any, **options: Any) -> None:
        slug = options["organisation"]
        organisation = Organisation.objects.filter(slug=slug).first()
        if organisation is None:
            raise CommandError(f"There is no organisation {slug!r}; load its records first: load_records.")
        as_of = _day(options["as_of"]) if options["as_of"] else None
        results = [result.as_json() for result in assess_organisation(organisation, as_of=as_of)]
        text = json.dumps(results, ensure_ascii=False, indent=1, allow_nan=False)
        if options["output"]:
            _write(Path(options["output"]), text)
        else:
            self.stdout.write(text)
        self.stderr.write(f"Assessed {len(results)} sections of {organisation}.")


def _write(path: Path, text: str) -> None:
    """Write whole or not at all."""
    partial = path.with_name(path.name + ".partial")
    try:
        partial.write_text(text + "\n", encoding="utf-8")
        os.replace(partial, path)
    except OSError as error:
        raise CommandError(f"--output: {path} can't be written ({error.strerror}).") from None
