"""Readings as one columnar file, read back by the library whose format it is."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from pyarrow import parquet

from inspections.models import Reading
from inspections.records import columnar, load_folder
from inspections.vocabulary import UNITS, Quantity, Unit
from portfolio.models import Organisation
from tests.records.books import good_book, write_book

pytestmark = pytest.mark.django_db


@pytest.fixture
def organisation(tmp_path: Path) -> Organisation:
    write_book(tmp_path / "book", good_book())
    load_folder(tmp_path / "book", "kiln-row")
    return Organisation.objects.get(slug="kiln-row")


def test_holds_every_standing_reading_as_it_is(
    organisation: Organisation, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(columnar, "GROUP", 2)
    file = tmp_path / "readings.parquet"
    call_command("export_readings", str(file), organisation="kiln-row")
    rows = parquet.read_table(file).to_pylist()
    stored = list(
        Reading.objects.of(organisation).select_related("section", "instrument").order_by("taken_at", "id")
    )
    assert len(rows) == len(stored) > 2
    for row, reading in zip(rows, stored, strict=True):
        assert row["id"] == str(reading.pk)
        assert row["taken_at"] == reading.taken_at
        assert (row["value"], row["entered_value"], row["unit"]) == (
            reading.value,
            reading.entered_value,
            reading.unit,
        )
        assert row["section"] == (reading.section.code if reading.section else None)
        assert row["canonical_unit"] == UNITS[Quantity(reading.quantity)][Unit(reading.unit)].canonical
        assert row["height_mm"] == reading.height_mm
    Reading.objects.filter(pk=stored[0].pk).update(voided_at=stored[0].taken_at)
    call_command("export_readings", str(file), organisation="kiln-row")
    assert [row["id"] for row in parquet.read_table(file).to_pylist()] == [str(one.pk) for one in stored[1:]]
    assert [path.name for path in tmp_path.iterdir() if path.name.endswith(".part")] == []


@pytest.mark.parametrize(
    ("file", "slug", "says"),
    [
        ("no/such/place.parquet", "kiln-row", "cannot be written"),
        ("a.parquet", "kiln", "no organisation 'kiln'"),
    ],
)
def test_says_what_is_wrong(
    organisation: Organisation, tmp_path: Path, file: str, slug: str, says: str
) -> None:
    with pytest.raises(CommandError, match=says):
        call_command("export_readings", str(tmp_path / file), organisation=slug)


def test_says_what_is_missing(
    organisation: Organisation, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(CommandError, match="columnar"):
        call_command("export_readings", str(tmp_path / "a.parquet"), organisation="kiln-row")
