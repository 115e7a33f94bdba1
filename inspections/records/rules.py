"""What a row must satisfy as a whole: the codes it names exist, its unit fits, its dates are in order.

A rule takes the row's values by column name, puts in those of the model, or raises a :class:`Problem`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from inspections.records import cells
from inspections.records.faults import Problem, shown
from inspections.records.places import Places
from inspections.vocabulary import UNITS

Values = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Rule:
    """A check of several columns.

    It runs if all that it ``needs`` could be read; ``column`` is the one that is named if it fails.
    """

    column: str
    needs: tuple[str, ...]
    check: Callable[[Values, Places], None]


# Naming other records --------------------------------------------------------------------------------


def _organisation(values: Values, places: Places) -> None:
    values["organisation_id"] = places.organisation_id


def _building(values: Values, places: Places) -> None:
    house = places.building(values["building"])
    values["building_id"], values["zone"] = house.id, house.zone


def _section(values: Values, places: Places) -> None:
    code = values["section"]
    values["section_id"] = places.section(values["building"], code) if code else None


def _instrument(values: Values, places: Places) -> None:
    code = values["instrument"]
    values["instrument_id"] = places.instrument(code) if code else None


def _trial(values: Values, places: Places) -> None:
    values["trial_id"] = places.trial(values["trial"])


OF_THE_ORGANISATION = Rule("code", (), _organisation)
IN_A_BUILDING = Rule("building", ("building",), _building)
# Where the building itself is unknown, its section is not held against the row as well.
ON_A_SECTION = Rule("section", ("building", "section", "building_id"), _section)
WITH_AN_INSTRUMENT = Rule("instrument", ("instrument",), _instrument)
IN_A_TRIAL = Rule("trial", ("trial",), _trial)


# Dates and numbers in order ----------------------------------------------------------------------------


def in_order(earlier: str, later: str) -> Rule:
    """``earlier`` is not after ``later`` where both are given."""

    def check(values: Values, places: Places) -> None:
        first, second = values[earlier], values[later]
        if first is not None and second is not None and first > second:
            raise Problem(f"{second} is before {earlier}, {first}")

    return Rule(later, (earlier, later), check)


def _removal_is_dated(values: Values, places: Places) -> None:
    if values["removal_reason"] and values["removed_on"] is None:
        raise Problem("a reason for a removal without its date; give removed_on, or leave the reason empty")


REMOVAL_IS_DATED = Rule("removal_reason", ("removal_reason", "removed_on"), _removal_is_dated)


# Readings ------------------------------------------------------------------------------------------------


def _taken_at(values: Values, places: Places) -> None:
    if values["zone"] is None:
        raise Problem(f"the time zone of building {shown(values['building'])} is not one; mend that first")
    values["taken_at"], values["day"] = cells.moment(values["taken_at"], values["zone"])


def _unit(values: Values, places: Places) -> None:
    units = UNITS[values["quantity"]]
    if values["unit"] not in units:
        raise Problem(
            f"{values['quantity']} is not read in {shown(values['unit'])}; write one of: {', '.join(units)}"
        )
    values["unit_fits"] = True


def _value_given(values: Values, places: Places) -> None:
    if values["value"] is None:
        raise Problem("is missing; write the number that was read, or leave the row out")


def _qualified(values: Values, places: Places) -> None:
    if values["qualifier"] and values["value"] is None:
        raise Problem(f"{values['qualifier']} without a value; write the value at which the scale ended")


def _value(values: Values, places: Places) -> None:
    if values["value"] is None:
        return
    entered, value = values["value"]
    canonical = UNITS[values["quantity"]][values["unit"]](value)
    if not math.isfinite(canonical):
        raise Problem(f"{shown(entered)} is too large a number")
    values["entered_value"], values["value"] = entered, canonical


TAKEN_AT = Rule("taken_at", ("taken_at", "zone"), _taken_at)
FITTING_UNIT = Rule("unit", ("quantity", "unit"), _unit)
VALUE_GIVEN = Rule("value", ("value",), _value_given)
QUALIFIED = Rule("qualifier", ("qualifier", "value"), _qualified)
CANONICAL_VALUE = Rule("value", ("quantity", "unit", "value", "unit_fits"), _value)
