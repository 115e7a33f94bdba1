"""Many rows at once from the API: all or nothing, and the same rows again change nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

from django.db import IntegrityError, transaction

from inspections.models import LogSeries, LogValue
from inspections.records.cells import moment, number, suggestion, zone_of
from inspections.records.faults import Fault, Faults, Problem, shown
from inspections.records.loading import Counts, load_rows
from inspections.records.source import as_text
from inspections.records.tables import READINGS
from portfolio.domain.due import ask_for_assessment
from portfolio.domain.refusals import Conflict
from portfolio.models import Building, Organisation, User

#: So many rows are taken in one request; more belong into several, or into a folder.
MOST_ROWS = 10_000
VALUE_COLUMNS = ("at", "value")
#: Values are looked up by so many times in one statement; SQLite takes 32,766 parameters.
CHUNK = 5_000

JsonRow = Mapping[str, object]


@transaction.atomic
def enter_readings(
    *,
    organisation: Organisation,
    user: User,
    rows: Sequence[JsonRow],
    source: str = "readings by API",
) -> Counts:
    """Enter readings, or correct those with the same key. Raises `RecordsRefused` with every row's faults."""
    names = [column.name for column in READINGS.columns]
    faults = Faults()
    _refuse_unknown(rows, names, faults)
    wanted = [name for name in names if not _optional(name) or any(name in row for row in rows)]
    filled = [{name: row.get(name) for name in wanted} for row in rows]
    report = load_rows({READINGS.name: filled}, organisation.slug, source=source, user=user)
    counts = report.files[READINGS.name]
    if counts.new or counts.changed:
        codes = {as_text(row.get("building")) for row in rows}
        houses = Building.objects.of(organisation).filter(code__in=codes)
        ask_for_assessment(houses.values_list("pk", flat=True))
    return counts


@transaction.atomic
def enter_log_values(*, series: LogSeries, rows: Sequence[JsonRow]) -> Counts:
    """Enter what a logger recorded in a series. A value that stands already is never changed by another."""
    faults = Faults()
    _refuse_unknown(rows, VALUE_COLUMNS, faults)
    values = _values(series, rows, faults)
    faults.refuse_any()
    standing = _standing(series, [at for _, at, _ in values])
    new: dict[dt.datetime, float] = {}
    for line, at, value in values:
        known = standing.get(at, new.get(at))
        if known is None:
            new[at] = value
        elif known != value:
            problem = f"at that time {known:g} was logged already, and a logged value is not changed"
            faults.add(Fault("values", line, "value", problem))
    faults.refuse_any()
    try:
        with transaction.atomic():
            LogValue.objects.bulk_create(LogValue(series=series, at=at, value=v) for at, v in new.items())
    except IntegrityError as error:
        raise Conflict("Somebody else entered values of this series just now; send yours again.") from error
    if new:
        ask_for_assessment(series.building_ids())
    return Counts(new=len(new), changed=0, unchanged=len(values) - len(new))


def _optional(name: str) -> bool:
    return next(column.optional for column in READINGS.columns if column.name == name)


def _refuse_unknown(rows: Sequence[JsonRow], known: Sequence[str], faults: Faults) -> None:
    for line, row in enumerate(rows, 1):
        for name in row:
            if name not in known:
                problem = f"unknown column {shown(name)}{suggestion(name, known)}"
                faults.add(Fault("rows", line, name, problem))
    faults.refuse_any()


def _values(
    series: LogSeries, rows: Sequence[JsonRow], faults: Faults
) -> list[tuple[int, dt.datetime, float]]:
    """Each good row's line, time and value."""
    zone = zone_of(series.building.timezone)
    values = []
    for line, row in enumerate(rows, 1):
        cells = {name: as_text(row.get(name)) for name in VALUE_COLUMNS}
        read: dict[str, object] = {}
        for name, reader in (("at", lambda cell: moment(cell, zone)[0]), ("value", number)):
            try:
                if not cells[name]:
                    raise Problem("is missing; the cell may not be empty")
                read[name] = reader(cells[name])
            except Problem as problem:
                faults.add(Fault("values", line, name, str(problem)))
        at, value = read.get("at"), read.get("value")
        if isinstance(at, dt.datetime) and isinstance(value, float):
            values.append((line, at, value))
    return values


def _standing(series: LogSeries, times: Sequence[dt.datetime]) -> dict[dt.datetime, float]:
    found: dict[dt.datetime, float] = {}
    for start in range(0, len(times), CHUNK):
        of_times = LogValue.objects.filter(series=series, at__in=times[start : start + CHUNK])
        found.update(of_times.values_list("at", "value"))
    return found
