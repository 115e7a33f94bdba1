"""A logger's file: its separators, marks and clocks, what overlaps, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.core.management import CommandError

from inspections.models import Load, LogSeries
from inspections.records import Place, load_folder, load_log
from portfolio.models import Change
from tests.logs.houses import SLUG, kiln_house, refused, run, values
from tests.records.state import everything

pytestmark = pytest.mark.django_db

PLAIN = "time,T,RH\n2016-01-11 08:00:00,17.5,61.5\n2016-01-11 08:10:00,17.25,62\n"
TWO = [("2016-01-11T07:00", 61.5), ("2016-01-11T07:10", 62.0)]


@pytest.fixture(autouse=True)
def house(tmp_path: Path) -> None:
    kiln_house(tmp_path / "book")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return written(tmp_path, PLAIN)


def written(folder: Path, text: str, name: str = "logger.csv") -> Path:
    path = folder / name
    path.write_bytes(text.encode())
    return path


def test_a_plain_file(file: Path) -> None:
    said = run(
        file, "--section", "W1", "--instrument", "HY", columns=("air_humidity=RH", "air_temperature=T")
    )
    assert said.splitlines() == [
        "logger.csv: 4 values new, 0 changed, 0 unchanged",
        "from 2016-01-11 07:00:00 to 2016-01-11 07:10:00 UTC",
        "Loaded.",
    ]
    assert values() == TWO
    assert values("air_temperature") == [("2016-01-11T07:00", 17.5), ("2016-01-11T07:10", 17.25)]
    series = LogSeries.objects.get(quantity="air_humidity")
    assert (series.section.code, series.instrument.code, series.unit) == ("W1", "HY", "percent_rh")
    assert series.source == "logger.csv: RH"
    load = Load.objects.exclude(source="book").get()
    assert (load.source, load.counts) == ("logger.csv", {"logs": {"new": 4, "changed": 0, "unchanged": 0}})


@pytest.mark.parametrize(
    "text",
    [
        PLAIN.replace(",", ";"),
        PLAIN.replace(",", "\t"),
        PLAIN.replace(",", ";").replace(".", ","),
        PLAIN.replace(",", "\t").replace(".", ","),
        "\ufeff" + PLAIN.replace("\n", "\r\n"),
        PLAIN.replace("time,T,RH", '" time ","T","RH"').replace("17.5", " 17.5 "),
        "Serial 12, of 2015;\n\nunit: 'RH'\n" + PLAIN,
        PLAIN.replace("\n2", "\n\n2"),
        PLAIN.replace("62\n", "62,\n").replace("61.5\n", "61.5,,\n"),
        PLAIN + "2016-01-11 08:20:00,17,\n2016-01-11 08:30:00,17,---\n2016-01-11 08:40:00,17,NaN\n",
    ],
    ids=["semicolon", "tab", "comma-mark", "tab-comma-mark", "bom-crlf", "quoted", "preamble", "blank-lines",
         "separator-at-end", "gaps"],
)  # fmt: skip
def test_files_as_loggers_write_them(tmp_path: Path, text: str) -> None:
    run(written(tmp_path, text))
    assert values() == TWO


def test_gaps_are_counted(tmp_path: Path) -> None:
    assert "1 empty cells were left out" in run(written(tmp_path, PLAIN + "2016-01-11 08:20:00,17,\n"))


# Clocks --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "options", "moment"),
    [
        ("2016-07-11 08:00", (), "2016-07-11T06:00"),
        ("2016-07-11T08:00:00Z", (), "2016-07-11T08:00"),
        ("2016-07-11 08:00:00-0500", (), "2016-07-11T13:00"),
        ("2016-07-11 08:00", ("--utc-offset", "+02:00"), "2016-07-11T06:00"),
        ("2016-07-11 08:00", ("--utc-offset", "-05:00"), "2016-07-11T13:00"),
        ("2016-07-11 08:00", ("--utc-offset", "-5"), "2016-07-11T13:00"),
        ("2016-07-11 08:00", ("--utc-offset=Z",), "2016-07-11T08:00"),
        ("2016-07-11 08:00:00Z", ("--utc-offset", "+02:00"), "2016-07-11T08:00"),
        ("2016-07-11", ("--utc-offset", "+02:00"), "2016-07-10T22:00"),
        ("2016-03-27 02:30", ("--utc-offset", "+01:00"), "2016-03-27T01:30"),
        ("2016-10-30 02:30", (), "2016-10-30T00:30"),
    ],
)
def test_clocks(tmp_path: Path, cell: str, options: tuple[str, ...], moment: str) -> None:
    run(written(tmp_path, f"time,RH\n{cell},61\n"), *options)
    assert values() == [(moment, 61.0)]


def test_the_hour_that_comes_twice_goes_on_in_time(tmp_path: Path) -> None:
    hours = ("02:30", "02:50", "02:10", "02:30", "03:10")
    rows = "".join(f"2016-10-30 {hour},{60 + i}\n" for i, hour in enumerate(hours))
    run(written(tmp_path, "time,RH\n" + rows))
    minutes = ("00:30", "00:50", "01:10", "01:30", "02:10")
    assert values() == [(f"2016-10-30T{minute}", 60.0 + i) for i, minute in enumerate(minutes)]


# Again, and more -----------------------------------------------------------------------------------------


def test_the_same_file_again_changes_nothing(file: Path) -> None:
    run(file)
    before = everything(except_loads=True)
    assert "0 values new, 0 changed, 2 unchanged" in run(file)
    assert everything(except_loads=True) == before


def test_files_that_overlap_merge(tmp_path: Path, file: Path) -> None:
    run(file)
    later = "time,RH\n2016-01-11 08:10:00,62\n2016-01-11 08:20:00,63\n"
    assert "1 values new, 0 changed, 1 unchanged" in run(written(tmp_path, later, "later.csv"))
    assert values() == [*TWO, ("2016-01-11T07:20", 63.0)]
    assert LogSeries.objects.get().source == "logger.csv: RH"


def test_another_value_at_a_moment_corrects_and_is_remembered(tmp_path: Path, file: Path) -> None:
    run(file)
    assert "0 values new, 1 changed, 1 unchanged" in run(
        written(tmp_path, PLAIN.replace("62", "64"), "b.csv")
    )
    assert values() == [TWO[0], ("2016-01-11T07:10", 64.0)]
    change = Change.objects.get()
    assert (change.record_id, change.reason) == (LogSeries.objects.get().pk, "load of b.csv")
    assert change.fields == {"value at 2016-01-11T07:10:00Z": [62.0, 64.0]}


def test_many_corrections_are_all_remembered(tmp_path: Path) -> None:
    minutes = [f"2016-01-{day:02}T{hour:02}:{minute:02}Z" for day in range(1, 28) for hour in range(24)
               for minute in (0, 30)]  # fmt: skip
    for value in (60, 61):
        run(written(tmp_path, "time,RH\n" + "".join(f"{at},{value}\n" for at in minutes)))
    kept = [fields for (fields,) in Change.objects.values_list("fields")]
    assert sum(map(len, kept)) == len(minutes) == 1296
    assert max(map(len, kept)) == 500
    assert {tuple(pair) for fields in kept for pair in fields.values()} == {(60.0, 61.0)}


def test_a_line_that_stands_twice_is_taken_once(tmp_path: Path) -> None:
    twice = PLAIN + PLAIN.splitlines()[-1] + "\n"
    assert "1 values stood in the file twice" in run(written(tmp_path, twice))
    assert values() == TWO


def test_places_of_one_section_are_told_apart(tmp_path: Path, file: Path) -> None:
    for point in (("--point", "left"), ("--point", "right"), ("--height-mm", "300", "--depth-mm", "80")):
        run(file, "--section", "W1", *point)
    assert LogSeries.objects.count() == 3


def test_a_unit_by_option_by_instrument_or_the_usual_one(tmp_path: Path, file: Path) -> None:
    run(file, "--unit", "air_temperature=degF", columns=("air_temperature=T",))
    run(file, "--section", "W1", "--instrument", "M1", columns=("surface_moisture=RH",))
    run(file, columns=("air_humidity=RH",))
    units = dict(LogSeries.objects.values_list("quantity", "unit"))
    assert units == {"air_temperature": "degF", "surface_moisture": "relative", "air_humidity": "percent_rh"}


def test_a_dry_run_saves_nothing(file: Path) -> None:
    before = everything()
    assert "Checked only, nothing saved." in run(file, "--dry-run")
    assert everything() == before


def test_values_come_back_by_the_folder(file: Path, tmp_path: Path) -> None:
    from inspections.records import export_folder
    from portfolio.models import Organisation

    run(file, "--section", "W1")
    export_folder(tmp_path / "out", Organisation.objects.get(slug=SLUG))
    load_folder(tmp_path / "out", "mill-lane")
    export_folder(tmp_path / "again", Organisation.objects.get(slug="mill-lane"))
    assert (tmp_path / "again" / "logs.csv").read_bytes() == (tmp_path / "out" / "logs.csv").read_bytes()
    assert (tmp_path / "out" / "logs.csv").read_text().count("\n") == 3


# What is refused -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("62", "6x2", "logger.csv:3: RH: '6x2' is not a number"),
        ("61.5", '"61,5"', "logger.csv:2: RH: decimal comma: write 61.5, not 61,5"),
        (
            "61.5",
            "61,5",
            "logger.csv:2: -: the row has 4 cells, the header 3; a file with decimal commas must",
        ),
        ("62", "inf", "logger.csv:3: RH: 'inf' is not a number"),
        ("17.25,62", "17.25", "logger.csv:3: -: the row has 2 cells, the header 3"),
        ("2016-01-11 08:10:00", "", "logger.csv:3: time: is missing"),
        ("2016-01-11 08:10:00", "11.01.2016 08:10", "logger.csv:3: time: '11.01.2016 08:10' is not a time"),
        (
            "2016-01-11 08:10:00",
            "2016-03-27 02:30",
            "logger.csv:3: time: '2016-03-27 02:30' does not exist in",
        ),
        (
            "2016-01-11 08:10:00",
            "2016-01-11 08:00",
            "logger.csv:3: RH: another value than line 2 has for the",
        ),
        ("RH", "Rh", "logger.csv:1: RH: no such column 'RH'; did you mean Rh?"),
        ("T,RH", "RH,RH", "logger.csv:1: RH: the column is there twice"),
        ("62", "62\0", "logger.csv:3: -: a NUL byte"),
    ],
)
def test_bad_cells_are_named(tmp_path: Path, old: str, new: str, message: str) -> None:
    (line,) = refused(written(tmp_path, PLAIN.replace(old, new)))
    assert line.startswith(message)


def test_points_and_commas_are_not_mixed(tmp_path: Path) -> None:
    lines = refused(written(tmp_path, "time;RH\n2016-01-11 08:00;61.5\n2016-01-11 08:10;62,5\n"))
    assert lines == ["logger.csv:3: RH: '62,5' has a ',' where lines before have a '.'"]
    lines = refused(written(tmp_path, "time;RH\n2016-01-11 08:00;1.061,5\n"))
    assert lines == ["logger.csv:2: RH: '1.061,5' has separators of thousands; write the digits without them"]


def test_fifty_faults_are_named_and_the_rest_counted(tmp_path: Path) -> None:
    rows = "".join(f"2016-01-11 08:{i:02},x\n" for i in range(60))
    lines = refused(written(tmp_path, "time,RH\n" + rows))
    assert len(lines) == 51
    assert lines[-1] == "… and 10 more"


def test_files_that_are_no_text(tmp_path: Path) -> None:
    path = tmp_path / "logger.csv"
    path.write_bytes(b"time,RH\n2016-01-11 08:00,61\n\xb0C,\n")
    assert refused(path)[0].startswith("logger.csv:3: -: not UTF-8 text (byte 0xb0)")
    path.write_bytes(PLAIN.encode("utf-16"))
    assert refused(path)[0].startswith("logger.csv:1: -: the text is UTF-16")
    path.write_bytes(b"")
    assert refused(path)[0].startswith("logger.csv:1: time: no such column")
    assert refused(tmp_path / "none.csv")[0].startswith("none.csv:1: -: cannot be read: No such file")


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (("--section", "W9"), "--section: no section 'W9' in building 'K1' among the records; there are: W1"),
        (("--building", "K9"), "--building: no building 'K9' among the records; there are: K1"),
        (("--instrument", "M9"), "--instrument: no instrument 'M9' among the records; there are: HY, M1"),
        (("--organisation", "nobody"), "--organisation: there is no organisation 'nobody'; there are: larch"),
        (("--utc-offset", "two"), "--utc-offset: 'two' is not an offset from UTC; write it as +02:00"),
        (("--utc-offset", "+25:00"), "--utc-offset: '+25:00' is no offset of any clock"),
        (("--unit", "air_humidity=degC"), "--unit air_humidity: air_humidity is not read in 'degC'; write"),
        (("--unit", "radon=pCi_per_L"), "--unit: 'radon' has a unit and no column"),
        (("--column", "air_humidty=T"), "--column: 'air_humidty' is no quantity; did you mean air_humidity?"),
        (("--height-mm", "-1"), "--height-mm: -1 is no length"),
        (("--depth-mm", "nan"), "--depth-mm: nan is no length"),
    ],
)  # fmt: skip
def test_bad_options_are_named(file: Path, options: tuple[str, ...], message: str) -> None:
    (line,) = refused(file, *options)
    assert line.startswith(message)


@pytest.mark.parametrize("column", ["air_humidity", "=RH", "air_humidity="])
def test_columns_are_given_as_pairs(file: Path, column: str) -> None:
    with pytest.raises(CommandError, match="is not QUANTITY=NAME"):
        run(file, columns=(column,))


def test_a_quantity_is_given_once(file: Path) -> None:
    with pytest.raises(CommandError, match="air_humidity is given twice"):
        run(file, columns=("air_humidity=RH", "air_humidity=T"))


def test_a_unit_that_would_part_a_series_is_refused(tmp_path: Path, file: Path) -> None:
    run(file, columns=("air_temperature=T",))
    one = written(tmp_path, "".join(PLAIN.splitlines(keepends=True)[:2]), "one.csv")
    (line,) = refused(one, "--unit", "air_temperature=degF", columns=("air_temperature=T",))
    assert line.startswith(
        "one.csv:2: time: the series stands in degC, with 1 values that are not in this file"
    )
    load_log(file, SLUG, Place("K1"), time="time", columns={"air_temperature": "T"},
             units={"air_temperature": "degF"})  # fmt: skip
    assert LogSeries.objects.get().unit == "degF"
