"""Numbers and their units as a reader wants them: the one place where SI is turned into feet and °F."""

from __future__ import annotations

import math
import re
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
    """A rate a year and its interval as "low to high", to places that suit the interval; nought is "0"."""
    form = shown(unit, system)
    centre = form.change(value)
    if low is None or high is None:
        return _or_nought(centre, _places((centre,))), ""
    ends = form.change(low), form.change(high)
    places = _places((centre, *ends))
    first, last = (_or_nought(end, places) for end in ends)
    return _or_nought(centre, places), f"{first} to {last}"


def alike(*values: float) -> list[str]:
    """Numbers written to the places that suit them all."""
    places = _places(values)
    return [_or_nought(value, places) for value in values]


#: An interval is written to about a fifth of its width, and the largest of its numbers to two significant
#: digits; more places would pretend.
_FIFTH, _DIGITS = 5.0, 2
_MOST_PLACES = 4


def _places(numbers: tuple[float, ...]) -> int:
    width, largest = max(numbers) - min(numbers), max(map(abs, numbers))
    wanted = [_places_for(largest, _DIGITS)] + ([_places_for(width / _FIFTH, 1)] if width > 0 else [])
    return min(_MOST_PLACES, max(0, *wanted))


def _places_for(value: float, digits: int) -> int:
    """Decimals that write ``value`` to so many significant digits; below nought for large numbers."""
    if value == 0 or not math.isfinite(value):
        return 0
    return digits - 1 - math.floor(math.log10(abs(value)))


def _or_nought(value: float, places: int) -> str:
    text = number(value, places)
    return text if any(digit in text for digit in "123456789") else "0"


# Sentences that were written in SI -------------------------------------------------------------------------

_NUMBER = r"[-+−]?\d+(?:\.\d+)?"
_MEASURED = re.compile(
    rf"(?<![\w.])(?P<first>{_NUMBER})(?: to (?P<second>{_NUMBER}))?[ \u00a0](?P<unit>m²|mm|m|K|°C)"
    r"(?![\w²³/])(?P<yearly> a year)?"
)
_HYPHEN = re.compile(r"(?<![\w.-])-(?=\d)")
_WRITTEN: dict[str, str] = {"m²": Unit.M2, "mm": Unit.MM, "m": METRES, "K": KELVIN, "°C": Unit.DEG_C}


def in_units(text: str, system: str) -> str:
    """A sentence that names m², mm, m, K or °C, in the reader's units; its other numbers are left alone.

    K is taken as a difference of temperature, °C as a level unless it is a rate a year. A number keeps the
    significant digits it had (at least two), a temperature its decimals.
    """
    return _HYPHEN.sub(MINUS, _MEASURED.sub(lambda found: _converted(found, system), text))


def _converted(found: re.Match[str], system: str) -> str:
    unit, yearly = _WRITTEN[found["unit"]], found["yearly"] or ""
    form = shown(unit, system)
    written = [part for part in (found["first"], found["second"]) if part]
    change = bool(yearly) or form.offset == 0
    values = [(form.change if change else form.value)(float(part.replace(MINUS, "-"))) for part in written]
    if form == _SI[unit] or not change:
        places = max(_decimals(part) for part in written)
    else:
        places = max(0, _places_for(max(map(abs, values)), max(_digits(part) for part in written)))
    told = [number(value, places) for value in values]
    signed = [f"+{one}" if part.startswith("+") else one for part, one in zip(written, told, strict=True)]
    return f"{' to '.join(signed)}{NO_BREAK}{form.label}{yearly}"


def _decimals(written: str) -> int:
    return len(written.partition(".")[2])


def _digits(written: str) -> int:
    return max(_DIGITS, len(written.lstrip("-+−0.").replace(".", "")))
