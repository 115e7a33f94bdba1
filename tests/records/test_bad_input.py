"""Bad folders: each is refused as a whole, with file, line, column and the mend, and nothing is saved."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from inspections.records import RecordsRefused, load_folder
from tests.records.books import Tables, good_book, write_book
from tests.records.state import everything

pytestmark = pytest.mark.django_db
PLACE = re.compile(r"^[\w.-]+\.csv:\d+: (\w[\w ]*|-): \S")


def refused(folder: Path) -> list[str]:
    """The lines of the refusal, after checking that nothing at all was saved."""
    before = everything()
    with pytest.raises(RecordsRefused) as refusal:
        load_folder(folder, "larch-row")
    assert everything() == before
    return str(refusal.value).splitlines()


def cell(table: str, row: int, column: str, value: str) -> Callable[[Tables], None]:
    def change(tables: Tables) -> None:
        tables[table][row][column] = value

    return change


def column_gone(table: str, column: str) -> Callable[[Tables], None]:
    def change(tables: Tables) -> None:
        for row in tables[table]:
            del row[column]

    return change


def same_row_again(table: str, row: int) -> Callable[[Tables], None]:
    return lambda tables: tables[table].append(dict(tables[table][row]))


def large_inches(tables: Tables) -> None:
    tables["readings"][2] |= {"quantity": "water_level", "unit": "in", "value": "1e308"}


# A row's first line: the header is line 1, and the first reading's note holds a line end.
CASES = {
    "unknown column": (cell("sections", 0, "colour", "red"), "sections.csv:1: colour: unknown column"),
    "misspelt column": (cell("sections", 0, "hight_m", ""), "sections.csv:1: hight_m: .*mean height_m"),
    "column missing": (column_gone("treatments", "kind"), "treatments.csv:1: kind: the column is missing"),
    "wrong unit": (cell("readings", 4, "unit", "mm"), "readings.csv:7: unit: .*degC, degF"),
    "unknown unit": (cell("readings", 4, "unit", "Celsius"), "readings.csv:7: unit: .*not an allowed word"),
    "no unit": (cell("readings", 4, "unit", ""), "readings.csv:7: unit: is missing"),
    "unknown quantity": (cell("readings", 4, "quantity", "damp"), "readings.csv:7: quantity: "),
    "no such time": (cell("readings", 1, "taken_at", "not-a-date"), "readings.csv:4: taken_at: .*not a time"),
    "no such hour": (cell("readings", 1, "taken_at", "2015-08-11T25:00"), "readings.csv:4: taken_at: "),
    "no such day": (
        cell("treatments", 0, "applied_on", "2014-02-30"),
        "treatments.csv:2: applied_on: .*no day",
    ),
    "day in words": (
        cell("events", 1, "happened_on", "1 July 2016"),
        "events.csv:3: happened_on: .*year-month-day",
    ),
    "day first": (cell("trials", 0, "started_on", "10/05/2014"), "trials.csv:2: started_on: "),
    "skipped by the clocks": (
        cell("readings", 1, "taken_at", "2015-03-29T02:30:00"),
        "readings.csv:4: taken_at: .*does not exist in Europe/Brussels",
    ),
    "section of a reading": (
        cell("readings", 2, "section", "W9"),
        "readings.csv:5: section: no section 'W9'",
    ),
    "building of a reading": (cell("readings", 2, "building", "K9"), "readings.csv:5: building: no building"),
    "instrument of a reading": (cell("readings", 2, "instrument", "M9"), "readings.csv:5: instrument: no"),
    "section of a treatment": (
        cell("treatments", 0, "section", "W9"),
        "treatments.csv:2: section: no section",
    ),
    "section of an event": (cell("events", 0, "section", "W9"), "events.csv:2: section: no section"),
    "building of a section": (cell("sections", 1, "building", "K9"), "sections.csv:3: building: no building"),
    "trial of an allocation": (cell("allocations", 1, "trial", "T9"), "allocations.csv:3: trial: no trial"),
    "section of an allocation": (
        cell("allocations", 1, "section", ""),
        "allocations.csv:3: section: is missing",
    ),
    "reading twice": (same_row_again("readings", 1), "readings.csv:9: taken_at: the same key as line 4"),
    "section twice": (same_row_again("sections", 0), "sections.csv:4: code: the same key as line 2"),
    "event of a house twice": (
        same_row_again("events", 1),
        "events.csv:4: happened_on: the same key as line 3",
    ),
    "building twice": (same_row_again("buildings", 0), "buildings.csv:3: code: the same key as line 2"),
    "treatment twice": (same_row_again("treatments", 0), "treatments.csv:4: applied_on: .*line 2"),
    "qualifier without a value": (
        cell("readings", 2, "value", ""),
        "readings.csv:5: qualifier: > without a value",
    ),
    "no value": (cell("readings", 4, "value", ""), "readings.csv:7: value: is missing"),
    "unknown qualifier": (cell("readings", 2, "qualifier", "~"), "readings.csv:5: qualifier: "),
    "decimal comma": (cell("readings", 3, "value", "1,5"), "readings.csv:6: value: .*write 1.5, not 1,5"),
    "decimal comma of a wall": (
        cell("sections", 0, "length_m", "2,5"),
        "sections.csv:2: length_m: .*write 2.5",
    ),
    "not finite": (cell("readings", 3, "value", "inf"), "readings.csv:6: value: "),
    "not a number": (cell("readings", 3, "value", "NaN"), "readings.csv:6: value: .*leave the cell empty"),
    "too large": (cell("readings", 3, "value", "1e999"), "readings.csv:6: value: .*too large"),
    "too large once converted": (large_inches, "readings.csv:5: value: .*too large"),
    "underscore in a number": (cell("readings", 3, "value", "1_5"), "readings.csv:6: value: "),
    "other digits": (cell("readings", 3, "value", "٣"), "readings.csv:6: value: "),
    "below zero": (cell("readings", 0, "height_mm", "-1"), "readings.csv:2: height_mm: .*below 0"),
    "no length": (cell("sections", 0, "length_m", "0"), "sections.csv:2: length_m: .*not above 0"),
    "part of a layer": (cell("treatments", 0, "layer", "1.5"), "treatments.csv:2: layer: .*whole number"),
    "word": (cell("sections", 0, "substrate", "Brick"), "sections.csv:2: substrate: .*did you mean brick"),
    "binder": (cell("treatments", 0, "binder", "lime"), "treatments.csv:2: binder: "),
    "neither yes nor no": (cell("treatments", 0, "found", "maybe"), "treatments.csv:2: found: "),
    "removed before it was applied": (
        cell("treatments", 1, "removed_on", "1980-01-01"),
        "treatments.csv:3: removed_on: ",
    ),
    "reason without a removal": (
        cell("treatments", 0, "removal_reason", "failed"),
        "treatments.csv:2: removal_reason: ",
    ),
    "time zone": (cell("buildings", 0, "timezone", "Marlow/Bend"), "buildings.csv:2: timezone: .*IANA"),
    "no time zone": (cell("buildings", 0, "timezone", ""), "buildings.csv:2: timezone: is missing"),
    "time zone is a path": (cell("buildings", 0, "timezone", "../etc/passwd"), "buildings.csv:2: timezone: "),
    "minimum over maximum": (cell("instruments", 0, "maximum", "-1"), "instruments.csv:2: maximum: "),
    "outcome": (cell("trials", 0, "outcome", "best"), "trials.csv:2: outcome: "),
    "long code": (cell("buildings", 0, "code", "K" * 51), "buildings.csv:2: code: .*room for 50"),
    "cost": (cell("treatments", 0, "cost", "1e15"), "treatments.csv:2: cost: .*too large"),
    "replicate": (cell("readings", 1, "replicate", "0"), "readings.csv:4: replicate: "),
}


@pytest.mark.parametrize("case", CASES)
def test_a_bad_cell_or_row_is_named_with_its_place(case: str, tmp_path: Path) -> None:
    change, expected = CASES[case]
    tables = good_book()
    change(tables)
    lines = refused(write_book(tmp_path / "book", tables))
    assert any(re.match(expected, line) for line in lines), lines
    assert all(PLACE.match(line) for line in lines), lines


def test_several_faults_of_one_row_are_all_named(tmp_path: Path, tables: Tables) -> None:
    tables["readings"][2] |= {"section": "W9", "unit": "furlong", "value": "x", "taken_at": "noon"}
    lines = refused(write_book(tmp_path / "book", tables))
    assert {line.split(": ")[1] for line in lines} == {"section", "unit", "value", "taken_at"}
    assert all(line.startswith("readings.csv:5: ") for line in lines)


def test_a_bad_section_is_not_held_against_its_readings(tmp_path: Path, tables: Tables) -> None:
    tables["sections"][0]["length_m"] = "long"
    assert len(refused(write_book(tmp_path / "book", tables))) == 1


def test_a_file_that_cannot_be_read_is_not_held_against_the_others(folder: Path) -> None:
    (folder / "sections.csv").write_bytes(b"")
    assert len(refused(folder)) == 1


def test_fifty_faults_are_shown_and_the_rest_counted(tmp_path: Path, tables: Tables) -> None:
    row = tables["readings"][4]
    tables["readings"] += [row | {"taken_at": f"2016-01-{n % 28 + 1:02}", "value": "wet"} for n in range(60)]
    lines = refused(write_book(tmp_path / "book", tables))
    assert len(lines) == 51
    assert lines[-1] == "… and 10 more"


def test_repeated_keys_are_counted_beyond_those_shown(tmp_path: Path, tables: Tables) -> None:
    tables["readings"] += [dict(tables["readings"][4]) for _ in range(60)]
    assert refused(write_book(tmp_path / "book", tables))[-1] == "… and 10 more"


FILES = {
    "binary": (bytes(range(256)) * 40_000, "readings.csv:2: -: not UTF-8 text"),
    "binary without a line end": (b"\xff\xfe\xfd" * 3_500_000, "readings.csv:1: -: "),
    "binary that decodes": (b"\x01\x02\x03\x04" * 2_500_000, "readings.csv:1: -: "),
    "empty": (b"", "readings.csv:1: -: the file is empty"),
    "only a mark": (b"\xef\xbb\xbf", "readings.csv:1: -: the file is empty"),
    "blank lines": (b"\r\n\r\n", "readings.csv:1: -: the file is empty"),
    "spreadsheet": (b"PK\x03\x04" + b"x" * 100, "readings.csv:1: -: this is a spreadsheet"),
    "UTF-16": ("building,section".encode("utf-16"), "readings.csv:1: -: the text is UTF-16"),
}


@pytest.mark.parametrize("case", FILES)
def test_a_file_that_is_no_table_is_refused(case: str, folder: Path) -> None:
    content, expected = FILES[case]
    (folder / "readings.csv").write_bytes(content)
    lines = refused(folder)
    assert any(re.match(expected, line) for line in lines), lines
    assert max(map(len, lines)) < 400


HEADER = ",".join(good_book()["readings"][0]).encode() + b"\n"
EDITS: dict[str, tuple[bytes, bytes, str]] = {
    "Latin-1": (b"scale ended", b"\xe9chelle", "readings.csv:5: -: not UTF-8 text \\(byte 0xe9\\)"),
    "control characters in the header": (
        b"note,point",
        b"\x1b[2Jno\x07te,point",
        "readings.csv:1: �\\[2Jno�te: ",
    ),
    "no header": (
        HEADER,
        b"",
        "readings.csv:1: -: no column has a known name; the first line names them: building",
    ),
    "NUL": (b"scale ended", b"scale\0ended", "readings.csv:5: -: a NUL byte"),
    "open quotation mark": (
        b"scale ended",
        b'"scale ended',
        "readings.csv:5: -: a quotation mark .* never closed",
    ),
    "text after a quotation": (b"scale ended", b'"scale" ended', "readings.csv:5: -: .*quotation marks"),
    "cell too many": (
        b"scale ended",
        b"scale,ended",
        "readings.csv:5: -: the row has 16 cells, the header 15",
    ),
    "bare decimal comma": (
        b",1.5,ft2",
        b",1,5,ft2",
        "readings.csv:6: value: decimal comma: write 1.5, not 1,5",
    ),
    "cut off": (b"K1,W2,2016-01-11T10:05,air_t", b"K1,W2\n", "readings.csv:7: -: the row has 2 cells"),
    "column twice": (b"note,point", b"note,note", "readings.csv:1: note: the column is there twice"),
}


@pytest.mark.parametrize("case", EDITS)
def test_a_file_that_breaks_off_somewhere_is_refused_there(case: str, folder: Path) -> None:
    old, new, expected = EDITS[case]
    path = folder / "readings.csv"
    content = path.read_bytes()
    assert old in content
    path.write_bytes(content.replace(old, new))
    lines = refused(folder)
    assert any(re.match(expected, line) for line in lines), lines


def test_semicolons_between_the_cells_are_explained(folder: Path) -> None:
    path = folder / "sections.csv"
    path.write_bytes(path.read_bytes().replace(b",", b";"))
    assert refused(folder) == [
        "sections.csv:1: -: the cells are separated by semicolons; save the file with commas"
    ]


def test_a_byte_that_is_not_utf_8_is_found_far_down(folder: Path) -> None:
    row = b"K1,W2,2016-01-%02dT10:05,air_temperature,64,degF,,,,,AB,,p%d,,\n"
    rows = b"".join(row % (n % 28 + 1, n) for n in range(40_000))
    (folder / "readings.csv").write_bytes((folder / "readings.csv").read_bytes() + rows + b"\xff\n")
    assert refused(folder)[0].startswith("readings.csv:40009: -: not UTF-8")


@pytest.mark.parametrize("slug", ["", "larch row", "x" * 101, "larch/row"])
def test_a_slug_that_is_none_is_refused(slug: str, folder: Path) -> None:
    with pytest.raises(RecordsRefused, match="cannot name an organisation"):
        load_folder(folder, slug)


def test_a_folder_that_is_none_is_refused(tmp_path: Path) -> None:
    with pytest.raises(RecordsRefused, match="no such folder"):
        load_folder(tmp_path / "nowhere", "larch-row")
    with pytest.raises(RecordsRefused, match="holds none of"):
        load_folder(tmp_path, "larch-row")
    (tmp_path / "file").touch()
    with pytest.raises(RecordsRefused, match="not a folder"):
        load_folder(tmp_path / "file", "larch-row")


def test_the_command_fails_with_status_1_and_the_places(tmp_path: Path, tables: Tables) -> None:
    tables["readings"][1]["taken_at"] = "soon"
    folder = write_book(tmp_path / "book", tables)
    with pytest.raises(CommandError, match=r"readings\.csv:4: taken_at: ") as failure:
        call_command("load_records", str(folder), organisation="larch-row")
    assert failure.value.returncode == 1
