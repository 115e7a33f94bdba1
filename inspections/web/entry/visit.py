"""A visit's readings as they are asked for and as they were typed: one row for each place of a section."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from inspections.models import Instrument, Reading
from inspections.queries.entry import Latest, Place, place_of
from inspections.records.exporting import as_cell
from inspections.vocabulary import OF_THE_BUILDING, UNITS, Qualifier, Quantity, Unit
from inspections.web.entry import help as helps
from inspections.web.entry import measured
from inspections.web.present import dates, units, words

#: Where a wall that nobody has read yet is read first: near the floor, at the hip and at the head. Common
#: practice; the first readings then set the marks.
FIRST_PLACES: Final = (
    Place(Quantity.SURFACE_MOISTURE, 200.0),
    Place(Quantity.SURFACE_MOISTURE, 900.0),
    Place(Quantity.SURFACE_MOISTURE, 1500.0),
    Place(Quantity.HOLLOW_AREA),
    Place(Quantity.SPALL_AREA),
    Place(Quantity.SALT_AREA),
)
#: Rows to fill in freely, below those of the usual places.
FREE_ROWS: Final = 2
#: More rows than any section has; whatever is sent beyond them is not read.
MOST_ROWS: Final = 200
ORDER: Final = {quantity: number for number, quantity in enumerate(Quantity.values)}
#: The cells of a row that say where it was read, and those that were typed.
PLACE_CELLS: Final = ("quantity", "height_mm", "depth_mm", "point", "replicate")
TYPED_CELLS: Final = ("value", "qualifier", "note")


@dataclass(slots=True)
class Row:
    """One reading to be: its cells as the records take them, and what stands beside the field."""

    number: int
    cells: dict[str, str]
    system: str
    last: str = ""
    free: bool = False
    errors: list[str] = field(default_factory=list)
    #: Of a free row: what was chosen, and height and depth as they were typed.
    what: str = ""
    typed_height: str = ""
    typed_depth: str = ""

    @property
    def quantity(self) -> str:
        return self.cells["quantity"]

    @property
    def filled(self) -> bool:
        """Whether anything was typed; a choice of what to read alone is nothing yet."""
        return any(self.cells[name] for name in TYPED_CELLS)

    @property
    def place(self) -> tuple[str, ...]:
        """What tells its place from others, as text."""
        return tuple(self.cells[name] for name in PLACE_CELLS)

    @property
    def where(self) -> str:
        """Such as "900 mm up, 100 mm deep"; of a reading at the face the height alone."""
        parts = [
            f"{measured.length(float(self.cells[name]), self.system)} {what}"
            for name, what in (("height_mm", "up"), ("depth_mm", "deep"))
            if _is_number(self.cells[name]) and (name == "height_mm" or float(self.cells[name]))
        ]
        parts += [f"at {self.cells['point']}"] if self.cells["point"] else []
        parts += [f"reading {self.cells['replicate']}"] if self.cells["replicate"] not in ("", "1") else []
        return ", ".join(parts)

    @property
    def name(self) -> str:
        """What the field is called where it stands alone."""
        what = words.quantity_name(self.quantity) if self.quantity else "something else"
        return f"{words.capital(what)}{f', {self.where}' if self.where else ''}"

    @property
    def label(self) -> str:
        return words.capital(self.where) if self.where else self.name

    @property
    def unit_label(self) -> str:
        unit = self.cells["unit"]
        return str(Unit(unit).label) if unit in Unit.values else ""


@dataclass(frozen=True, slots=True)
class Group:
    """A quantity's rows, read with one instrument."""

    quantity: str
    name: str
    help: str
    instrument: str
    choices: list[str]
    rows: list[Row]

    @property
    def alone(self) -> Row | None:
        """The row of a quantity that is read at one place only; its note then stands beside its help."""
        return self.rows[0] if len(self.rows) == 1 else None


# What is asked for ---------------------------------------------------------------------------------------


def places_to_read(latest: Latest, section: UUID | None) -> dict[Place, Reading | None]:
    """Where the section is read: as on its last days, else as the house's other walls, else by custom."""
    own = latest.get(section)
    if own:
        return dict(_in_order(own.items()))
    if section is None:
        return {}
    others = [readings for other, readings in latest.items() if other is not None and readings]
    if not others:
        return dict.fromkeys(FIRST_PLACES)
    nearest = max(others, key=lambda readings: max(one.taken_at for one in readings.values()))
    return dict.fromkeys(place for place, _ in _in_order(nearest.items()))


def _in_order(items: Iterable[tuple[Place, Reading]]) -> list[tuple[Place, Reading]]:
    return sorted(items, key=lambda item: _rank(item[0]))


def _rank(place: Place) -> tuple[int, float, float, str, int]:
    height, depth = place.height_mm or 0.0, place.depth_mm or 0.0
    return ORDER[place.quantity], height, depth, place.point, place.replicate


def asked_rows(
    latest: Latest, section: UUID | None, entered: Iterable[Reading], system: str, zone: ZoneInfo
) -> list[Row]:
    """A row for each place, empty or with what was entered at this moment already, then the free rows."""
    places = places_to_read(latest, section)
    now = {place_of(reading): reading for reading in entered if reading.section_id == section}
    by_quantity = _readings_by_quantity(latest)
    rows: list[Row] = []
    for place in sorted({*places, *now}, key=_rank):
        last, standing = places.get(place), now.get(place)
        like = standing or last or by_quantity.get(place.quantity)
        rows.append(_row(len(rows), place, like, standing, system))
        rows[-1].last = last_value(last, rows[-1].cells["unit"], zone)
    return rows + [_free_row(len(rows) + extra, system) for extra in range(FREE_ROWS)]


def _readings_by_quantity(latest: Latest) -> dict[str, Reading]:
    """The house's latest reading of each quantity, whose instrument a new place starts with."""
    readings = [reading for own in latest.values() for reading in own.values()]
    return {reading.quantity: reading for reading in sorted(readings, key=lambda one: one.taken_at)}


def place_text(place: Place) -> tuple[str, ...]:
    """A place as the cells of a row."""
    return tuple(as_cell(getattr(place, name)) for name in PLACE_CELLS)


def _row(number: int, place: Place, like: Reading | None, standing: Reading | None, system: str) -> Row:
    cells = _cells(place) | dict.fromkeys(TYPED_CELLS, "")
    cells["instrument"] = like.instrument.code if like and like.instrument else ""
    cells["unit"] = unit_for(place.quantity, like, system)
    if standing is not None:
        cells |= {"value": standing.entered_value, "unit": standing.unit}
        cells |= {"qualifier": standing.qualifier, "note": standing.note}
    return Row(number, cells, system)


def _cells(place: Place) -> dict[str, str]:
    return dict(zip(PLACE_CELLS, place_text(place), strict=True))


def _free_row(number: int, system: str) -> Row:
    names = (*PLACE_CELLS, *TYPED_CELLS, "instrument", "unit")
    return Row(number, dict.fromkeys(names, ""), system, free=True)


def unit_for(quantity: str, like: Reading | None, system: str) -> str:
    """A meter's own scale as last time; else the person's unit."""
    if quantity in measured.OWN_SCALE and like is not None:
        return like.unit
    return measured.entry_unit(quantity, system).value


def last_value(reading: Reading | None, unit: str, zone: ZoneInfo) -> str:
    """Such as "last > 97, 3 May 2024", in the field's unit; as it was entered where that is the same."""
    if reading is None:
        return ""
    if reading.unit == unit:
        value = reading.entered_value
    elif unit in UNITS[Quantity(reading.quantity)]:
        value = f"{measured.in_unit(reading.value, reading.quantity, unit):.3g}"
    else:
        value = f"{reading.entered_value} {reading.get_unit_display()}"
    sign = f"{reading.qualifier} " if reading.qualifier else ""
    return f"last {sign}{value}, {dates.day(reading.taken_at.astimezone(zone).date())}"


def quantity_choices(system: str, *, of_the_house: bool) -> list[tuple[str, str]]:
    """For a free row: each quantity with the unit it is entered in, as value and text."""
    choices = []
    for quantity in Quantity.values:
        if (quantity in OF_THE_BUILDING) != of_the_house:
            continue
        own = quantity in measured.OWN_SCALE
        found = UNITS[Quantity(quantity)] if own else [measured.entry_unit(quantity, system)]
        choices += [
            (f"{quantity}:{unit}", f"{words.capital(words.quantity_name(quantity))}, {Unit(unit).label}")
            for unit in found
        ]
    return choices


# What was typed ------------------------------------------------------------------------------------------


def typed_rows(data: Mapping[str, str], system: str, scales: Mapping[str, str]) -> list[Row]:
    """The rows as they were sent, with numbers in the records' signs; ``scales``: of each instrument."""
    rows = []
    for number in range(_count(data.get("rows", ""))):
        cells = {
            name: data.get(f"{number}-{name}", "").strip() for name in (*PLACE_CELLS, *TYPED_CELLS, "unit")
        }
        cells["value"] = measured.with_point(cells["value"])
        row = Row(number, cells, system, last=data.get(f"{number}-last", ""), free=f"{number}-what" in data)
        if row.free:
            _read_free(row, data)
        else:
            cells["instrument"] = data.get(f"instrument-{row.quantity}", "")
        scale = scales.get(cells["instrument"], "")
        if row.quantity in measured.OWN_SCALE and scale in UNITS[Quantity(row.quantity)]:
            cells["unit"] = scale
        rows.append(row)
    return rows


def _count(text: str) -> int:
    """How many rows were sent; none where that is no count, and never more than are read."""
    try:
        return min(max(int(text), 0), MOST_ROWS)
    except ValueError:
        return 0


def _read_free(row: Row, data: Mapping[str, str]) -> None:
    row.what = data[f"{row.number}-what"]
    row.typed_height, row.typed_depth = row.cells["height_mm"], row.cells["depth_mm"]
    quantity, _, unit = row.what.partition(":")
    row.cells |= {"quantity": quantity, "unit": unit, "replicate": "1"}
    row.cells["instrument"] = data.get(f"{row.number}-instrument", "")
    for name in ("height_mm", "depth_mm"):
        row.cells[name] = measured.to_stored(row.cells[name], Unit.MM, row.system)


def groups_of(rows: Iterable[Row], instruments: Iterable[Instrument]) -> list[Group]:
    """The rows of the usual places by quantity, each with the instruments that can read it."""
    by_quantity: dict[str, list[Row]] = {}
    for row in rows:
        if not row.free and row.quantity in ORDER:
            by_quantity.setdefault(row.quantity, []).append(row)
    known = list(instruments)
    return [_group(quantity, own, known) for quantity, own in by_quantity.items()]


def _group(quantity: str, rows: list[Row], instruments: list[Instrument]) -> Group:
    used = next((row.cells["instrument"] for row in rows if row.cells["instrument"]), "")
    fitting = [one.code for one in instruments if not one.scale or one.scale in UNITS[Quantity(quantity)]]
    return Group(
        quantity=quantity,
        name=words.capital(words.quantity_name(quantity)),
        help=helps.READING.get(quantity, ""),
        instrument=used,
        choices=list(dict.fromkeys(filter(None, [used, *fitting]))),
        rows=rows,
    )


# What was entered, and what is missing ----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Reviewed:
    """One section at the end of a visit."""

    name: str
    href: str
    entered: list[tuple[UUID, str]]
    missing: list[str]


def entered_lines(readings: Iterable[Reading]) -> list[tuple[UUID, str]]:
    """What was entered, as entered, with the reading's id."""
    ordered = sorted(readings, key=lambda one: _rank(place_of(one)))
    return [(reading.pk, entered_line(reading)) for reading in ordered]


def entered_line(reading: Reading) -> str:
    """Such as "Face moisture, 300 mm up: above 97"."""
    cells = _cells(place_of(reading))
    system = "us" if reading.unit in (Unit.FT2, Unit.IN, Unit.DEG_F) else "si"
    unit = "" if reading.unit == Unit.RELATIVE else f"{units.NO_BREAK}{reading.get_unit_display()}"
    sign = {Qualifier.ABOVE: "above ", Qualifier.BELOW: "below "}.get(Qualifier(reading.qualifier), "")
    return f"{Row(0, cells, system).name}: {sign}{reading.entered_value}{unit}"


def missing_lines(places: Iterable[Place], entered: Iterable[Reading], system: str) -> list[str]:
    """The usual places that were not read, by quantity."""
    read = {place_of(reading) for reading in entered}
    missing: dict[str, list[str]] = {}
    for place in places:
        if place not in read:
            missing.setdefault(place.quantity, []).append(Row(0, _cells(place), system).where)
    return [
        words.quantity_name(quantity) + (f" ({'; '.join(filter(None, where))})" if any(where) else "")
        for quantity, where in missing.items()
    ]


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def moment_text(moment: dt.datetime) -> str:
    """A local time as it stands in an address."""
    return f"{moment:%Y-%m-%dT%H%M}"
