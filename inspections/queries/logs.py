"""From what data loggers recorded to arrays, and to the readings of days on which a wall was visited."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import reduce
from itertools import groupby, islice
from operator import or_
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np
from django.db.models import Q

from inspections.analysis import records
from inspections.analysis.cleaning import range_in
from inspections.analysis.logs import LEAST_COVERAGE, Log, daily
from inspections.analysis.records import Readings
from inspections.models import LogSeries, LogValue
from inspections.vocabulary import UNITS, Quantity, Unit
from portfolio.models import Building, Section

#: What a logger knows as well as a visitor does: the air, and the face's temperature.
STANDS_IN_FOR_A_READING = (
    Quantity.AIR_TEMPERATURE,
    Quantity.AIR_HUMIDITY,
    Quantity.SURFACE_TEMPERATURE,
    Quantity.OUTDOOR_TEMPERATURE,
)
#: So many stretches of time are asked for at once.
WINDOWS = 100

_EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
_EPOCH_DAY = dt.date(1970, 1, 1).toordinal()
_SECONDS_AN_HOUR = 3600.0
_NOON = 0.5

Window = tuple[dt.datetime, dt.datetime]
Row = tuple[dt.datetime, float]


def read_log(series: LogSeries) -> Log:
    """A series' raw values in the canonical unit."""
    rows = LogValue.objects.filter(series=series).order_by("at").values_list("at", "value")
    return _log(series, rows.iterator(), series.building.zone)


def logs_of(section: Section) -> list[tuple[LogSeries, Log]]:
    """Every series of a section, and then of its house as a whole, within its instrument's range."""
    series = LogSeries.objects.standing().filter(
        Q(section=section) | Q(section__isnull=True), building=section.building_id
    )
    found = []
    for one in series.select_related("instrument", "building").order_by("section", "id"):
        log = read_log(one)
        found.append((one, log.within(*_range(one))))
    return sorted(found, key=lambda pair: pair[0].section_id is None)


def _range(series: LogSeries) -> tuple[float, float]:
    row = series.instrument
    if row is None:
        return -np.inf, np.inf
    limits = (np.nan if value is None else value for value in (row.minimum, row.maximum))
    instrument = records.Instrument(row.code, row.kind, row.scale, *limits)
    return range_in(instrument, records.CANONICAL_UNIT[series.quantity])


def logged(buildings: Sequence[Building]) -> dict[UUID, list[LogSeries]]:
    """The series that can stand in for readings, by house."""
    found: dict[UUID, list[LogSeries]] = defaultdict(list)
    rows = LogSeries.objects.standing().filter(building__in=buildings, quantity__in=STANDS_IN_FOR_A_READING)
    for one in rows.select_related("instrument", "building", "section").order_by("id"):
        found[one.building_id].append(one)
    return found


def with_logged_days(
    building: Building,
    readings: Mapping[str, Readings],
    instruments: Mapping[str, records.Instrument],
    series: Sequence[LogSeries],
) -> dict[str, Readings]:
    """Readings by section code, with a daily mean wherever a visit has no reading of what was logged.

    ``series``: what was :func:`logged` in the house. A section's speak on the days of its own visits, the
    house's on those of any; days of which less than three quarters was covered are left out. Values beyond
    the instrument's range are set aside first.
    """
    if not series:
        return dict(readings)
    wanted = {one.pk: _days_without(one, readings) for one in series}
    found = _values(wanted, building.zone)
    added: dict[str, list[Readings]] = defaultdict(list)
    for one in series:
        log = _log(one, found[one.pk], building.zone)
        if one.instrument:
            instrument = instruments.get(one.instrument.code)
            unit = records.CANONICAL_UNIT[one.quantity]
            log = log.within(*range_in(instrument, unit)) if instrument else log
        added[_owner(one)].append(_as_readings(one, log))
    return dict(readings) | {
        section: _joined([readings.get(section) or records.no_readings(), *own])
        for section, own in added.items()
    }


def _owner(series: LogSeries) -> str:
    """The code of the section that was logged, "" for the house."""
    return series.section.code if series.section else ""


def _days_without(series: LogSeries, readings: Mapping[str, Readings]) -> list[int]:
    """Days of visits on which nobody read what the series logged."""
    own = readings.get(_owner(series)) or records.no_readings()
    everybody = [own] if series.section_id else list(readings.values())
    visited = {int(day) for one in everybody for day in np.unique(np.floor(one.time))}
    read = {int(day) for day in np.unique(np.floor(own.of(series.quantity).time))}
    return sorted(visited - read)


def _values(wanted: Mapping[UUID, list[int]], zone: ZoneInfo) -> dict[UUID, list[Row]]:
    """The raw values of each series on its days, in time."""
    asked = ((id, window) for id, days in wanted.items() for window in _windows(days, zone))
    found: dict[UUID, list[Row]] = defaultdict(list)
    for some in _batches(asked):
        where = reduce(or_, (Q(series_id=id, at__gte=start, at__lt=end) for id, (start, end) in some))
        rows = (
            LogValue.objects.filter(where).order_by("series_id", "at").values_list("series_id", "at", "value")
        )
        for id, at, value in rows.iterator():
            found[id].append((at, value))
    return found


def _batches(asked: Iterator[tuple[UUID, Window]]) -> Iterator[list[tuple[UUID, Window]]]:
    while some := list(islice(asked, WINDOWS)):
        yield some


def _windows(days: Iterable[int], zone: ZoneInfo) -> Iterator[Window]:
    """The stretches of time that the local days make up; days that follow on each other are one."""
    for _, run in groupby(enumerate(days), key=lambda pair: pair[1] - pair[0]):
        following = [day for _, day in run]
        yield _midnight(following[0], zone), _midnight(following[-1] + 1, zone)


def _midnight(day: int, zone: ZoneInfo) -> dt.datetime:
    date = dt.date.fromordinal(_EPOCH_DAY + day)
    return dt.datetime.combine(date, dt.time(), zone).astimezone(dt.UTC)


def _log(series: LogSeries, rows: Iterable[Row], zone: ZoneInfo) -> Log:
    columns = [
        (
            (at - _EPOCH).total_seconds() / _SECONDS_AN_HOUR,
            at.astimezone(zone).toordinal() - _EPOCH_DAY,
            value,
        )
        for at, value in rows
    ]
    hour, day, value = np.array(columns, dtype=float).reshape(-1, 3).T
    conversion = UNITS[series.quantity][Unit(series.unit)]
    return Log(hour, day, value * conversion.factor + conversion.offset)


def _as_readings(series: LogSeries, log: Log) -> Readings:
    days = daily(log)
    whole = days.coverage >= LEAST_COVERAGE
    count, mean = int(whole.sum()), days.mean[whole]
    return records.readings_from_columns(
        {
            "time": days.start[whole] + _NOON,
            "value": mean,
            "low": mean,
            "high": mean,
            "quantity": [series.quantity] * count,
            "unit": [records.CANONICAL_UNIT[series.quantity]] * count,
            "height_mm": [np.nan if series.height_mm is None else series.height_mm] * count,
            "depth_mm": [np.nan if series.depth_mm is None else series.depth_mm] * count,
            "instrument": [series.instrument.code if series.instrument else ""] * count,
            "point": [series.point] * count,
            "inspector": [""] * count,
        }
    )


def _joined(parts: list[Readings]) -> Readings:
    whole = records.together(parts)
    return whole.where(np.argsort(whole.time, kind="stable"))
