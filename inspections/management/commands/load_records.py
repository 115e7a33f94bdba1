"""Load a folder of records: all of it, or nothing."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from inspections.management.terminal import progress_on
from inspections.records import LoadReport, RecordsRefused, load_folder


class Command(BaseCommand):
    help = "Load a folder of records (CSV files) into an organisation, all of it or nothing."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("folder", metavar="FOLDER")
        parser.add_argument("--organisation", required=True, metavar="SLUG", help="created if it is missing")
        parser.add_argument("--dry-run", action="store_true", help="check the folder and save nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            with progress_on(self.stderr) as progress:
                report = load_folder(
                    options["folder"],
                    options["organisation"],
                    dry_run=options["dry_run"],
                    progress=progress,
                )
        except RecordsRefused as refused:
            raise CommandError(f"{refused}\nNothing was saved.") from None
        for notice in report.notices:
            self.stderr.write(notice)
        self.stdout.write(summary(report))


def summary(report: LoadReport) -> str:
    """What the load did, one line per file."""
    lines = [
        f"{name + '.csv':<16} {c.new:>9,} new {c.changed:>9,} changed {c.unchanged:>9,} unchanged"
        for name, c in report.files.items()
    ]
    new = " (new)" if report.organisation_is_new else ""
    done = "Checked only, nothing saved" if report.dry_run else "Loaded"
    return "\n".join([*lines, f"{done}: organisation {report.organisation}{new}."])
