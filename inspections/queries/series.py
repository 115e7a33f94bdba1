"""From stored records to what the analysis takes: some houses at a time, in a fixed number of queries."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice, pairwise
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np
from django.db.models import Field, Func

from inspections.analysis import records
from inspections.analysis.records import BuildingRecord, Coat, Happening, Readings, SectionRecord
from inspections.models import Instrument, Reading
from inspections.queries.logs import logged, with_logged_days
from inspections.vocabulary import Qualifier, Quantity
from portfolio.models import Building, Event, Organisation, Section, Treatment

EPOCH = dt.date(1970, 1, 1)
_SECONDS_A_DAY = 86_400.0
#: Clocks change at whole quarters of an hour everywhere.
_QUARTER_HOUR = 900.0
#: The unit of what is not read on a meter's own scale.
_UNIT = {
    name: unit
    for name, unit in records.CANONICAL_UNIT.items()
    if name not in {Quantity.SURFACE_MOISTURE, Quantity.DEEP_MOISTURE}
}
#: Houses that are read, and assessed, at once: some two hundred sections.
TOGETHER = 25


def day_number(day: dt.date) -> float:
    """Days from 1970-01-01 to ``day``."""
    return float((day - EPOCH).days)


def date_of(time: float) -> dt.date:
    """The date of a day number (its fraction is dropped)."""
    return EPOCH + dt.timedelta(days=int(np.floor(time)))


def local_time(moment: dt.datetime, zone: ZoneInfo) -> float:
    """Days from 1970-01-01 to ``moment`` on the building's own clock."""
    local = moment.astimezone(zone)
    seconds = local.hour * 3600 + local.minute * 60 + local.second
    return day_number(local.date()) + seconds / _SECONDS_A_DAY


class Moment(Func):
    """A time, to the second, as the database tells it: Django would read each by itself. See `_seconds`."""

    output_field: Field[Any, Any] = Field()

    def get_db_converters(self, connection: Any) -> list[Any]:
        """None: both engines give whole numbers, and a converter costs as much as reading the row."""
        return []

    def as_sqlite(self, compiler: Any, connection: Any, **context: Any) -> Any:
        return super().as_sql(compiler, connection, template="substr(%(expressions)s, 1, 19)", **context)

    def as_postgresql(self, compiler: Any, connection: Any, **context: Any) -> Any:
        template = "FLOOR(EXTRACT(EPOCH FROM %(expressions)s))::bigint"
        return super().as_sql(compiler, connection, template=template, **context)


def _seconds(moments: Sequence[Any]) -> records.FloatArray:
    """Whole seconds from 1970-01-01 to each moment, (n,); SQLite keeps them as texts, in UTC."""
    if isinstance(moments[0], str):
        return np.array(moments, dtype="datetime64[s]").astype(float)
    return np.array(moments, dtype=float)


def local_times(seconds: records.FloatArray, zone: ZoneInfo) -> records.FloatArray:
    """:func:`local_time` of many moments (n,), in seconds from 1970-01-01.

    The zone is asked at both ends of each day that occurs, and within those on which its clocks change.
    """
    shift = _shifts(seconds, _SECONDS_A_DAY, zone)
    changing = shift != _shifts(seconds + _SECONDS_A_DAY, _SECONDS_A_DAY, zone)
    shift[changing] = _shifts(seconds[changing], _QUARTER_HOUR, zone)
    return np.asarray(np.floor(seconds + shift) / _SECONDS_A_DAY)


def _shifts(seconds: records.FloatArray, step: float, zone: ZoneInfo) -> records.FloatArray:
    """Seconds (n,) by which the zone's clocks are ahead where each moment's ``step`` of time begins."""
    steps, which = np.unique(seconds // step, return_inverse=True)
    offsets = [
        dt.datetime.fromtimestamp(one * step, zone).utcoffset() or dt.timedelta() for one in steps.tolist()
    ]
    return np.array([offset.total_seconds() for offset in offsets])[which]


def building_records(organisation: Organisation) -> Iterator[BuildingRecord]:
    """Every house of ``organisation`` with its whole record, ordered by code, a few in memory at a time."""
    for houses in some_at_a_time(Building.objects.of(organisation).standing().order_by("code")):
        yield from records_of(houses)


def some_at_a_time(buildings: Iterable[Building]) -> Iterator[list[Building]]:
    """Houses in their order, so many at once as are read and assessed together."""
    # Known before the first is worked on: nothing else may be written while a cursor is open on SQLite.
    every = iter(list(buildings))
    while some := list(islice(every, TOGETHER)):
        yield some


def building_record(building: Building) -> BuildingRecord:
    """As :func:`records_of`, of one house."""
    return records_of([building])[0]


def records_of(buildings: Sequence[Building]) -> list[BuildingRecord]:
    """Houses with all their standing records, in six queries, and a few more where loggers recorded.

    ValueError where they are not of one organisation, whose instruments they share.
    """
    if not buildings:
        return []
    organisation, *others = {building.organisation_id for building in buildings}
    if others:
        raise ValueError("the records of one organisation are read at a time")
    coats, events, series = _coats(buildings), _events(buildings), logged(buildings)
    standing = Instrument.objects.standing().filter(organisation=organisation)
    instruments = {instrument.code: instrument_of(instrument) for instrument in standing}
    sections: dict[UUID, list[Section]] = defaultdict(list)
    for section in Section.objects.standing().filter(building__in=buildings).order_by("code"):
        sections[section.building_id].append(section)
    read = _readings(buildings)
    found = []
    for building in buildings:
        readings = with_logged_days(building, read.get(building.code, {}), instruments, series[building.pk])
        found.append(
            BuildingRecord(
                code=building.code,
                sections=tuple(
                    _section(one, coats[one.pk], events[one.pk], readings.get(one.code))
                    for one in sections[building.pk]
                ),
                readings=readings.get("") or records.no_readings(),
                events=tuple(events[building.pk]),
                instruments=instruments,
                year_built=_number(building.year_built),
                country=building.country,
            )
        )
    return found


def _number(value: float | None) -> float:
    return np.nan if value is None else float(value)


def instrument_of(row: Instrument) -> records.Instrument:
    """An instrument as the analysis sees it."""
    return records.Instrument(
        code=row.code,
        kind=row.kind,
        scale=row.scale,
        minimum=_number(row.minimum),
        maximum=_number(row.maximum),
        resolution=_number(row.resolution),
        repeatability=_number(row.repeatability),
    )


def _section(
    row: Section, coats: Iterable[Coat], events: Iterable[Happening], readings: Readings | None
) -> SectionRecord:
    return SectionRecord(
        code=row.code,
        wall=row.wall,
        start_m=_number(row.start_m),
        length_m=_number(row.length_m),
        height_m=_number(row.height_m),
        below_grade_m=_number(row.below_grade_m),
        substrate=row.substrate,
        bedding_mortar=row.bedding_mortar,
        adjoins=row.adjoins,
        beyond=row.beyond or "unknown",
        coats=tuple(coats),
        events=tuple(events),
        readings=readings or records.no_readings(),
    )


def _coats(buildings: Sequence[Building]) -> dict[UUID, list[Coat]]:
    coats: dict[UUID, list[Coat]] = defaultdict(list)
    rows = Treatment.objects.standing().filter(section__building__in=buildings)
    for row in rows.order_by("applied_on", "layer"):
        coats[row.section_id].append(coat_of(row))
    return coats


def coat_of(row: Treatment) -> Coat:
    """A treatment as the analysis sees it."""
    return Coat(
        layer=row.layer,
        kind=row.kind,
        applied=day_number(row.applied_on),
        removed=np.inf if row.removed_on is None else day_number(row.removed_on),
        removal_reason=row.removal_reason,
        binder=row.binder,
        mix=row.mix,
        thickness_mm=_number(row.thickness_mm),
        mu=_number(row.mu),
        sd_m=_number(row.sd_m),
        applied_earliest=np.nan if row.applied_earliest is None else day_number(row.applied_earliest),
        found=row.found,
        face=row.face or "room",
        area_m2=_number(row.area_m2),
        purpose=row.purpose or "permanent",
        drains_to=row.drains_to or "unknown",
        strength_mpa=_number(row.strength_mpa),
    )


def _events(buildings: Sequence[Building]) -> dict[UUID, list[Happening]]:
    """By section, or by house what happened to all of it."""
    events: dict[UUID, list[Happening]] = defaultdict(list)
    for row in Event.objects.standing().filter(building__in=buildings).order_by("happened_on", "kind"):
        happening = Happening(
            time=day_number(row.happened_on),
            kind=row.kind,
            layer=_number(row.layer),
            area_m2=_number(row.area_m2),
            note=row.note,
        )
        events[row.section_id or row.building_id].append(happening)
    return events


_COLUMNS = (
    "building__code",
    "section__code",
    "moment",
    "quantity",
    "value",
    "qualifier",
    "unit",
    "height_mm",
    "depth_mm",
    "instrument__code",
    "point",
    "visit__inspector",
)


def _readings(buildings: Sequence[Building]) -> dict[str, dict[str, Readings]]:
    """The readings by code of house and section, those of the house itself under ``""``."""
    standing = Reading.objects.standing().filter(building__in=buildings).annotate(moment=Moment("taken_at"))
    rows = list(standing.order_by("taken_at", "id").values_list(*_COLUMNS))
    if not rows:
        return {}
    house, section, moment, quantity, value, qualifier, unit, height, depth, meter, point, person = zip(
        *rows, strict=True
    )
    del rows
    walls: dict[tuple[str, str], int] = {}
    places = zip(house, (code or "" for code in section), strict=True)
    wall = np.fromiter((walls.setdefault(place, len(walls)) for place in places), np.int64, len(house))
    order = np.argsort(wall, kind="stable")
    edges = np.searchsorted(wall[order], np.arange(len(walls) + 1)).tolist()
    values = np.array(value, dtype=float)
    ends = _words(qualifier)
    whole = Readings(
        time=_on_the_wall_clock(_seconds(moment), house, buildings),
        quantity=_words(quantity),
        value=values,
        low=np.where(ends == Qualifier.BELOW, -np.inf, values),
        high=np.where(ends == Qualifier.ABOVE, np.inf, values),
        unit=_words([_UNIT.get(name, one) for name, one in zip(quantity, unit, strict=True)]),
        height_mm=np.array(height, dtype=float),
        depth_mm=np.array(depth, dtype=float),
        instrument=_words(meter),
        point=_words(point),
        inspector=_words(person),
    ).where(order)
    found: dict[str, dict[str, Readings]] = {building.code: {} for building in buildings}
    for (code, place), (start, stop) in zip(walls, pairwise(edges), strict=True):
        found[code][place] = whole.where(slice(start, stop))
    return found


def _on_the_wall_clock(
    seconds: records.FloatArray, house: Sequence[str], buildings: Sequence[Building]
) -> records.FloatArray:
    """:func:`local_times` of readings (n,), each by the clock of its ``house`` (n codes)."""
    zones = {building.code: building.zone for building in buildings}
    if len(set(zones.values())) == 1:
        return local_times(seconds, buildings[0].zone)
    own = np.array([zones[code].key for code in house], dtype=np.str_)
    time = np.empty(len(seconds))
    for zone in set(zones.values()):
        time[own == zone.key] = local_times(seconds[own == zone.key], zone)
    return time


def _words(cells: Sequence[str | None]) -> records.TextArray:
    """Texts (n,) that mostly repeat each other, empty where there is none."""
    place = {cell: place for place, cell in enumerate(set(cells))}
    names = np.array([cell or "" for cell in place], dtype=np.str_)
    return names[np.fromiter(map(place.__getitem__, cells), np.int64, len(cells))]
