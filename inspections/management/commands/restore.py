"""Put a backup into an empty database."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from inspections.backup import BackupRefused, restore
from inspections.management.terminal import progress_on


class Command(BaseCommand):
    help = "Put a file that backup wrote into an empty, migrated database, all of it or nothing."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            with progress_on(self.stderr) as progress:
                stamp = restore(options["file"], progress)
        except BackupRefused as refused:
            raise CommandError(f"{refused}\nNothing was changed.") from None
        self.stdout.write(f"Restored {sum(stamp.tables.values()):,} rows and {stamp.media:,} files.")
