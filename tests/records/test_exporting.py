"""Records out: the same bytes after export, load and export; ordered, complete, without what was voided."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from inspections.models import Instrument, Reading
from inspections.records import export_folder, load_folder
from portfolio.models import Organisation, Section
from tests.records.books import Tables, read_folder, write_book
from tests.records.state import everything

pytestmark = pytest.mark.django_db


def export(slug: str, path: Path) -> dict[str, bytes]:
    export_folder(path, Organisation.objects.get(slug=slug))
    return read_folder(path)


def cells(content: bytes, column: str) -> list[str]:
    return [row[column] for row in csv.DictReader(content.decode().splitlines(keepends=True))]


def test_export_load_export_gives_the_same_bytes(folder: Path, tmp_path: Path) -> None:
    load_folder(folder, "larch-row")
    first = export("larch-row", tmp_path / "one")
    load_folder(tmp_path / "one", "mill-lane")
    assert export("mill-lane", tmp_path / "two") == first
    assert len(first) == 9


def test_loading_the_export_changes_nothing(folder: Path, tmp_path: Path) -> None:
    load_folder(folder, "larch-row")
    before = everything(except_loads=True)
    export("larch-row", tmp_path / "one")
    load_folder(tmp_path / "one", "larch-row")
    assert everything(except_loads=True) == before


def test_readings_leave_as_they_were_entered(folder: Path, tmp_path: Path) -> None:
    load_folder(folder, "larch-row")
    readings = export("larch-row", tmp_path / "one")["readings.csv"]
    assert cells(readings, "value") == ["3.1", "40", "42", "98", "1.5", "64.4"]
    assert cells(readings, "unit")[-2:] == ["ft2", "degF"]
    assert cells(readings, "taken_at")[:2] == ["2016-01-12T09:00:00+01:00", "2015-08-11T10:05:00+02:00"]
    assert cells(readings, "note")[1] == 'a "soft", wet\nplace'


@pytest.mark.parametrize("hour", ["2015-10-25T02:30:00+02:00", "2015-10-25T02:30:00+01:00"])
def test_an_hour_that_comes_twice_leaves_with_its_offset(hour: str, tmp_path: Path, tables: Tables) -> None:
    tables["readings"] = [tables["readings"][4] | {"taken_at": hour}]
    load_folder(write_book(tmp_path / "book", tables), "larch-row")
    assert cells(export("larch-row", tmp_path / "one")["readings.csv"], "taken_at") == [hour]


def test_numbers_leave_in_their_shortest_form(folder: Path, tmp_path: Path) -> None:
    load_folder(folder, "larch-row")
    files = export("larch-row", tmp_path / "one")
    assert cells(files["treatments.csv"], "thickness_mm") == ["20", "0"]
    assert cells(files["treatments.csv"], "sd_m") == ["", "0.4"]
    assert cells(files["treatments.csv"], "cost") == ["320.5", ""]
    assert cells(files["treatments.csv"], "found") == ["", "yes"]
    assert cells(files["sections.csv"], "length_m") == ["2.5", "3"]


def test_rows_are_ordered_by_code_point_on_every_engine(tmp_path: Path, tables: Tables) -> None:
    codes = ["b", "B", "a-1", "a1", "é", "Z", "10", "9"]
    tables["sections"] += [tables["sections"][0] | {"code": code} for code in codes]
    load_folder(write_book(tmp_path / "book", tables), "larch-row")
    written = cells(export("larch-row", tmp_path / "one")["sections.csv"], "code")
    assert written == sorted([*codes, "W1", "W2"])


def test_what_was_voided_stays_behind(folder: Path, tmp_path: Path) -> None:
    load_folder(folder, "larch-row")
    Reading.objects.filter(point="a").update(voided_at=timezone.now())
    Section.objects.filter(code="W2").update(voided_at=timezone.now())
    Instrument.objects.filter(code="HY").update(voided_at=timezone.now())
    files = export("larch-row", tmp_path / "one")
    assert cells(files["readings.csv"], "value") == ["3.1", "40", "98", "1.5"]
    assert cells(files["sections.csv"], "code") == ["W1"]
    assert cells(files["allocations.csv"], "section") == ["W1"]
    assert cells(files["treatments.csv"], "section") == ["W1"]
    # A standing reading was taken with it, and the folder must load elsewhere.
    assert cells(files["instruments.csv"], "code") == ["HY", "M1"]
    load_folder(tmp_path / "one", "mill-lane")


def test_an_earlier_export_is_replaced_and_other_files_stay(folder: Path, tmp_path: Path) -> None:
    load_folder(folder, "larch-row")
    target = tmp_path / "one"
    target.mkdir()
    (target / "readings.csv").write_text("old")
    (target / "letter.txt").write_text("kept")
    files = export("larch-row", target)
    assert files["letter.txt"] == b"kept"
    assert files["readings.csv"].startswith(b"building,section,taken_at,quantity,")
    assert len(files) == 10


def test_the_command_names_an_organisation_that_is_not_there(tmp_path: Path, folder: Path) -> None:
    load_folder(folder, "larch-row")
    with pytest.raises(CommandError, match=r"no organisation 'mill-lane'\. There are: larch-row"):
        call_command("export_records", str(tmp_path / "one"), organisation="mill-lane")
