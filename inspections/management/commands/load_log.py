"""Load a data logger's CSV file: all of it, or nothing."""

from __future__ import annotations

import re
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from inspections.management.terminal import progress_on
from inspections.records import LogReport, Place, RecordsRefused, load_log

#: `--utc-offset -05:00` is a value and no option, as negative numbers are to the parser already.
_VALUE_WITH_MINUS = re.compile(r"-\d.*")


class Command(BaseCommand):
    help = "Load a data logger's CSV file into one building or section, all of it or nothing."

    def add_arguments(self, parser: CommandParser) -> None:
        parser._negative_number_matcher = _VALUE_WITH_MINUS
        parser.add_argument("file", metavar="FILE")
        parser.add_argument("--organisation", required=True, metavar="SLUG")
        parser.add_argument("--building", required=True, metavar="CODE")
        parser.add_argument("--section", default="", metavar="CODE", help="the house's own without it")
        parser.add_argument("--time", required=True, metavar="COLUMN", help="the column of the times")
        parser.add_argument(
            "--column",
            required=True,
            nargs="+",
            action="extend",
            metavar="QUANTITY=COLUMN",
            help="which column holds which quantity; may be repeated",
        )
        parser.add_argument(
            "--unit",
            nargs="+",
            action="extend",
            default=[],
            metavar="QUANTITY=UNIT",
            help="else the instrument's scale where it fits, else the quantity's first unit",
        )
        parser.add_argument(
            "--utc-offset",
            default="",
            metavar="+02:00",
            help="of the logger's clock; without it, times without an offset are on the building's clock",
        )
        parser.add_argument("--instrument", default="", metavar="CODE")
        parser.add_argument("--height-mm", type=float, metavar="MM", help="above the floor")
        parser.add_argument("--depth-mm", type=float, metavar="MM", help="behind the face")
        parser.add_argument("--point", default="", metavar="NAME", help="tells places of a section apart")
        parser.add_argument("--dry-run", action="store_true", help="check the file and save nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        place = Place(
            **{
                name: options[name]
                for name in ("building", "section", "instrument", "height_mm", "depth_mm", "point")
            }
        )
        columns, units = pairs("--column", options["column"]), pairs("--unit", options["unit"])
        try:
            with progress_on(self.stderr) as progress:
                report = load_log(
                    options["file"],
                    options["organisation"],
                    place,
                    time=options["time"],
                    columns=columns,
                    units=units,
                    offset=options["utc_offset"],
                    dry_run=options["dry_run"],
                    progress=progress,
                )
        except RecordsRefused as refused:
            raise CommandError(f"{refused}\nNothing was saved.") from None
        self.stdout.write(summary(report))


def pairs(option: str, given: list[str]) -> dict[str, str]:
    """``QUANTITY=…`` as a mapping."""
    found: dict[str, str] = {}
    for text in given:
        quantity, equals, other = (part.strip() for part in text.partition("="))
        if not (quantity and equals and other):
            raise CommandError(f"{option}: {text!r} is not QUANTITY=NAME, such as air_humidity=RH")
        if quantity in found:
            raise CommandError(f"{option}: {quantity} is given twice; keep one")
        found[quantity] = other
    return found


def summary(report: LogReport) -> str:
    """What the load did."""
    c = report.counts
    lines = [f"{report.file}: {c.new:,} values new, {c.changed:,} changed, {c.unchanged:,} unchanged"]
    if report.first and report.last:
        lines.append(f"from {report.first:%Y-%m-%d %H:%M:%S} to {report.last:%Y-%m-%d %H:%M:%S} UTC")
    if report.gaps:
        lines.append(f"{report.gaps:,} empty cells were left out")
    if report.repeated:
        lines.append(f"{report.repeated:,} values stood in the file twice and were taken once")
    lines.append("Checked only, nothing saved." if report.dry_run else "Loaded.")
    return "\n".join(lines)
