"""Write an organisation's records as the folder that load_records takes."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from inspections.management.results import known_organisation
from inspections.management.terminal import progress_on
from inspections.records import export_folder


class Command(BaseCommand):
    help = "Write an organisation's records into a folder of CSV files, as load_records takes them."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("folder", metavar="FOLDER")
        parser.add_argument("--organisation", required=True, metavar="SLUG")

    def handle(self, *args: Any, **options: Any) -> None:
        organisation = known_organisation(options["organisation"])
        try:
            with progress_on(self.stderr) as progress:
                counts = export_folder(options["folder"], organisation, progress=progress)
        except OSError as error:
            raise CommandError(f"{options['folder']} cannot be written: {error.strerror}.") from None
        for name, count in counts.items():
            self.stdout.write(f"{name + '.csv':<16} {count:>9,} rows")
