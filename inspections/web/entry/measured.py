"""Numbers as a person enters them: in their units, with their decimal sign."""

from __future__ import annotations

import re
from typing import Final

from inspections.records.exporting import as_cell
from inspections.vocabulary import INCH_MM, SQUARE_FOOT_M2, UNITS, Quantity, Unit
from inspections.web.present import units
from portfolio.vocabulary import Units

#: What people with feet and inches read instead of a canonical unit, where readings take it.
_US: Final = {
    Unit.M2: Unit.FT2,
    Unit.MM: Unit.IN,
    Unit.DEG_C: Unit.DEG_F,
    Unit.BQ_PER_M3: Unit.PCI_PER_L,
    Unit.MM_PER_DAY: Unit.IN_PER_DAY,
}
#: A meter's own scale, which nobody prefers: it is the instrument's.
OWN_SCALE: Final = frozenset({Quantity.SURFACE_MOISTURE, Quantity.DEEP_MOISTURE})
#: A comma is taken for a decimal sign unless three digits follow it, which may be thousands.
_DECIMAL_COMMA: Final = re.compile(r"[+-]?\d*,(\d{1,2}|\d{4,})", re.ASCII)
_FACTORS: Final = {Unit.MM: INCH_MM, Unit.M2: SQUARE_FOOT_M2}
#: Decimals of a converted number, far below what a tape shows; they drop what binary fractions leave over.
_KEPT_DECIMALS: Final = 6


def with_point(text: str) -> str:
    """A typed number with a decimal point."""
    text = text.strip()
    return text.replace(",", ".") if _DECIMAL_COMMA.fullmatch(text) else text


def entry_unit(quantity: str, system: str) -> Unit:
    """The unit in which a person enters a quantity; for a meter's own scale its plain divisions."""
    canonical = next(iter(UNITS[Quantity(quantity)].values())).canonical
    return _US.get(canonical, canonical) if system == Units.US else canonical


def in_unit(value: float, quantity: str, unit: str) -> float:
    """A canonical value in one of its quantity's units."""
    conversion = UNITS[Quantity(quantity)][Unit(unit)]
    return (value - conversion.offset) / conversion.factor


def length(millimetres: float, system: str) -> str:
    """Such as "200 mm" or "7.9 in"."""
    return units.amount(millimetres, Unit.MM, system, decimals=0 if system == Units.SI else 1)


def to_stored(text: str, unit: Unit, system: str) -> str:
    """A number typed in inches or square feet as the millimetres or square metres that are kept.

    What is no number is left as it is, for the checks of the records to name.
    """
    typed = with_point(text)
    if system != Units.US or not typed:
        return typed
    try:
        return as_cell(round(float(typed) * _FACTORS[unit], _KEPT_DECIMALS))
    except (ValueError, OverflowError):
        return typed


def typed_label(unit: Unit, system: str) -> str:
    """The unit that stands beside a field whose value is kept in ``unit``."""
    return str((_US.get(unit, unit) if system == Units.US else unit).label)
