"""The files: their columns, their keys, and what a row must satisfy as a whole.

The same tables serve CSV files and the rows of the API's bulk endpoints: a row is a mapping from column name
to text, and a check gives the model's values or says what is wrong in which column.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass

from inspections.models import Allocation, Instrument, LogSeries, Reading, Trial
from inspections.records import cells, rules
from inspections.records.cells import (
    Reader,
    above_zero,
    at_least_zero,
    day,
    money,
    number,
    text,
    whole,
    word,
)
from inspections.records.places import Places
from inspections.records.rules import Rule, Values
from inspections.vocabulary import AllocatedBy, InstrumentKind, Qualifier, Quantity, Unit
from portfolio.models import Building, Event, Record, Section, Treatment
from portfolio.vocabulary import (
    Adjoins,
    BeddingMortar,
    Beyond,
    Binder,
    DrainsTo,
    EventKind,
    Face,
    Purpose,
    RemovalReason,
    Substrate,
    TreatmentKind,
)

SMALL = 32_767
LARGE = 2_147_483_647


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a file."""

    name: str
    read: Reader
    #: The model's fields that it fills, by itself or through a rule.
    fields: tuple[str, ...]
    #: The way from the model to what an export writes.
    path: str
    #: A row may not leave the cell empty.
    required: bool
    #: The file may lack the column.
    optional: bool
    #: The value of an empty cell.
    empty: object


def column(
    name: str,
    read: Reader,
    *fields: str,
    path: str = "",
    required: bool = False,
    optional: bool = False,
    empty: object = None,
) -> Column:
    """A column whose field and path are its own name unless others are given."""
    return Column(name, read, fields or (name,), path or name, required, optional, empty)


@dataclass(frozen=True, slots=True)
class Table:
    """One file of the contract and the model that its rows become."""

    name: str
    model: type[Record]
    #: In the order of the contract and of exports.
    columns: tuple[Column, ...]
    #: The model's fields that tell one row from another, as in its unique constraint.
    key: tuple[str, ...]
    #: The column that a message about the key names.
    key_column: str
    rules: tuple[Rule, ...]
    #: For a table that others name: the row's id by its code, made when new. It needs ``code_columns``.
    identify: Callable[[Places, Values], uuid.UUID] | None = None
    code_columns: tuple[str, ...] = ()
    #: Fields that follow from others, so that a difference in them alone is no change.
    following: frozenset[str] = frozenset()

    @property
    def file(self) -> str:
        return f"{self.name}.csv"

    @property
    def key_columns(self) -> list[str]:
        """The columns that make up the key."""
        return [column.name for column in self.columns if set(column.fields) <= set(self.key)]

    def fields_of(self, present: Collection[str]) -> tuple[str, ...]:
        """The model's fields that rows with these columns fill, the key's first."""
        filled = [field for column in self.columns if column.name in present for field in column.fields]
        return tuple(dict.fromkeys([*self.key, *filled]))


def code(name: str = "code", *fields: str, path: str = "") -> Column:
    return column(name, text(50), *fields, path=path, required=True)


def note(length: int | None = None, name: str = "note", optional: bool = False) -> Column:
    return column(name, text(length), optional=optional, empty="")


def choice(name: str, words: Iterable[str], empty: object = "", optional: bool = False) -> Column:
    return column(name, word(words), empty=empty, optional=optional)


def needed(name: str, words: Iterable[str]) -> Column:
    return column(name, word(words), required=True)


_COST = (
    column("cost", money, optional=True),
    column("currency", text(3), optional=True, empty=""),
)

BUILDINGS = Table(
    "buildings",
    Building,
    (
        code(),
        note(200, "name"),
        note(200, "street"),
        note(100, "locality"),
        note(100, "region"),
        note(20, "postal_code"),
        note(100, "country"),
        column("timezone", cells.timezone, required=True),
        column("year_built", whole(-SMALL, SMALL)),
    ),
    key=("organisation_id", "code"),
    key_column="code",
    rules=(rules.OF_THE_ORGANISATION,),
    identify=lambda places, values: places.add_building(values["code"], values.get("timezone")),
    code_columns=("code",),
)

SECTIONS = Table(
    "sections",
    Section,
    (
        code("building", "building_id", path="building__code"),
        code(),
        note(100, "wall"),
        column("start_m", at_least_zero),
        column("length_m", above_zero),
        column("height_m", above_zero),
        column("below_grade_m", at_least_zero),
        choice("substrate", Substrate.values, Substrate.UNKNOWN.value),
        choice("bedding_mortar", BeddingMortar.values, BeddingMortar.UNKNOWN.value),
        needed("adjoins", Adjoins.values),
        choice("beyond", Beyond.values, optional=True),
    ),
    key=("building_id", "code"),
    key_column="code",
    rules=(rules.IN_A_BUILDING,),
    identify=lambda places, values: places.add_section(values["building"], values["code"]),
    code_columns=("building", "code"),
)

TREATMENTS = Table(
    "treatments",
    Treatment,
    (
        code("building", "section_id", path="section__building__code"),
        code("section", "section_id", path="section__code"),
        column("layer", whole(0, SMALL), required=True),
        column("applied_on", day, required=True),
        needed("kind", TreatmentKind.values),
        choice("binder", Binder.values, Binder.UNKNOWN.value),
        note(100, "mix"),
        column("thickness_mm", at_least_zero),
        column("removed_on", day),
        choice("removal_reason", RemovalReason.values),
        column("mu", at_least_zero),
        column("sd_m", at_least_zero),
        column("applied_earliest", day, optional=True),
        column("found", cells.yes, optional=True, empty=False),
        choice("face", Face.values, optional=True),
        column("area_m2", at_least_zero, optional=True),
        choice("purpose", Purpose.values, optional=True),
        choice("drains_to", DrainsTo.values, optional=True),
        column("strength_mpa", at_least_zero, optional=True),
        note(200, "applied_by", optional=True),
        *_COST,
    ),
    key=("section_id", "layer", "applied_on"),
    key_column="applied_on",
    rules=(
        rules.IN_A_BUILDING,
        rules.ON_A_SECTION,
        rules.in_order("applied_on", "removed_on"),
        rules.in_order("applied_earliest", "applied_on"),
        rules.REMOVAL_IS_DATED,
    ),
)

EVENTS = Table(
    "events",
    Event,
    (
        code("building", "building_id", path="building__code"),
        column("section", text(50), "section_id", path="section__code", empty=""),
        column("happened_on", day, required=True),
        needed("kind", EventKind.values),
        column("layer", whole(0, SMALL)),
        column("area_m2", at_least_zero, optional=True),
        *_COST,
        note(optional=True),
    ),
    key=("building_id", "section_id", "happened_on", "kind", "layer"),
    key_column="happened_on",
    rules=(rules.IN_A_BUILDING, rules.ON_A_SECTION),
)

INSTRUMENTS = Table(
    "instruments",
    Instrument,
    (
        code(),
        choice("kind", InstrumentKind.values, InstrumentKind.OTHER.value),
        choice("scale", Unit.values),
        column("minimum", number),
        column("maximum", number),
        column("resolution", at_least_zero),
        column("repeatability", at_least_zero),
    ),
    key=("organisation_id", "code"),
    key_column="code",
    rules=(rules.OF_THE_ORGANISATION, rules.in_order("minimum", "maximum")),
    identify=lambda places, values: places.add_instrument(values["code"]),
    code_columns=("code",),
)

READINGS = Table(
    "readings",
    Reading,
    (
        code("building", "building_id", path="building__code"),
        column("section", text(50), "section_id", path="section__code", empty=""),
        column("taken_at", str, required=True),
        needed("quantity", Quantity.values),
        column("height_mm", at_least_zero),
        column("depth_mm", at_least_zero),
        column("instrument", text(50), "instrument_id", path="instrument__code", empty=""),
        column("value", cells.entered, "value", "entered_value", path="entered_value"),
        column("unit", word(Unit.values), required=True),
        choice("qualifier", Qualifier.values),
        column("inspector", text(100), "visit_id", path="visit__inspector", empty=""),
        note(),
        column("point", text(50), optional=True, empty=""),
        column("replicate", whole(1, SMALL), optional=True, empty=1),
        column("duration_h", at_least_zero, optional=True),
    ),
    key=(
        "building_id",
        "section_id",
        "taken_at",
        "quantity",
        "height_mm",
        "depth_mm",
        "instrument_id",
        "point",
        "replicate",
    ),
    key_column="taken_at",
    rules=(
        rules.IN_A_BUILDING,
        rules.ON_A_SECTION,
        rules.WITH_AN_INSTRUMENT,
        rules.TAKEN_AT,
        rules.FITTING_UNIT,
        rules.VALUE_GIVEN,
        rules.QUALIFIED,
        rules.CANONICAL_VALUE,
    ),
    following=frozenset({"entered_value"}),
)

TRIALS = Table(
    "trials",
    Trial,
    (
        code(),
        note(None, "question"),
        needed("outcome", ["affected_area_rate", *Quantity.values]),
        column("started_on", day),
        column("planned_end_on", day),
    ),
    key=("organisation_id", "code"),
    key_column="code",
    rules=(rules.OF_THE_ORGANISATION, rules.in_order("started_on", "planned_end_on")),
    identify=lambda places, values: places.add_trial(values["code"]),
    code_columns=("code",),
)

ALLOCATIONS = Table(
    "allocations",
    Allocation,
    (
        code("trial", "trial_id", path="trial__code"),
        code("building", "section_id", path="section__building__code"),
        code("section", "section_id", path="section__code"),
        column("arm", text(100), required=True),
        needed("allocated_by", AllocatedBy.values),
        note(),
        column("block", text(50), optional=True, empty=""),
        column("sequence", whole(0, LARGE), optional=True),
    ),
    key=("trial_id", "section_id"),
    key_column="section",
    rules=(rules.IN_A_TRIAL, rules.IN_A_BUILDING, rules.ON_A_SECTION),
)

#: Every table after those that it names.
TABLES = (BUILDINGS, SECTIONS, TREATMENTS, EVENTS, INSTRUMENTS, READINGS, TRIALS, ALLOCATIONS)

#: The rows are values; the model, the key and the paths but the last two are those of their series.
LOGS = Table(
    "logs",
    LogSeries,
    (
        code("building", "building_id", path="building__code"),
        column("section", text(50), "section_id", path="section__code", empty=""),
        needed("quantity", Quantity.values),
        column("unit", word(Unit.values), required=True),
        column("height_mm", at_least_zero),
        column("depth_mm", at_least_zero),
        column("instrument", text(50), "instrument_id", path="instrument__code", empty=""),
        column("point", text(50), optional=True, empty=""),
        column("taken_at", str, "at", path="at", required=True),
        column("value", number, required=True),
    ),
    key=("building_id", "section_id", "quantity", "height_mm", "depth_mm", "instrument_id", "point"),
    key_column="taken_at",
    rules=(
        rules.IN_A_BUILDING,
        rules.ON_A_SECTION,
        rules.WITH_AN_INSTRUMENT,
        rules.TAKEN_AT,
        rules.FITTING_UNIT,
    ),
)

#: Every file of a folder of records.
FILES = (*TABLES, LOGS)
