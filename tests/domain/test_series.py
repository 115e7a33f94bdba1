"""A house's record as arrays: times on its own clock, whatever the engine makes of them."""

from __future__ import annotations

import datetime as dt

import pytest

from inspections.queries.series import building_record, local_time
from tests.api import factories
from tests.support.cast import Cast

MOMENTS = [
    dt.datetime(1968, 7, 14, 23, 59, 59, 999_999, tzinfo=dt.UTC),
    dt.datetime(1970, 1, 1, tzinfo=dt.UTC),
    # An hour before, at and after the clocks of Brussels change.
    dt.datetime(2024, 3, 31, 0, 59, 59, 500_000, tzinfo=dt.UTC),
    dt.datetime(2024, 3, 31, 1, 0, tzinfo=dt.UTC),
    dt.datetime(2024, 10, 27, 0, 59, 59, 1, tzinfo=dt.UTC),
    dt.datetime(2024, 10, 27, 1, 0, 0, 1, tzinfo=dt.UTC),
    dt.datetime(2024, 12, 31, 23, 30, tzinfo=dt.UTC),
]


@pytest.mark.parametrize("zone", ["UTC", "Europe/Brussels", "America/St_Johns", "Asia/Kathmandu"])
def test_times_are_the_house_s_own_to_the_second(cast: Cast, zone: str) -> None:
    house = factories.building(cast.organisation, timezone=zone)
    wall = factories.section(cast.organisation, building=house)
    for moment in MOMENTS:
        factories.reading(cast.organisation, section=wall, taken_at=moment)
    (section,) = building_record(house).sections
    expected = [local_time(moment, house.zone) for moment in MOMENTS]
    assert section.readings.time.tolist() == pytest.approx(expected, rel=0, abs=1e-9)
