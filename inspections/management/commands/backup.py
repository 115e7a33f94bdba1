"""Write everything into one file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from inspections.backup import BackupRefused, backup
from inspections.management.terminal import progress_on


class Command(BaseCommand):
    help = "Write all organisations, people, records and photos into one file, for restore to read."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", type=Path, help="a new file; it holds password hashes")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            with progress_on(self.stderr) as progress:
                stamp = backup(options["file"], progress)
        except BackupRefused as refused:
            raise CommandError(str(refused)) from None
        self.stdout.write(f"Saved {sum(stamp.tables.values()):,} rows and {stamp.media:,} files.")
