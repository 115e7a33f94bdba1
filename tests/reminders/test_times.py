"""The hour of the day's mail, over whole years of days in zones that change their clocks.

The changes of the clocks are those of the IANA time zone database, as it stands in `tzdata`.
"""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.domain.telling.times import mail_moment, next_mail

BRUSSELS, NEW_YORK, LORD_HOWE = (
    ZoneInfo(name) for name in ("Europe/Brussels", "America/New_York", "Australia/Lord_Howe")
)
DAY = dt.timedelta(days=1)


@pytest.mark.parametrize("zone", [BRUSSELS, NEW_YORK, LORD_HOWE], ids=str)
@pytest.mark.parametrize("hour", [0, 1, 2, 3, 7, 23])
def test_a_year_of_days_has_a_mail_each_at_its_hour(zone: ZoneInfo, hour: int) -> None:
    """Looked at every 20 minutes for a year: once a local day, never before the hour."""
    now = dt.datetime(2026, 1, 1, tzinfo=zone).astimezone(dt.UTC)
    end = dt.datetime(2027, 1, 1, tzinfo=zone).astimezone(dt.UTC)
    sent: list[dt.datetime] = []
    due = next_mail(now, hour, zone)
    while now < end:
        if now >= due:
            sent.append(now)
            due = next_mail(now, hour, zone, after=now.astimezone(zone).date())
        now += dt.timedelta(minutes=20)
    local = [moment.astimezone(zone) for moment in sent]
    first = dt.date(2026, 1, 1)
    assert [moment.date() for moment in local] == [first + nth * DAY for nth in range(365)]
    # The hour that is left out in spring is met within the hour after; no other is ever missed.
    assert {moment.hour for moment in local} <= {hour, (hour + 1) % 24}
    assert sum(moment.hour != hour for moment in local) <= 1


def test_known_moments() -> None:
    """Brussels goes to summer time on 29 March 2026 at 1:00 UTC, and back on 25 October at 1:00 UTC."""
    assert mail_moment(dt.date(2026, 3, 28), 7, BRUSSELS) == dt.datetime(2026, 3, 28, 6, tzinfo=dt.UTC)
    assert mail_moment(dt.date(2026, 3, 29), 7, BRUSSELS) == dt.datetime(2026, 3, 29, 5, tzinfo=dt.UTC)
    # 2:00 is left out: as long after midnight as usual, which the clocks call 3:00.
    assert mail_moment(dt.date(2026, 3, 29), 2, BRUSSELS) == dt.datetime(2026, 3, 29, 1, tzinfo=dt.UTC)
    # 2:00 comes twice: the first is meant.
    assert mail_moment(dt.date(2026, 10, 25), 2, BRUSSELS) == dt.datetime(2026, 10, 25, 0, tzinfo=dt.UTC)


@given(
    now=st.datetimes(dt.datetime(2020, 1, 1), dt.datetime(2035, 1, 1), timezones=st.just(dt.UTC)),
    hour=st.integers(0, 23),
    zone=st.sampled_from([BRUSSELS, NEW_YORK, LORD_HOWE, ZoneInfo("Asia/Kathmandu")]),
)
def test_the_next_one_is_the_first_from_now_on(now: dt.datetime, hour: int, zone: ZoneInfo) -> None:
    found = next_mail(now, hour, zone)
    today = now.astimezone(zone).date()
    every = sorted(mail_moment(today + nth * DAY, hour, zone) for nth in (-1, 0, 1, 2))
    assert found == next(moment for moment in every if moment >= now)
    later = next_mail(now, hour, zone, after=today)
    assert later.astimezone(zone).date() == today + DAY
