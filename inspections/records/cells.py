"""One cell: from its text to its value, or a :class:`Problem` that says how to mend it."""

from __future__ import annotations

import datetime as dt
import math
import re
import uuid
from collections.abc import Callable, Iterable
from decimal import ROUND_HALF_EVEN, Decimal
from difflib import get_close_matches
from functools import lru_cache
from zoneinfo import ZoneInfo

from inspections.records.faults import Problem, shown

#: From a cell's trimmed text, which is not empty, to its value.
Reader = Callable[[str], object]

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_DECIMAL_COMMA = re.compile(r"[+-]?\d*,\d+", re.ASCII)
_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_MOMENT = re.compile(
    r"\d{4}-\d\d-\d\d([T ]\d\d:\d\d(:\d\d(\.\d{1,6})?)?(Z|[+-]\d\d(:?\d\d(:\d\d)?)?)?)?", re.ASCII
)
#: Years outside this range are slips of the pen; they would also overflow when a zone is applied.
YEARS = range(1000, 3000)
#: The model's room for a reading as entered.
ENTERED_LENGTH = 40
CENT = Decimal("0.01")
#: `cost` has 14 digits, two of them behind the point.
DEAREST = Decimal(10) ** 12


# Numbers -----------------------------------------------------------------------------------------------


@lru_cache(maxsize=50_000)
def number(text: str) -> float:
    """A finite number with a decimal point."""
    if not _NUMBER.fullmatch(text):
        raise Problem(_why_no_number(text))
    value = float(text)
    if not math.isfinite(value):
        raise Problem(f"{shown(text)} is too large a number")
    return value + 0.0  # no negative zero


def _why_no_number(text: str) -> str:
    if _DECIMAL_COMMA.fullmatch(text):
        return f"decimal comma: write {text.replace(',', '.')}, not {text}"
    if text.lower().lstrip("+-") in {"nan", "inf", "infinity", "na", "n/a", "null", "none", "-"}:
        return f"{shown(text)} is not a number; leave the cell empty where it is not known"
    return f"{shown(text)} is not a number; write digits with a decimal point, such as 3.5"


def entered(text: str) -> tuple[str, float]:
    """A reading's number beside the text as it was entered."""
    if len(text) > ENTERED_LENGTH:
        raise Problem(f"{shown(text)} has {len(text)} characters; there is room for {ENTERED_LENGTH}")
    return text, number(text)


def at_least_zero(text: str) -> float:
    value = number(text)
    if value < 0:
        raise Problem(f"{shown(text)} is below 0")
    return value


def above_zero(text: str) -> float:
    value = number(text)
    if value <= 0:
        raise Problem(f"{shown(text)} is not above 0; leave the cell empty where it is not known")
    return value


def whole(low: int, high: int) -> Reader:
    """A whole number from ``low`` to ``high``; ``3.0`` is one too."""

    def read(text: str) -> int:
        value = number(text)
        if not value.is_integer() or not low <= value <= high:
            raise Problem(f"{shown(text)} is not a whole number from {low} to {high}")
        return int(value)

    return read


def money(text: str) -> Decimal:
    """An amount that is not negative, to the cent."""
    at_least_zero(text)
    amount = Decimal(text)
    if amount >= DEAREST - 1:
        raise Problem(f"{shown(text)} is too large an amount")
    return amount.quantize(CENT, ROUND_HALF_EVEN) + 0


# Words and text ------------------------------------------------------------------------------------------


def text(longest: int | None = None) -> Reader:
    """Free text, up to ``longest`` characters."""

    def read(cell: str) -> str:
        if "\0" in cell:
            raise Problem("holds a NUL character; take it out")
        if longest is not None and len(cell) > longest:
            raise Problem(f"has {len(cell)} characters; there is room for {longest}")
        return cell

    return read


def word(choices: Iterable[str]) -> Reader:
    """One of the allowed words."""
    words = {choice: choice for choice in choices if choice}

    def read(cell: str) -> str:
        try:
            return words[cell]
        except KeyError:
            raise Problem(f"{shown(cell)} is not an allowed word{suggestion(cell, words)}") from None

    return read


def suggestion(cell: str, words: Iterable[str]) -> str:
    """The word that was likely meant, or all that are allowed."""
    known = list(words)
    by_look = {known_word.lower().replace(" ", "_"): known_word for known_word in known}
    looks = cell.lower().replace(" ", "_").replace("-", "_")
    close = get_close_matches(looks[:60], by_look, n=1, cutoff=0.75)
    if close:
        return f"; did you mean {by_look[close[0]]}?"
    return f"; write one of: {', '.join(known)}"


def yes(cell: str) -> bool:
    """``yes`` or ``no``."""
    if cell not in {"yes", "no"}:
        raise Problem(f"{shown(cell)} is neither yes nor no; write yes, or leave the cell empty")
    return cell == "yes"


def identifier(cell: str) -> uuid.UUID:
    """A record's id."""
    try:
        return uuid.UUID(cell)
    except ValueError:
        raise Problem(f"{shown(cell)} is not an id; write the UUID of the record") from None


# Time ----------------------------------------------------------------------------------------------------


@lru_cache(maxsize=20_000)
def day(cell: str) -> dt.date:
    """A date as ``2014-05-10``."""
    if not _DAY.fullmatch(cell):
        raise Problem(f"{shown(cell)} is not a date; write year-month-day, such as 2014-05-10")
    try:
        value = dt.date.fromisoformat(cell)
    except ValueError:
        raise Problem(f"{shown(cell)} is no day of the calendar") from None
    _check_year(value.year, cell)
    return value


@lru_cache(maxsize=20_000)
def moment(cell: str, zone: ZoneInfo) -> tuple[dt.datetime, dt.date]:
    """A point in time, in UTC, and its day in ``zone``.

    Without an offset it is ``zone``'s local time: one that its clocks skip is a problem, one that they show
    twice is the first. A date alone is its midnight.
    """
    if not _MOMENT.fullmatch(cell):
        raise Problem(
            f"{shown(cell)} is not a time; write it as 2014-05-10T14:30 or 2014-05-10T14:30:00-04:00"
        )
    try:
        value = dt.datetime.fromisoformat(cell)
    except ValueError:
        raise Problem(f"{shown(cell)} is no day and time of the calendar") from None
    _check_year(value.year, cell)
    if value.tzinfo is not None:
        return value.astimezone(dt.UTC), value.astimezone(zone).date()
    at = value.replace(tzinfo=zone).astimezone(dt.UTC)
    if at.astimezone(zone).replace(tzinfo=None) != value:
        raise Problem(f"{shown(cell)} does not exist in {zone.key}: the clocks skip it; write the offset")
    return at, value.date()


def _check_year(year: int, cell: str) -> None:
    if year not in YEARS:
        raise Problem(f"{shown(cell)} is not in a year from {YEARS.start} to {YEARS.stop - 1}")


def timezone(cell: str) -> str:
    """The name of a time zone in the IANA database."""
    zone_of(cell)
    return cell


@lru_cache(maxsize=1_000)
def zone_of(name: str) -> ZoneInfo:
    """The zone of that name."""
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise Problem(
            f"{shown(name)} is not a time zone; write its IANA name, such as Europe/Brussels"
        ) from None
