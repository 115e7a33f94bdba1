"""Real loggers' files (TRH-database, CC BY 4.0): a dwelling's framed wall, on a clock fixed at UTC+2.

They are real, but neither a basement nor solid masonry. No open series of readings on solid basement masonry
was found. What is loaded is compared with the files as numpy reads them.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import psychrolib
import pytest

from inspections.analysis import logs
from inspections.analysis.logs import Log
from inspections.models import LogSeries
from inspections.queries.logs import read_log
from portfolio.models import Building
from tests.logs.houses import kiln_house, run

pytestmark = pytest.mark.django_db

DATA = Path(__file__).parents[1] / "data"
#: The whole files are too large to ship; they are checked where they are at hand beside the project.
WHOLE = Path(__file__).parents[3] / "shared" / "data" / "wall_trh"
EXCERPTS = {"trh_indoor_air.csv": "air", "trh_in_wall.csv": "in_wall", "trh_outdoor_air.csv": "outdoor"}
#: File to rows, step in seconds, first and last time, and columns, as the data's own description has them.
FIRST, LAST = "2020-12-18T15:15:00", "2021-05-15T23:55:00"
R1 = (21_365, 600, FIRST, LAST, ("T", "RH"))
R3 = (14_257, 3600, "2010-11-23T00:00:00", "2012-07-09T00:00:00")
FILES = {
    "R1_US1_sisailma.csv": R1,
    "R1_US1_fmi.csv": R1,
    "R1_US1_tuuletusvali.csv": R1,
    "R1_US1_rajapinta_lammoneriste_tuulensuoja.csv": R1,
    "R1_US1_kulma_runkotolppa_tuulensuoja_oikealla_ylhaalla.csv": R1,
    "R1_US1_nurkka_alaohjauspuu_runkotolppa_tuulensuoja_alhaalla_oikealla.csv": R1,
    "R1_US1_nurkka_alaohjauspuu_runkotolppa_tuulensuoja_alhaalla_vasemmalla.csv": R1,
    "R3_YP2_indoor1.csv": (*R3, ("T", "RH")),
    "R3_YP2_fmi.csv": (*R3, ("Te", "RHe")),
}


@pytest.fixture
def building(tmp_path: Path) -> Building:
    """A house in a zone that has summer time, as its loggers have not."""
    return kiln_house(tmp_path / "book", "Europe/Helsinki")


def load(path: Path, place: str = "air", columns: tuple[str, str] = ("T", "RH")) -> dict[str, Log]:
    """Load temperature and humidity; the series as T and RH."""
    temperature, humidity = f"{place}_temperature", f"{place}_humidity"
    run(
        path,
        "--utc-offset",
        "+02:00",
        time="t_UTC+2",
        columns=(f"{temperature}={columns[0]}", f"{humidity}={columns[1]}"),
    )
    series = {"T": temperature, "RH": humidity}
    return {name: read_log(LogSeries.objects.get(quantity=quantity)) for name, quantity in series.items()}


def published(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Times (n,) as written, and T and RH (n, 2)."""
    lines = [line for line in path.read_text().splitlines() if not line.startswith("#")][1:]
    times = np.array([line.split(",")[0] for line in lines], dtype="datetime64[s]")
    return times, np.loadtxt(lines, delimiter=",", usecols=(1, 2))


def assert_same(loaded: dict[str, Log], path: Path) -> None:
    times, numbers = published(path)
    for name, column in zip(("T", "RH"), numbers.T, strict=True):
        np.testing.assert_array_equal(loaded[name].value, column)
        np.testing.assert_allclose(loaded[name].hour, times.astype(float) / 3600 - 2, rtol=0, atol=1e-9)


@pytest.mark.parametrize(("name", "place"), EXCERPTS.items())
def test_a_week_loads_as_published(building: Building, name: str, place: str) -> None:
    loaded = load(DATA / name, place)
    assert len(loaded["T"]) == 7 * 144
    assert logs.gaps(loaded["T"]) == 0
    assert logs.usual_interval(loaded["T"]) == pytest.approx(1 / 6)
    assert_same(loaded, DATA / name)


def test_days_are_the_buildings_whatever_the_loggers_clock(building: Building) -> None:
    """28 March 2021 had 23 hours in Finland; from then on the logger's midnight is one in the morning."""
    air = load(DATA / "trh_indoor_air.csv")["T"]
    days = logs.daily(air)
    assert [dt.date(1970, 1, 1) + dt.timedelta(days=int(day)) for day in days.start] == [
        dt.date(2021, 3, 25) + dt.timedelta(days=i) for i in range(8)
    ]
    assert list(days.n) == [144, 144, 144, 138, 144, 144, 144, 6]
    assert list(days.coverage) == pytest.approx([1, 1, 1, 23 / 24, 1, 1, 1, 1 / 24])


def test_daily_means_are_those_of_the_files_rows(building: Building) -> None:
    times, numbers = published(DATA / "trh_indoor_air.csv")
    loaded = load(DATA / "trh_indoor_air.csv")
    before = times < np.datetime64("2021-03-28")  # until then the logger's days are the building's
    for name, column in zip(("T", "RH"), numbers.T, strict=True):
        days = logs.daily(loaded[name])
        grouped = column[before].reshape(3, 144)
        np.testing.assert_allclose(days.mean[:3], grouped.mean(axis=1), rtol=1e-12)
        np.testing.assert_array_equal(days.low[:3], grouped.min(axis=1))
        np.testing.assert_array_equal(days.high[:3], grouped.max(axis=1))
    weeks = logs.weekly(loaded["T"])
    assert list(weeks.n) == [144 * 4 - 6, 144 * 3 + 6]  # the Monday was the 29th
    np.testing.assert_allclose(weeks.mean @ weeks.n / weeks.n.sum(), numbers[:, 0].mean(), rtol=1e-12)


def test_hours_that_the_wall_would_sweat_in_outdoor_air(building: Building) -> None:
    """The wall's inside as the face, outdoor air as the room's: margins as PsychroLib finds them."""
    outdoors = load(DATA / "trh_outdoor_air.csv", "outdoor")
    face = load(DATA / "trh_in_wall.csv", "in_wall")["T"]
    margins = logs.dew_point_margins(outdoors["T"], outdoors["RH"], face)
    psychrolib.SetUnitSystem(psychrolib.SI)
    _, air = published(DATA / "trh_outdoor_air.csv")
    _, wall = published(DATA / "trh_in_wall.csv")
    expected = np.array(
        [t - psychrolib.GetTDewPointFromRelHum(a, h / 100) for t, (a, h) in zip(wall[:, 0], air, strict=True)]
    )
    np.testing.assert_allclose(margins.value, expected, atol=5e-3)
    limit = float(np.median(expected))
    wet = logs.wet_hours(margins, limit)
    assert wet.covered.sum() == pytest.approx(7 * 24)
    assert wet.wet.sum() == pytest.approx((expected < limit).sum() / 6, abs=1)


@pytest.mark.parametrize(("name", "facts"), FILES.items(), ids=list(FILES))
def test_whole_files_load_and_have_no_gap(
    building: Building, name: str, facts: tuple[int, int, str, str, tuple[str, str]]
) -> None:
    if not WHOLE.is_dir():
        pytest.skip("the whole files are not beside the project")
    rows, step, first, last, columns = facts
    loaded = load(WHOLE / name, columns=columns)
    times, _ = published(WHOLE / name)
    assert len(loaded["T"]) == len(loaded["RH"]) == len(times) == rows
    assert (str(times[0]), str(times[-1])) == (first, last)
    np.testing.assert_allclose(np.diff(loaded["T"].hour) * 3600, step, atol=1e-3)
    assert logs.gaps(loaded["T"]) == 0
    assert_same(loaded, WHOLE / name)
