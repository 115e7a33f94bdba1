"""When a person's daily mail is due: at an hour of their own day, whatever the clocks do."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

A_DAY = dt.timedelta(days=1)


def mail_moment(day: dt.date, hour: int, zone: ZoneInfo) -> dt.datetime:
    """The moment of ``hour`` o'clock on a local day, in UTC.

    An hour that the clocks leave out is met as long after midnight as usual; of one that they repeat, the
    first is meant.
    """
    return dt.datetime.combine(day, dt.time(hour), zone).astimezone(dt.UTC)


def next_mail(now: dt.datetime, hour: int, zone: ZoneInfo, *, after: dt.date | None = None) -> dt.datetime:
    """The first such moment from ``now`` on; with ``after``, on a local day after that one."""
    day = now.astimezone(zone).date()
    if after is not None and day <= after:
        day = after + A_DAY
    moment = mail_moment(day, hour, zone)
    return moment if moment >= now else mail_moment(day + A_DAY, hour, zone)
