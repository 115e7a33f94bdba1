"""Numbers and their units as a reader wants them: the one place where SI is turned into feet and °F."""

from __future__ import annotations

import math
from dataclasses import dataclass

from inspections.vocabulary import INCH_MM, PICOCURIE_PER_LITRE_BQ, SQUARE_FOOT_M2, Unit
from portfolio.vocabulary import Units

FOOT_M = 0.3048
US_GALLON_L = 3.785411784
#: True minus, so that a negative number is not broken from its sign or mistaken for a dash.
MINUS = "−"
NO_BREAK = "\u00a0"


@dataclass(frozen=True, slots=True)
class Shown:
    """How a stored unit is shown: ``value * factor + offset``, with ``decimals`` places and a label."""

    label: str
    decimals: int = 1
    factor: float = 1.0
    offset: float = 0.0

    def value(self, stored: float) -> float:
        """A level, in the shown unit."""
        return stored * self.factor + self.offset

    def change(self, stored: float) -> float:
        """A difference or a rate: never moved by the offset."""
        return stored * self.factor


METRES = "m"
KELVIN = "K"
SHARE = "share"

_SI: dict[str, Shown] = {
    METRES: Shown("m"),
    KELVIN: Shown("K"),
    SHARE: Shown("%", 1, 100.0),
    Unit.RELATIVE: Shown("", 0),
    Unit.PERCENT_WME: Shown("% WME"),
    Unit.PERCENT_MASS: Shown("% by mass"),
    Unit.PERCENT_RH: Shown("% RH", 0),
    Unit.DEG_C: Shown("°C"),
    Unit.M2: Shown("m²", 2),
    Unit.MM: Shown("mm"),
    Unit.BQ_PER_M3: Shown("Bq/m³", 0),
    Unit.PER_DAY: Shown("a day"),
    Unit.L_PER_DAY: Shown("L a day"),
    Unit.MM_PER_DAY: Shown("mm a day"),
}
_US: dict[str, Shown] = _SI | {
    METRES: Shown("ft", 1, 1 / FOOT_M),
    KELVIN: Shown("°F", 1, 1.8),
    Unit.DEG_C: Shown("°F", 1, 1.8, 32.0),
    Unit.M2: Shown("ft²", 1, 1 / SQUARE_FOOT_M2),
    Unit.MM: Shown("in", 2, 1 / INCH_MM),
    Unit.BQ_PER_M3: Shown("pCi/L", 1, 1 / PICOCURIE_PER_LITRE_BQ),
    Unit.L_PER_DAY: Shown("gal a day", 1, 1 / US_GALLON_L),
    Unit.MM_PER_DAY: Shown("in a day", 2, 1 / INCH_MM),
}


def shown(unit: str, system: str) -> Shown:
    """How ``unit`` is shown in ``system`` (``si`` or ``us``); an unknown unit is shown as it is."""
    table = _US if system == Units.US else _SI
    return table.get(unit, Shown(unit))


def number(value: float, decimals: int) -> str:
    """A number with a true minus and no negative zero; thousands are grouped by a narrow space."""
    text = f"{abs(value):,.{decimals}f}".replace(",", "\u202f")
    negative = value < 0 and any(digit in text for digit in "123456789")
    return MINUS + text if negative else text


def amount(value: float, unit: str, system: str, *, decimals: int | None = None) -> str:
    """A level with its unit, such as "1.20 m²"; a relative meter reading is a bare number."""
    form = shown(unit, system)
    text = number(form.value(value), form.decimals if decimals is None else decimals)
    return f"{text}{NO_BREAK}{form.label}" if form.label else text


def label(unit: str, system: str) -> str:
    """The unit's name on an axis or a table's head."""
    return shown(unit, system).label or str(Unit.RELATIVE.label)


def rate(unit: str, system: str, value: float, low: float | None, high: float | None) -> tuple[str, str]:
    """A rate a year and its interval as "low to high", to places that suit the interval's width."""
    form = shown(unit, system)
    centre = form.change(value)
    if low is None or high is None:
        return number(centre, _places(abs(centre))), ""
    ends = form.change(low), form.change(high)
    places = _places(ends[1] - ends[0])
    return number(centre, places), f"{number(ends[0], places)} to {number(ends[1], places)}"


#: An interval is written to about a fifth of its width; more places would pretend.
_FIFTH = 5.0
_MOST_PLACES = 4


def _places(width: float) -> int:
    if width <= 0 or not math.isfinite(width):
        return 1
    return min(_MOST_PLACES, max(0, -math.floor(math.log10(width / _FIFTH))))
