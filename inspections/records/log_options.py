"""What a load of a logger's file names: where the logger hung, and which column holds what."""

from __future__ import annotations

import math
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from inspections.models import Instrument
from inspections.records import cells
from inspections.records.faults import Fault, Faults, Problem, RecordsRefused, shown
from inspections.records.logger_files import utc_offset
from inspections.vocabulary import UNITS
from portfolio.models import Building, Organisation, Section

#: So many codes are named where a wrong one was given.
NAMED = 20
POINT_LENGTH = 50


@dataclass(frozen=True, slots=True)
class Place:
    """Where a logger hung; without a section, in the house."""

    building: str
    section: str = ""
    instrument: str = ""
    height_mm: float | None = None
    depth_mm: float | None = None
    point: str = ""


@dataclass(frozen=True, slots=True)
class Placed:
    """A place that there is: the series' fields that say it, and what the building and instrument say."""

    organisation_id: uuid.UUID
    fields: Mapping[str, Any]
    zone: ZoneInfo
    #: The unit of the instrument's scale; empty where it has none.
    scale: str


@dataclass(frozen=True, slots=True)
class Channels:
    """Which columns of a logger's file hold which quantity, in which unit."""

    time: str
    columns: Mapping[str, str]
    units: Mapping[str, str]
    #: As :func:`utc_offset` gives it; empty for the building's own clock.
    offset: str = ""


def placed(slug: str, place: Place) -> Placed:
    """The place among the standing records; raises :class:`RecordsRefused`."""
    organisation = Organisation.objects.filter(slug=slug).first()
    if organisation is None:
        known = _named(Organisation.objects.values_list("slug", flat=True))
        raise _refusal("--organisation", f"there is no organisation {shown(slug)}; there are: {known}")
    building = _found(Building.objects.of(organisation), place.building, "--building", "building")
    section = instrument = None
    if place.section:
        of = f"in building {shown(place.building)} "
        section = _found(Section.objects.filter(building=building), place.section, "--section", "section", of)
    if place.instrument:
        own = Instrument.objects.of(organisation)
        instrument = _found(own, place.instrument, "--instrument", "instrument")
    _check_position(place)
    fields = {
        "building_id": building.pk,
        "section_id": section.pk if section else None,
        "instrument_id": instrument.pk if instrument else None,
        "height_mm": place.height_mm,
        "depth_mm": place.depth_mm,
        "point": place.point,
    }
    try:
        zone = cells.zone_of(building.timezone)
    except Problem as problem:
        raise _refusal("--building", f"its time zone: {problem}") from None
    return Placed(organisation.pk, fields, zone, instrument.scale if instrument else "")


def channels_of(
    time: str, columns: Mapping[str, str], units: Mapping[str, str], scale: str, offset: str
) -> Channels:
    """The columns with each one's unit, checked; raises :class:`RecordsRefused`."""
    faults = Faults()
    read = {}
    for quantity in columns:
        try:
            read[quantity] = _unit(quantity, units.get(quantity, ""), scale)
        except Problem as problem:
            faults.add(Fault(f"--unit {quantity}" if quantity in UNITS else "--column", 0, "", str(problem)))
    for quantity in units.keys() - columns.keys():
        idle = f"{shown(quantity)} has a unit and no column; give --column {quantity}=COLUMN too"
        faults.add(Fault("--unit", 0, "", idle))
    if offset:
        try:
            offset = utc_offset(offset)
        except Problem as problem:
            faults.add(Fault("--utc-offset", 0, "", str(problem)))
    faults.refuse_any()
    return Channels(time, columns, read, offset)


def _unit(quantity: str, given: str, scale: str) -> str:
    if quantity not in UNITS:
        raise Problem(f"{shown(quantity)} is no quantity{cells.suggestion(quantity, UNITS)}")
    fitting = [str(unit) for unit in UNITS[quantity]]
    unit = given or (scale if scale in fitting else fitting[0])
    if unit not in fitting:
        raise Problem(f"{quantity} is not read in {shown(unit)}; write one of: {', '.join(fitting)}")
    return unit


def _found(records: QuerySet[Any], code: str, option: str, what: str, of: str = "") -> Any:
    standing = records.filter(voided_at__isnull=True)
    found = standing.filter(code=code).first()
    if found is None:
        codes = _named(standing.order_by("code").values_list("code", flat=True))
        raise _refusal(option, f"no {what} {shown(code)} {of}among the records; there are: {codes}")
    return found


def _named(codes: QuerySet[Any, Any]) -> str:
    return ", ".join(codes[:NAMED]) or "none yet"


def _check_position(place: Place) -> None:
    for option, value in (("--height-mm", place.height_mm), ("--depth-mm", place.depth_mm)):
        if value is not None and not 0 <= value < math.inf:
            raise _refusal(option, f"{value:g} is no length in millimetres; give 0 or more")
    if len(place.point) > POINT_LENGTH:
        raise _refusal("--point", f"has {len(place.point)} characters; there is room for {POINT_LENGTH}")


def _refusal(option: str, problem: str) -> RecordsRefused:
    return RecordsRefused([Fault(option, 0, "", problem)])
