"""What a logger knew on the day of a visit stands in for what nobody read then."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inspections.analysis.margins import dew_point_margins
from inspections.analysis.records import Readings
from inspections.models import LogSeries
from inspections.queries.logs import read_log
from inspections.queries.series import building_record, day_number
from inspections.records import load_rows
from portfolio.models import Building
from tests.logs.houses import SLUG, kiln_house, run

pytestmark = pytest.mark.django_db

#: The good book's visits of section W1, and the one of W2, whose air somebody read.
SUMMER, WINTER = dt.date(2015, 8, 11), dt.date(2016, 1, 11)


@pytest.fixture
def building(tmp_path: Path) -> Building:
    return kiln_house(tmp_path / "book")


def logged(
    folder: Path, *options: str, days: dict[dt.date, range] | None = None, first: float = 60.0
) -> None:
    """Load hourly values from each midnight: the first is ``first``, each later one 1 more."""
    rows = [
        f"{day} {hour:02}:00,{first + hour:g}"
        for day, hours in (days or {SUMMER: range(24), WINTER: range(24)}).items()
        for hour in hours
    ]
    file = folder / "log.csv"
    file.write_text("time,RH\n" + "\n".join(rows) + "\n")
    run(file, *options)


def readings(building: Building, section: str = "") -> Readings:
    record = building_record(building)
    own = {one.code: one.readings for one in record.sections}
    return own[section] if section else record.readings


def rows(own: Readings, quantity: str) -> list[tuple[float, float]]:
    found = own.of(quantity)
    return list(zip(found.time.tolist(), found.value.tolist(), strict=True))


def test_nothing_logged_changes_nothing(building: Building) -> None:
    """Beside the same readings, the record costs six queries."""
    with CaptureQueriesContext(
        connection,
    ) as queries:
        before = readings(building, "W1")
    assert len(queries) == 6
    assert len(before) == 4


def test_a_section_hears_its_own_log_on_its_own_days(building: Building, tmp_path: Path) -> None:
    logged(tmp_path, "--section", "W1", "--instrument", "HY", "--height-mm", "900", "--point", "left")
    own = readings(building, "W1")
    assert rows(own, "air_humidity") == [(day_number(day) + 0.5, 71.5) for day in (SUMMER, WINTER)]
    (first, _) = np.flatnonzero(own.quantity == "air_humidity")
    assert (own.instrument[first], own.height_mm[first], own.point[first]) == ("HY", 900, "left")
    assert own.unit[first] == "percent_rh"
    assert own.low[first] == own.high[first] == 71.5
    assert np.all(np.diff(own.time) >= 0)
    assert rows(readings(building, "W2"), "air_humidity") == []
    assert rows(readings(building), "air_humidity") == []


def test_the_house_hears_its_log_on_the_days_of_any_visit(building: Building, tmp_path: Path) -> None:
    other = dt.date(2016, 2, 1)
    logged(tmp_path, days={day: range(24) for day in (SUMMER, WINTER, dt.date(2016, 1, 12), other)})
    days = [time - 0.5 for time, _ in rows(readings(building), "air_humidity")]
    assert days == [day_number(day) for day in (SUMMER, WINTER, dt.date(2016, 1, 12))]


def test_a_reading_by_hand_is_not_doubted(building: Building, tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    file.write_text("time,T\n" + "".join(f"{WINTER} {hour:02}:00,10\n" for hour in range(24)))
    run(file, "--section", "W2", columns=("air_temperature=T",))
    ((_, value),) = rows(readings(building, "W2"), "air_temperature")
    assert value == pytest.approx((64.4 - 32) / 1.8)


def test_a_day_that_is_hardly_covered_is_left_out(building: Building, tmp_path: Path) -> None:
    logged(tmp_path, "--section", "W1", days={SUMMER: range(17), WINTER: range(18)})
    assert [time - 0.5 for time, _ in rows(readings(building, "W1"), "air_humidity")] == [day_number(WINTER)]


def test_values_beyond_the_instruments_range_are_set_aside(building: Building, tmp_path: Path) -> None:
    """The hygrometer ends at 98 %: of 90 to 113 % nine hours are left, too few; from 76 % on all but one."""
    logged(tmp_path, "--section", "W1", "--instrument", "HY", first=90.0)
    assert rows(readings(building, "W1"), "air_humidity") == []
    logged(tmp_path, "--section", "W1", "--instrument", "HY", "--point", "b", first=76.0)
    assert [value for _, value in rows(readings(building, "W1"), "air_humidity")] == [87.0, 87.0]


def test_what_was_voided_is_not_heard(building: Building, tmp_path: Path) -> None:
    logged(tmp_path, "--section", "W1")
    LogSeries.objects.update(voided_at=dt.datetime(2016, 2, 1, tzinfo=dt.UTC))
    assert rows(readings(building, "W1"), "air_humidity") == []


def test_logged_air_and_face_give_a_dew_point_margin(building: Building, tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    file.write_text("time;T;RH;face\n" + "".join(f"{SUMMER} {hour:02}:00;68;50;12,5\n" for hour in range(24)))
    run(file, "--unit", "air_temperature=degF", columns=("air_temperature=T", "air_humidity=RH"))
    run(file, "--section", "W1", columns=("surface_temperature=face",))
    margins = dew_point_margins(readings(building, "W1"), readings(building))
    assert list(margins.time) == [day_number(SUMMER)]
    assert margins.assumed == [""]
    # Air at 20 °C and 50 % has its dew point at 9.27 °C (ASHRAE Fundamentals 2017, ch. 1).
    assert margins.margin == pytest.approx(12.5 - 9.27, abs=0.01)


def test_local_days_are_the_buildings(building: Building, tmp_path: Path) -> None:
    """The day of the change to summer time has 23 hours; hourly values at a fixed offset cover them once."""
    file = tmp_path / "log.csv"
    start = dt.datetime(2016, 3, 26, 23, tzinfo=dt.UTC)
    rows = (f"{start + dt.timedelta(hours=hour):%Y-%m-%d %H:%M},60\n" for hour in range(24))
    file.write_text("time,RH\n" + "".join(rows))
    run(file, "--utc-offset", "Z")
    log = read_log(LogSeries.objects.get())
    days = [day_number(dt.date(2016, 3, day)) for day in (27, 28)]
    assert [(log.day == day).sum() for day in days] == [23, 1]
    assert log.hour[0] == start.timestamp() / 3600


def test_many_visits_cost_few_queries(building: Building, tmp_path: Path) -> None:
    visits = [dt.date(2017, 4, 1) + dt.timedelta(days=2 * i) for i in range(150)]
    cells = {"building": "K1", "section": "W1", "quantity": "surface_moisture", "unit": "relative"}
    cells |= {"value": "40"} | dict.fromkeys(
        ("height_mm", "depth_mm", "instrument", "inspector", "qualifier", "note"), ""
    )
    made = [{**cells, "taken_at": f"{day}T12:00"} for day in visits]
    load_rows({"readings": made}, SLUG, source="many visits")
    logged(tmp_path, "--section", "W1", days={day: range(24) for day in visits})
    with CaptureQueriesContext(connection) as queries:
        own = readings(building, "W1")
    assert len(rows(own, "air_humidity")) == 150
    assert len(queries) == 8
