"""Write an organisation's readings as one columnar file."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from inspections.management.results import known_organisation
from inspections.management.terminal import progress_on
from inspections.records.columnar import export_columns


class Command(BaseCommand):
    help = "Write all readings of an organisation into one Parquet file, for programs that compute."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE")
        parser.add_argument("--organisation", required=True, metavar="SLUG")

    def handle(self, *args: Any, **options: Any) -> None:
        organisation = known_organisation(options["organisation"])
        try:
            with progress_on(self.stderr) as progress:
                count = export_columns(options["file"], organisation, progress=progress)
        except ModuleNotFoundError:
            raise CommandError("Parquet files need pyarrow: pip install -e '.[columnar]'.") from None
        except OSError as error:
            raise CommandError(f"{options['file']} cannot be written: {error.strerror}.") from None
        self.stdout.write(f"{count:,} readings")
