"""From stored records to what the analysis takes: one house at a time, in a fixed number of queries."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np
from django.db.models import Field, Func

from inspections.analysis import records
from inspections.analysis.records import BuildingRecord, Coat, Happening, Readings, SectionRecord
from inspections.models import Instrument, Reading
from inspections.queries.logs import with_logged_days
from inspections.vocabulary import Qualifier, Quantity
from portfolio.models import Building, Event, Organisation, Section, Treatment

EPOCH = dt.date(1970, 1, 1)
_SECONDS_A_DAY = 86_400.0
#: Clocks change at whole quarters of an hour everywhere.
_QUARTER_HOUR = 900.0
_MOISTURE = {Quantity.SURFACE_MOISTURE, Quantity.DEEP_MOISTURE}


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
    """Every house of ``organisation`` with its whole record, ordered by code, one at a time."""
    for building in Building.objects.of(organisation).standing().order_by("code"):
        yield building_record(building)


def building_record(building: Building) -> BuildingRecord:
    """One house with all its standing records, in six queries, and a few more where loggers recorded."""
    coats = _coats(building)
    events = _events(building)
    standing = Instrument.objects.standing().filter(organisation=building.organisation_id)
    instruments = {instrument.code: instrument_of(instrument) for instrument in standing}
    readings = with_logged_days(building, _readings(building), instruments)
    sections = tuple(
        _section(section, coats[section.pk], events[section.pk], readings.get(section.code))
        for section in Section.objects.standing().filter(building=building).order_by("code")
    )
    return BuildingRecord(
        code=building.code,
        sections=sections,
        readings=readings.get("") or records.no_readings(),
        events=tuple(events[None]),
        instruments=instruments,
        year_built=_number(building.year_built),
        country=building.country,
    )


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


def _coats(building: Building) -> dict[UUID, list[Coat]]:
    coats: dict[UUID, list[Coat]] = defaultdict(list)
    rows = Treatment.objects.standing().filter(section__building=building).order_by("applied_on", "layer")
    for row in rows:
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


def _events(building: Building) -> dict[UUID | None, list[Happening]]:
    events: dict[UUID | None, list[Happening]] = defaultdict(list)
    for row in Event.objects.standing().filter(building=building).order_by("happened_on", "kind"):
        happening = Happening(
            time=day_number(row.happened_on),
            kind=row.kind,
            layer=_number(row.layer),
            area_m2=_number(row.area_m2),
            note=row.note,
        )
        events[row.section_id].append(happening)
    return events


_COLUMNS = (
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


def _readings(building: Building) -> dict[str, Readings]:
    """The house's readings by section code, those of the house itself under ``""``."""
    standing = Reading.objects.standing().filter(building=building).annotate(moment=Moment("taken_at"))
    rows = list(standing.order_by("taken_at", "id").values_list(*_COLUMNS))
    if not rows:
        return {}
    section, moment, quantity, value, qualifier, unit, height, depth, meter, point, person = zip(
        *rows, strict=True
    )
    values = np.array(value, dtype=float)
    ends, quantities, units = _words(qualifier), _words(quantity), _words(unit)
    for name in set(quantity) - _MOISTURE:
        units[quantities == name] = records.CANONICAL_UNIT[name]
    whole = Readings(
        time=local_times(_seconds(moment), building.zone),
        quantity=quantities,
        value=values,
        low=np.where(ends == Qualifier.BELOW, -np.inf, values),
        high=np.where(ends == Qualifier.ABOVE, np.inf, values),
        unit=units,
        height_mm=np.array(height, dtype=float),
        depth_mm=np.array(depth, dtype=float),
        instrument=_words(meter),
        point=_words(point),
        inspector=_words(person),
    )
    owner = _words(section)
    return {code: whole.where(owner == code) for code in sorted({code or "" for code in section})}


def _words(cells: Sequence[str | None]) -> records.TextArray:
    """Texts (n,) that mostly repeat each other, empty where there is none."""
    place = {cell: place for place, cell in enumerate(set(cells))}
    names = np.array([cell or "" for cell in place], dtype=np.str_)
    return names[np.fromiter(map(place.__getitem__, cells), np.int64, len(cells))]
