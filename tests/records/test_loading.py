"""What a good folder does: once, twice, corrected, in part, and with awkward but allowed content."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from django.db import transaction
from django.db.models import F
from django.utils import timezone

from inspections.models import Load, Reading, Visit
from inspections.records import Counts, RecordsRefused, load_folder, load_rows, loading, visits
from inspections.records import tables as tables_of_records
from portfolio.models import Building, Change, Event, Organisation, Section, Treatment, User
from tests.records.books import Tables, write_book
from tests.records.state import everything

pytestmark = pytest.mark.django_db
SLUG = "larch-row"


def at(text: str) -> dt.datetime:
    return dt.datetime.fromisoformat(text)


def test_a_good_folder_is_loaded_whole(folder: Path) -> None:
    report = load_folder(folder, SLUG)
    assert report.files["readings"] == Counts(new=6, changed=0, unchanged=0)
    assert report.organisation_is_new
    organisation = Organisation.objects.get(slug=SLUG)
    assert organisation.name == SLUG
    assert Section.objects.of(organisation).count() == 2
    coat = Treatment.objects.of(organisation).get(kind="paint")
    assert (coat.found, coat.applied_earliest, coat.cost) == (True, dt.date(1985, 1, 1), None)
    assert Treatment.objects.of(organisation).get(kind="parge_coat").cost == Decimal("320.50")
    assert Event.objects.of(organisation).get(kind="flood").section is None
    load = Load.objects.of(organisation).get()
    assert (load.source, load.counts["readings"]["new"]) == ("book", 6)


def test_units_are_converted_and_the_entry_kept(folder: Path) -> None:
    """Exact by definition: 1 ft is 0.3048 m; 64.4 °F is 18 °C; 1 pCi/L is 37 Bq/m³."""
    load_folder(folder, SLUG)
    area, air, radon = (Reading.objects.get(quantity=q) for q in ("spall_area", "air_temperature", "radon"))
    assert (area.entered_value, area.unit) == ("1.5", "ft2")
    assert area.value == pytest.approx(1.5 * 0.3048**2, rel=1e-12)
    assert air.value == pytest.approx(18.0, abs=1e-12)
    assert (radon.value, radon.qualifier) == (pytest.approx(3.1 * 37), "<")


def test_visits_follow_from_the_readings(folder: Path) -> None:
    load_folder(folder, SLUG)
    visits = Visit.objects.order_by("day", "inspector").values_list("day", "inspector")
    assert list(visits) == [
        (dt.date(2015, 8, 11), "GH"),
        (dt.date(2016, 1, 11), "AB"),
        (dt.date(2016, 1, 12), ""),
    ]
    assert not Reading.objects.exclude(visit__building=Reading.objects.first().building).exists()


def test_a_standing_visit_is_used_again(folder: Path, tmp_path: Path, tables: Tables) -> None:
    load_folder(folder, SLUG)
    tables["readings"] = [tables["readings"][4] | {"point": "new"}]
    load_folder(write_book(tmp_path / "more", tables), SLUG)
    assert Visit.objects.count() == 3


def test_the_same_folder_again_changes_nothing(folder: Path) -> None:
    load_folder(folder, SLUG)
    before = everything(except_loads=True)
    report = load_folder(folder, SLUG)
    assert everything(except_loads=True) == before
    assert all(count.new == count.changed == 0 for count in report.files.values())


def test_a_dry_run_saves_nothing_and_says_what_it_would(folder: Path) -> None:
    before = everything()
    report = load_folder(folder, SLUG, dry_run=True)
    assert everything() == before
    assert report.files["readings"].new == 6


@pytest.mark.parametrize(("start", "line_end"), [("﻿", "\r\n"), ("", "\r\n"), ("﻿", "\n")])
def test_a_mark_and_other_line_ends_load_cleanly(
    start: str, line_end: str, folder: Path, tmp_path: Path, tables: Tables
) -> None:
    other = write_book(tmp_path / "other", tables, line_end=line_end)
    for path in other.iterdir():
        path.write_bytes(start.encode() + path.read_bytes())
    load_folder(folder, SLUG)
    report = load_folder(other, SLUG)
    assert all(count.new == count.changed == 0 for count in report.files.values())


def test_cells_are_trimmed_and_columns_come_in_any_order(
    folder: Path, tmp_path: Path, tables: Tables
) -> None:
    for name, rows in tables.items():
        tables[name] = [
            {f" {column} ": f"\t{cell} " for column, cell in reversed(row.items())} for row in rows
        ]
    load_folder(folder, SLUG)
    report = load_folder(write_book(tmp_path / "other", tables), SLUG)
    assert all(count.new == count.changed == 0 for count in report.files.values())


def test_rows_of_nothing_are_passed_over(folder: Path) -> None:
    with (folder / "trials.csv").open("a") as file:
        file.write("\n,,,,\n\n")
    assert load_folder(folder, SLUG).files["trials"].new == 1


# Corrections ---------------------------------------------------------------------------------------------


def test_a_correction_keeps_the_old_value_with_who_when_and_why(
    folder: Path, tmp_path: Path, tables: Tables
) -> None:
    load_folder(folder, SLUG)
    user = User.objects.create(username="gh")
    tables["readings"][1]["value"] = "24"
    tables["sections"][1]["substrate"] = "mixed"
    tables["treatments"][0] |= {"cost": "330", "removed_on": "2020-01-02", "removal_reason": "failed"}
    report = load_folder(write_book(tmp_path / "mended", tables), SLUG, user=user)
    assert report.files["readings"] == Counts(new=0, changed=1, unchanged=5)
    reading = Reading.objects.get(point="a")
    assert (reading.value, reading.entered_value, reading.revision) == (24.0, "24", 2)
    changes = {change.model: change for change in Change.objects.all()}
    assert changes["reading"].fields == {"value": [42.0, 24.0], "entered_value": ["42", "24"]}
    assert changes["section"].fields == {"substrate": ["brick", "mixed"]}
    assert changes["treatment"].fields == {
        "cost": ["320.5", "330"],
        "removed_on": [None, "2020-01-02"],
        "removal_reason": ["", "failed"],
    }
    change = changes["reading"]
    assert (change.record_id, change.by, change.reason) == (reading.pk, user, "load of mended")
    assert abs(timezone.now() - change.at) < dt.timedelta(minutes=5)


def test_another_inspector_moves_the_reading_to_another_visit(
    tmp_path: Path, folder: Path, tables: Tables
) -> None:
    load_folder(folder, SLUG)
    old = Reading.objects.get(point="a").visit
    tables["readings"][1]["inspector"] = "CD"
    load_folder(write_book(tmp_path / "mended", tables), SLUG)
    reading = Reading.objects.get(point="a")
    assert (reading.visit.inspector, reading.visit.day) == ("CD", old.day)
    change = Change.objects.get()
    assert change.fields == {
        "visit": [str(old.pk), str(reading.visit.pk)],
        "inspector": ["GH", "CD"],
    }


def test_the_same_number_written_otherwise_is_no_change(folder: Path, tmp_path: Path, tables: Tables) -> None:
    load_folder(folder, SLUG)
    tables["readings"][0] |= {"value": "40.00", "height_mm": "2e2", "taken_at": "2015-08-11T08:05:00Z"}
    tables["treatments"][0] |= {"cost": "320.50", "layer": "1.0"}
    report = load_folder(write_book(tmp_path / "same", tables), SLUG)
    assert all(count.new == count.changed == 0 for count in report.files.values())
    assert Reading.objects.get(replicate=1, quantity="surface_moisture").entered_value == "40"


def test_another_unit_for_the_same_value_is_a_change(folder: Path, tmp_path: Path, tables: Tables) -> None:
    load_folder(folder, SLUG)
    tables["readings"][4] |= {"value": "18", "unit": "degC"}
    assert load_folder(write_book(tmp_path / "mended", tables), SLUG).files["readings"].changed == 1
    assert Reading.objects.get(quantity="air_temperature").unit == "degC"


def test_a_changed_key_is_a_new_row(folder: Path, tmp_path: Path, tables: Tables) -> None:
    load_folder(folder, SLUG)
    tables["readings"][1]["height_mm"] = "300"
    assert load_folder(write_book(tmp_path / "other", tables), SLUG).files["readings"].new == 1
    assert Reading.objects.count() == 7


def test_what_is_absent_changes_nothing(folder: Path, tmp_path: Path, tables: Tables) -> None:
    load_folder(folder, SLUG)
    before = everything(except_loads=True)
    some = {"treatments": tables["treatments"][:1], "readings": tables["readings"][2:3]}
    for column in ("area_m2", "drains_to", "strength_mpa", "applied_by", "cost", "currency", "found"):
        del some["treatments"][0][column]
    for column in ("point", "replicate", "duration_h"):
        del some["readings"][0][column]
    report = load_folder(write_book(tmp_path / "part", some), SLUG)
    assert report.files == {"treatments": Counts(0, 0, 1), "readings": Counts(0, 0, 1)}
    assert everything(except_loads=True) == before


def test_a_voided_row_stays_voided(folder: Path, tmp_path: Path, tables: Tables) -> None:
    load_folder(folder, SLUG)
    voided_at = timezone.now()
    Reading.objects.filter(point="a").update(voided_at=voided_at, void_reason="wrong wall")
    load_folder(folder, SLUG)
    tables["readings"][1]["value"] = "24"
    load_folder(write_book(tmp_path / "mended", tables), SLUG)
    reading = Reading.objects.get(point="a")
    assert (reading.voided_at, reading.void_reason, reading.value) == (voided_at, "wrong wall", 24.0)


def test_two_organisations_do_not_touch_each_other(folder: Path, tmp_path: Path, tables: Tables) -> None:
    load_folder(folder, SLUG)
    tables["readings"][0]["value"] = "99"
    load_folder(write_book(tmp_path / "other", tables), "mill-lane")
    ours = Reading.objects.of(Organisation.objects.get(slug=SLUG))
    assert sorted(ours.values_list("entered_value", flat=True)) == ["1.5", "3.1", "40", "42", "64.4", "98"]
    assert not Change.objects.exists()


def test_another_organisations_section_does_not_exist(folder: Path, tmp_path: Path, tables: Tables) -> None:
    load_folder(folder, SLUG)
    part = write_book(tmp_path / "part", {"readings": tables["readings"]})
    with pytest.raises(RecordsRefused, match=r"readings\.csv:2: building: no building 'K1'"):
        load_folder(part, "mill-lane")


# Keys ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("column", ["section", "height_mm", "depth_mm", "instrument", "point", "replicate"])
def test_an_empty_key_cell_is_a_key_value_of_its_own(column: str, tmp_path: Path, tables: Tables) -> None:
    reading = tables["readings"][0]
    tables["readings"] = [reading, reading | {column: "" if column != "replicate" else "3"}]
    if column == "point":
        tables["readings"][0] = reading | {"point": "a"}
    folder = write_book(tmp_path / "book", tables)
    load_folder(folder, SLUG)
    assert Reading.objects.count() == 2
    assert load_folder(folder, SLUG).files["readings"] == Counts(0, 0, 2)
    tables["readings"].append(dict(tables["readings"][1]))
    with pytest.raises(RecordsRefused, match="the same key as line"):
        load_folder(write_book(tmp_path / "twice", tables), SLUG)


def test_an_empty_replicate_is_the_first(tmp_path: Path, tables: Tables) -> None:
    tables["readings"] = [tables["readings"][0] | {"replicate": number} for number in ("", "1")]
    with pytest.raises(RecordsRefused, match="the same key as line"):
        load_folder(write_book(tmp_path / "book", tables), SLUG)


# Time ----------------------------------------------------------------------------------------------------
# Central European summer time ended on 25 October 2015 at 01:00 UTC (Directive 2000/84/EC): 02:30 was twice.


@pytest.mark.parametrize(
    ("written", "utc"),
    [
        ("2015-10-25T02:30:00", "2015-10-25T00:30:00+00:00"),
        ("2015-10-25T02:30:00+02:00", "2015-10-25T00:30:00+00:00"),
        ("2015-10-25T02:30:00+01:00", "2015-10-25T01:30:00+00:00"),
        ("2015-10-25T03:30:00", "2015-10-25T02:30:00+00:00"),
        ("2015-07-01 23:30", "2015-07-01T21:30:00+00:00"),
        ("2015-07-01T23:30:00Z", "2015-07-01T23:30:00+00:00"),
        ("2015-07-01", "2015-06-30T22:00:00+00:00"),
        ("2015-07-01T12:00:00.25", "2015-07-01T10:00:00.25+00:00"),
    ],
)
def test_local_times_become_points_in_time(written: str, utc: str, tmp_path: Path, tables: Tables) -> None:
    tables["readings"] = [tables["readings"][4] | {"taken_at": written}]
    load_folder(write_book(tmp_path / "book", tables), SLUG)
    assert Reading.objects.get().taken_at == at(utc)


def test_a_visits_day_is_the_local_one(tmp_path: Path, tables: Tables) -> None:
    tables["readings"] = [tables["readings"][4] | {"taken_at": "2015-07-01T22:30:00Z"}]
    load_folder(write_book(tmp_path / "book", tables), SLUG)
    assert Visit.objects.get().day == dt.date(2015, 7, 2)


# What loads although it looks odd ------------------------------------------------------------------------


def test_odd_but_allowed_readings_load(tmp_path: Path, tables: Tables) -> None:
    base = tables["readings"][4]
    tables["readings"] = [
        base | {"quantity": "spall_area", "value": "-0.5", "unit": "m2"},
        base | {"quantity": "air_humidity", "value": "140", "unit": "percent_rh"},
        base | {"quantity": "air_temperature", "section": ""},
        base | {"quantity": "surface_moisture", "value": "18", "unit": "percent_wme", "instrument": "M1"},
        base | {"quantity": "deep_moisture", "value": "1e2", "unit": "relative", "height_mm": "0"},
    ]
    assert load_folder(write_book(tmp_path / "book", tables), SLUG).files["readings"].new == 5


def test_unknown_words_may_be_left_empty(tmp_path: Path, tables: Tables) -> None:
    tables["sections"][0] |= {"substrate": "", "bedding_mortar": "", "length_m": "", "start_m": ""}
    tables["treatments"][0] |= {"binder": "", "thickness_mm": "", "mu": "", "found": "no"}
    load_folder(write_book(tmp_path / "book", tables), SLUG)
    assert Section.objects.get(code="W1").substrate == "unknown"
    assert Treatment.objects.get(kind="parge_coat").binder == "unknown"


def test_other_files_are_left_alone_and_named(folder: Path) -> None:
    (folder / "truth.csv").write_text("anything")
    assert load_folder(folder, SLUG).notices == ["truth.csv is no file of records and was left alone"]


def test_rows_in_memory_load_as_files_do(folder: Path, tables: Tables) -> None:
    given: dict[str, list[dict[str, object]]] = {
        name: [dict(row) for row in rows] for name, rows in tables.items()
    }
    given["readings"][0] |= {"value": 40, "height_mm": 200.0, "duration_h": None}
    load_rows(given, SLUG, source="a program")
    assert all(count.new == count.changed == 0 for count in load_folder(folder, SLUG).files.values())


def test_rows_in_memory_are_refused_as_files_are(tables: Tables) -> None:
    tables["readings"][2]["value"] = ""
    with pytest.raises(RecordsRefused) as refusal:
        load_rows(tables, SLUG, source="a program")
    assert {(error.line, error.column) for error in refusal.value.errors} == {(3, "value"), (3, "qualifier")}


# Beside others -------------------------------------------------------------------------------------------


def meanwhile(monkeypatch: pytest.MonkeyPatch, act: Callable[[], None], times: int = 1) -> None:
    """Let somebody else act between the check and the save, in the first attempts of a load."""
    compare = loading._Run._compare
    attempts = iter(range(times))

    def overtaken(run: loading._Run) -> dict[str, Counts]:
        counts = compare(run)
        if next(attempts, None) is not None:
            act()
        return counts

    monkeypatch.setattr(loading._Run, "_compare", overtaken)


def test_a_row_corrected_meanwhile_is_compared_again(
    folder: Path, tmp_path: Path, tables: Tables, monkeypatch: pytest.MonkeyPatch
) -> None:
    load_folder(folder, SLUG)

    def correct() -> None:
        Reading.objects.filter(point="a").update(value=43.0, entered_value="43", revision=2)

    meanwhile(monkeypatch, correct)
    tables["readings"][1]["value"] = "24"
    load_folder(write_book(tmp_path / "mended", tables), SLUG)
    assert Reading.objects.get(point="a").revision == 3
    assert Change.objects.get().fields["entered_value"] == ["43", "24"]


def test_a_row_entered_meanwhile_is_found(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def enter() -> None:
        organisation = Organisation.objects.create(slug=SLUG, name="Larch Row")
        Building.objects.create(organisation=organisation, code="K1", timezone="UTC")

    meanwhile(monkeypatch, enter)
    report = load_folder(folder, SLUG)
    assert report.files["buildings"] == Counts(new=0, changed=1, unchanged=0)
    assert Organisation.objects.get(slug=SLUG).name == "Larch Row"


def test_a_load_that_is_overtaken_again_and_again_gives_up(
    folder: Path, tmp_path: Path, tables: Tables, monkeypatch: pytest.MonkeyPatch
) -> None:
    load_folder(folder, SLUG)

    def correct() -> None:
        Reading.objects.filter(point="a").update(revision=F("revision") + 1)

    meanwhile(monkeypatch, correct, times=10)
    tables["readings"][1]["value"] = "24"
    with pytest.raises(RecordsRefused, match="load them again"):
        load_folder(write_book(tmp_path / "mended", tables), SLUG)
    assert not Change.objects.exists()


def test_visits_of_many_houses_are_looked_up_again(
    tmp_path: Path, tables: Tables, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With little memory for visits, readings that go to and fro between houses still share theirs."""
    monkeypatch.setattr(visits, "REMEMBERED", 1)
    tables["buildings"] += [tables["buildings"][0] | {"code": code} for code in ("K2", "K3")]
    reading = tables["readings"][5]
    tables["readings"] = [
        reading | {"building": code, "point": f"p{turn}"} for turn in range(3) for code in ("K1", "K2", "K3")
    ]
    folder = write_book(tmp_path / "book", tables)
    load_folder(folder, SLUG)
    assert (Reading.objects.count(), Visit.objects.count()) == (9, 3)
    assert load_folder(folder, SLUG).files["readings"] == Counts(0, 0, 9)


def test_the_databases_own_rules_hold_for_what_is_loaded(
    tmp_path: Path, tables: Tables, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Were a check of ours too lenient, the database's own would still refuse the row."""
    lenient = [
        replace(c, read=float) if c.name == "height_mm" else c for c in tables_of_records.READINGS.columns
    ]
    monkeypatch.setattr(
        loading,
        "TABLES",
        [replace(t, columns=tuple(lenient)) if t.name == "readings" else t for t in tables_of_records.TABLES],
    )
    tables["readings"][0]["height_mm"] = "-5"
    before = everything()
    # A savepoint, since PostgreSQL gives up the whole transaction of the test otherwise.
    with pytest.raises(RecordsRefused, match="against a rule of the database"), transaction.atomic():
        load_folder(write_book(tmp_path / "book", tables), SLUG)
    assert everything() == before
