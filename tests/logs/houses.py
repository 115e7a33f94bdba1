"""The good book's house, loaded, and how to write and load a logger's file. The house is invented."""

from __future__ import annotations

from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from inspections.models import LogSeries, LogValue
from inspections.records import load_folder
from portfolio.models import Building, Organisation
from tests.records.books import good_book, write_book
from tests.records.state import everything

SLUG = "larch-row"


def kiln_house(folder: Path, timezone: str = "Europe/Brussels") -> Building:
    tables = good_book()
    tables["buildings"][0]["timezone"] = timezone
    load_folder(write_book(folder, tables), SLUG)
    return Building.objects.of(Organisation.objects.get(slug=SLUG)).get()


def run(
    file: Path, *options: str, time: str = "time", columns: tuple[str, ...] = ("air_humidity=RH",)
) -> str:
    """Load by the command as written on a command line; what it said."""
    out = StringIO()
    arguments = ["--organisation", SLUG, "--building", "K1", "--time", time, "--column", *columns, *options]
    call_command("load_log", str(file), *arguments, stdout=out)
    return out.getvalue()


def refused(file: Path, *options: str, **named: Any) -> list[str]:
    """The lines of a refusal, which saves nothing."""
    before = everything()
    with pytest.raises(CommandError) as error:
        run(file, *options, **named)
    assert everything() == before
    assert error.value.returncode == 1
    *lines, last = str(error.value).splitlines()
    assert last == "Nothing was saved."
    return lines


def values(quantity: str = "air_humidity") -> list[tuple[str, float]]:
    """What the series of a quantity holds: minute in UTC, and value."""
    rows = LogValue.objects.filter(series=LogSeries.objects.get(quantity=quantity)).order_by("at")
    return [(f"{at:%Y-%m-%dT%H:%M}", value) for at, value in rows.values_list("at", "value")]
