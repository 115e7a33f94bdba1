"""When a wall is next to be looked at, and why then: the one function that every due day comes from.

A policy says the longest time that may pass; what is known of the wall shortens it and nothing lengthens it.
All days are local days of the house, so that no clock or time zone enters here.

Sources: half of the time from a sign to the failure bounds the interval (the P-F interval rule of
reliability-centred maintenance, SAE JA1012). Intervals by verdict, the looks after a new coat and the minutes
are common practice.
"""

from __future__ import annotations

import calendar
import datetime as dt
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from inspections.analysis.results import INSUFFICIENT

#: Share of the time left (to its early end) that may pass before the next look (SAE JA1012: half).
SHARE_OF_TIME_LEFT = 0.5
#: The forecast asks for no look sooner than this after the last, in days: a wall does not change faster.
SOONEST = 28
#: A stable wall that was seen this many months before the end of a season need not be seen at it.
BETWEEN_SEASONS = 3
#: A look of a sequence is settled by a visit that came this share of the gap before it.
SETTLED_BEFORE = 0.25
#: A look joins its house's round where it comes sooner by no more than this share of its own interval.
ROUND_SHARE = 0.25

#: Why a look is due then.
FIRST, POLICY, FLAG, EVENT = "first", "policy", "flag", "event"
TRIAL, FORECAST, SEASON = "trial", "forecast", "season"
NEW_COAT, FOLLOW_UP = "new_coat", "follow_up"
#: Of several reasons for one day the first of these is told.
RANK = (FIRST, FLAG, EVENT, FOLLOW_UP, FORECAST, TRIAL, NEW_COAT, SEASON, POLICY)


@dataclass(frozen=True, slots=True)
class Policy:
    """The longest times that an organisation lets pass; months by verdict, ``seasons`` as (month, day)."""

    months: Mapping[str, int]
    house_months: int = 12
    trial_months: int = 3
    new_coat_months: tuple[int, ...] = (1, 3, 6, 12)
    seasons: tuple[tuple[int, int], ...] = ((3, 1), (9, 1))
    flag_days: int = 28
    event_days: int = 14
    round_days: int = 30


#: Half a year for a wall in doubt and a year for one at rest, sooner where water is at work.
USUAL = Policy(
    months={
        "trapped_water": 3,
        "water_entry": 3,
        "condensation": 6,
        "surface_wear": 6,
        "drying_out": 3,
        "stable": 12,
        INSUFFICIENT: 3,
    }
)


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of a section up to a day.

    ``early`` and ``expected`` are the forecast's passage over the failure threshold (None: not within its
    horizon), ``flagged_on`` the day on which a flag was opened that nobody has confirmed or dismissed,
    ``events`` the days of floods, heavy rains and failures of the sump, ``coats`` those on which a coat that
    still stands was put on, ``trials`` the start and the end of each trial, ``follow_ups`` the days on which
    to look whether the work helped.
    """

    entered_on: dt.date
    last_visit: dt.date | None
    verdict: str = INSUFFICIENT
    early: dt.date | None = None
    expected: dt.date | None = None
    flagged_on: dt.date | None = None
    events: Sequence[dt.date] = ()
    coats: Sequence[dt.date] = ()
    trials: Sequence[tuple[dt.date, dt.date | None]] = ()
    follow_ups: Sequence[dt.date] = ()


@dataclass(frozen=True, slots=True)
class Due:
    """The day on which a look is due, and the reason."""

    on: dt.date
    reason: str


@dataclass(frozen=True, slots=True)
class Round:
    """A day on which several looks of one house are due together; ``names`` in the order of their codes."""

    on: dt.date
    names: list[str] = field(default_factory=list)


def due(policy: Policy, known: Known) -> Due:
    """When the section is next due: the earliest of all that asks for a look after its last visit.

    A section that was never visited is due on the day it was entered. No answer is later than the policy's
    interval for the verdict after the last visit.
    """
    last = known.last_visit
    if last is None:
        return Due(known.entered_on, FIRST)
    return _first(
        [Due(add_months(last, policy.months[known.verdict]), POLICY), *_sooner(policy, known, last)]
    )


def house_due(
    policy: Policy, entered_on: dt.date, last_visit: dt.date | None, events: Sequence[dt.date]
) -> Due:
    """When somebody must next walk round the house as a whole; any visit to it settles that."""
    if last_visit is None:
        return Due(entered_on, FIRST)
    usual = Due(add_months(last_visit, policy.house_months), POLICY)
    return _first([usual, *_after_events(policy, events, last_visit)])


def _first(looks: Sequence[Due]) -> Due:
    return min(looks, key=lambda look: (look.on, RANK.index(look.reason)))


def _sooner(policy: Policy, known: Known, last: dt.date) -> Iterator[Due]:
    if known.verdict == "stable" and policy.seasons:
        yield Due(_season(policy, add_months(last, BETWEEN_SEASONS)), SEASON)
    failed = known.expected is not None and known.expected <= last
    if known.early is not None and not failed:
        left = math.ceil(SHARE_OF_TIME_LEFT * (known.early - last).days)
        yield Due(last + dt.timedelta(days=max(left, SOONEST)), FORECAST)
    # Readings of a visit open a flag on its very day, so that only a later visit settles it.
    if known.flagged_on is not None and last <= known.flagged_on:
        yield Due(known.flagged_on + dt.timedelta(days=policy.flag_days), FLAG)
    yield from _after_events(policy, known.events, last)
    for begun in known.coats:
        days = (add_months(begun, months) for months in policy.new_coat_months)
        if (look := _unsettled(begun, days, last)) is not None:
            yield Due(look, NEW_COAT)
    for start, end in known.trials:
        if (look := _of_trial(policy, start, end, last)) is not None:
            yield Due(look, TRIAL)
    yield from (Due(day, FOLLOW_UP) for day in known.follow_ups if last < day)


def _after_events(policy: Policy, events: Sequence[dt.date], last: dt.date) -> Iterator[Due]:
    soon = dt.timedelta(days=policy.event_days)
    return (Due(day + soon, EVENT) for day in events if last < day)


def _season(policy: Policy, from_day: dt.date) -> dt.date:
    """The first end of a season on or after a day."""
    years = (from_day.year, from_day.year + 1)
    ends = (dt.date(year, month, day) for year in years for month, day in policy.seasons)
    return min(end for end in ends if end >= from_day)


def _of_trial(policy: Policy, start: dt.date, end: dt.date | None, last: dt.date) -> dt.date | None:
    """The trial's next look: at its start, in equal steps from there, and at its end."""
    if last < start:
        return start
    step = policy.trial_months
    passed = (last.year - start.year) * 12 + last.month - start.month
    # The first steps are settled by any visit so late; two more reach beyond it.
    first = max(passed // step, 1)
    days = [add_months(start, step * k) for k in range(first, first + 3)]
    if end is not None:
        days = [day for day in days if day < end] + [end]
    return _unsettled(add_months(start, step * (first - 1)), iter(days), last)


def _unsettled(begun: dt.date, days: Iterator[dt.date], last: dt.date) -> dt.date | None:
    """The first of a sequence of looks that no visit has settled; None where all are."""
    before = begun
    for day in days:
        if last < day - (day - before) * SETTLED_BEFORE:
            return day
        before = day
    return None


def add_months(day: dt.date, months: int) -> dt.date:
    """The same day of a later month, or that month's last where it is shorter."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return dt.date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


def rounds(
    policy: Policy, looks: Mapping[str, Due], last_visits: Mapping[str, dt.date | None]
) -> list[Round]:
    """Looks of one house gathered into rounds, in time.

    The earliest look begins a round, and takes along each that would then come sooner by at most
    ``round_days`` and :data:`ROUND_SHARE` of its own interval. No look is put later than its own day.
    """
    found: list[Round] = []
    waiting = sorted(looks, key=lambda name: (looks[name].on, name))
    while waiting:
        day = looks[waiting[0]].on
        along = [
            name for name in waiting if looks[name].on - day <= _slack(policy, looks[name], last_visits[name])
        ]
        found.append(Round(day, sorted(along)))
        waiting = [name for name in waiting if name not in along]
    return found


def _slack(policy: Policy, look: Due, last: dt.date | None) -> dt.timedelta:
    most = dt.timedelta(days=policy.round_days)
    return most if last is None else min(most, (look.on - last) * ROUND_SHARE)


#: Minutes that one reading takes, by quantity; where a quantity is not named, :data:`A_READING`.
MINUTES = {
    "surface_moisture": 0.5,
    "deep_moisture": 2.0,
    "in_wall_humidity": 3.0,
    "in_wall_temperature": 1.0,
    "hollow_area": 4.0,
    "spall_area": 2.0,
    "salt_area": 2.0,
    "mortar_soft_depth": 2.0,
    "hygroscopic_moisture": 10.0,
}
A_READING = 1.0
#: Minutes to find and light a section, for one that was never read, and to walk round a house.
A_SECTION, UNREAD_SECTION, A_HOUSE = 2.0, 10.0, 15.0


def minutes(readings: Mapping[str, int]) -> int:
    """Minutes that a look at a section will take, from how many of each quantity were read at its last."""
    if not readings:
        return math.ceil(UNREAD_SECTION)
    return math.ceil(
        A_SECTION + sum(count * MINUTES.get(name, A_READING) for name, count in readings.items())
    )
