"""What a stored assessment says, in sentences. Input: the contract's JSON and the facts beside it."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

from inspections.vocabulary import FlagState, Unit, Verdict
from inspections.web.present import dates, units, words

Result = dict[str, Any]

#: For each verdict the quantities whose course is told first, the most telling one in front.
TELLING: Final[dict[str, tuple[str, ...]]] = {
    Verdict.TRAPPED_WATER: ("hollow_area", "deep_moisture", "in_wall_humidity", "spall_area"),
    Verdict.WATER_ENTRY: ("surface_moisture", "deep_moisture", "salt_area", "spall_area"),
    Verdict.CONDENSATION: ("surface_moisture", "air_humidity", "surface_temperature"),
    Verdict.SURFACE_WEAR: ("spall_area", "hollow_area", "crack_width"),
    Verdict.DRYING_OUT: ("deep_moisture", "surface_moisture", "in_wall_humidity"),
    Verdict.STABLE: ("deep_moisture", "surface_moisture", "hollow_area"),
    Verdict.INSUFFICIENT_DATA: (),
}


def since_sentence(result: Result) -> str:
    """When it is estimated to have begun, where that is known."""
    month = dates.month(result.get("since"))
    return f"Estimated to have begun about {month}." if month else ""


# Rates -----------------------------------------------------------------------------------------------------


def rate_clause(trend: dict[str, Any], system: str, *, with_unit: bool = False) -> str:
    """Such as "growing 0.31 a year (0.20 to 0.42, 22 readings)", or that the readings give no rate."""
    name = units.label(trend["unit"], system) if with_unit else ""
    yearly = f"{units.NO_BREAK}{name} a year" if name else " a year"
    count = words.counted(trend["readings"], "reading")
    rate, low, high = trend["rate_per_year"], trend["low"], trend["high"]
    if rate is None:
        return f"no rate yet ({count})"
    centre, interval = units.rate(trend["unit"], system, abs(rate), *_turned(rate, low, high))
    if low is None or high is None:
        told = f"{_moving(trend)} {centre}{yearly}" if centre != "0" else "no change seen"
        return f"{told} (no 95 % interval yet, {count})"
    if low == high == 0:
        return f"no change seen ({count})"
    if _spans_zero(trend) or centre == "0":
        _, interval = units.rate(trend["unit"], system, rate, low, high)
        return f"no clear change ({interval}{yearly}, {count})"
    return f"{_moving(trend)} {centre}{yearly} ({interval}, {count})"


def _turned(rate: float, low: float | None, high: float | None) -> tuple[float | None, float | None]:
    """The interval of the rate's size: a fall is told as a positive number."""
    if rate >= 0 or low is None or high is None:
        return low, high
    return -high, -low


#: Units of what is measured with a tape: it grows and shrinks, the rest rises and falls.
_MEASURED_BY_TAPE: Final = frozenset({Unit.M2, Unit.MM})


def _moving(trend: dict[str, Any]) -> str:
    if trend["unit"] in _MEASURED_BY_TAPE:
        return "growing" if trend["rate_per_year"] > 0 else "shrinking"
    return "rising" if trend["rate_per_year"] > 0 else "falling"


def telling_trend(result: Result) -> tuple[str, dict[str, Any]] | None:
    """The quantity whose course says most of the verdict, with its trend; None where nothing was measured."""
    trends = result.get("trends") or {}
    order = [name for name in TELLING[Verdict(result["verdict"])] if name in trends]
    known = [name for name in order if trends[name]["rate_per_year"] is not None]
    moving = [name for name in known if not _spans_zero(trends[name])]
    name = next(iter(moving or known or order), None)
    return (name, trends[name]) if name else None


def _spans_zero(trend: dict[str, Any]) -> bool:
    """Whether the rate may as well be none. An interval that ends at nought, as areas' do, is not that."""
    rate, low, high = trend["rate_per_year"], trend["low"], trend["high"]
    return low is None or high is None or rate == 0 or low < 0 < high


def course_sentence(result: Result, latest: dict[str, float], system: str) -> str:
    """Such as "Hollow area 1.2 m², growing 0.31 a year (0.20 to 0.42, 22 readings)."

    ``latest``: the last level of each quantity, in its canonical unit. Where nothing clearly moves, what
    speaks most for a verdict of trouble is told instead.
    """
    found = telling_trend(result)
    if found is None:
        return ""
    name, trend = found
    seen = _leading_evidence(result, system) if _spans_zero(trend) else ""
    if seen:
        return seen
    subject = words.capital(words.quantity_name(name))
    if name in latest:
        return f"{subject} {units.amount(latest[name], trend['unit'], system)}, {rate_clause(trend, system)}."
    clause = rate_clause(trend, system, with_unit=True)
    return f"{subject}{':' if clause.startswith('no ') else ''} {clause}."


def _leading_evidence(result: Result, system: str) -> str:
    """The first sentence of the evidence that speaks most for the verdict, if that is one of trouble."""
    if result["verdict"] in (Verdict.STABLE, Verdict.INSUFFICIENT_DATA):
        return ""
    speaking = [item for item in result["evidence"] if item["weight"] > 0]
    if not speaking:
        return ""
    statement = max(speaking, key=lambda item: item["weight"])["statement"]
    first, rest, _ = statement.partition(". ")
    return words.typeset(units.in_units(first + rest.rstrip(), system))


# Dates -----------------------------------------------------------------------------------------------------


def due_sentence(due: dt.date | None, today: dt.date) -> str:
    """Such as "Due 3 March.", or how long it has been overdue."""
    if due is None:
        return ""
    if due < today:
        return f"Overdue since {dates.day(due, today)}."
    return "Due today." if due == today else f"Due {dates.day(due, today)}."


def flag_sentence(state: str, opened_on: dt.date, today: dt.date) -> str:
    """What an open flag waits for."""
    waits = {
        FlagState.OPENED: "not yet answered",
        FlagState.ACKNOWLEDGED: "acknowledged, to be confirmed or dismissed",
        FlagState.CONFIRMED: "confirmed, and waits for an action",
    }
    return f"Flag opened {dates.day(opened_on, today)}, {waits[FlagState(state)]}."


#: What a forecast says of a date that it does not reach.
BEYOND: Final = "more than 30 years off"


def forecast_sentence(result: Result, reached: dt.date | None = None) -> str:
    """When the coat is expected to have failed, with the early and the late end.

    ``reached``: the visit that first found the threshold reached, if any did. Only then the coat has failed;
    a date of the fit that lies in the past is an expectation like any other.
    """
    forecast = result.get("forecast")
    if not forecast:
        return ""
    share = f"{units.number(forecast['threshold'] * 100, 0)} % of the coat hollow or fallen"
    if reached:
        return f"{share}: first found so on {dates.day(reached)}, and the coat counts as failed since."
    expected, early, late = (dates.month(forecast[key]) for key in ("expected", "early", "late"))
    if forecast["expected"] and forecast["expected"] <= result["as_of"]:
        return f"{share}: expected to have been reached by now, but no visit has found it so; look again."
    if not early:
        return f"{share}: not within 30 years."
    if forecast["early"] <= result["as_of"]:
        early = "already"
    return (
        f"{share}: expected {expected or BEYOND}; early end (one in ten) {early}, late end {late or BEYOND}."
    )
