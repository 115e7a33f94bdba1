"""What a stored assessment says, in sentences. Input: the contract's JSON and the facts beside it."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.utils.safestring import SafeString

from inspections.vocabulary import FlagState, Verdict
from inspections.web.present import bars, dates, units, words
from portfolio.models import Treatment

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


def verdict_clause(verdict: str, coat: Treatment | None) -> str:
    """The verdict as the end of a sentence about a wall, naming the coat it speaks of."""
    behind = f"behind the {words.coat_name(coat)}" if coat else "in the wall"
    wearing = f"the {words.coat_name(coat)} is" if coat else "face and pointing are"
    return {
        Verdict.TRAPPED_WATER: f"water held {behind}",
        Verdict.WATER_ENTRY: "more water coming in, and it shows at the face",
        Verdict.CONDENSATION: "the face is wetted by the room’s air",
        Verdict.SURFACE_WEAR: f"{wearing} wearing, on a wall that is not wet",
        Verdict.DRYING_OUT: "giving off its water and drying",
        Verdict.STABLE: "stable",
        Verdict.INSUFFICIENT_DATA: "too few readings to judge",
    }[Verdict(verdict)]


def verdict_sentence(result: Result, coat: Treatment | None) -> str:
    """The verdict with its probability in words and as a number."""
    verdict = result["verdict"]
    if verdict == Verdict.INSUFFICIENT_DATA:
        return _day_one_sentence(result["probability"], coat)
    share = result["probability"][verdict]
    how_sure = f"{words.capital(words.likelihood(share))} ({words.in_hundred(share)})"
    return f"{how_sure}: {verdict_clause(verdict, coat)}."


def _day_one_sentence(probability: dict[str, float], coat: Treatment | None) -> str:
    likeliest = max(probability, key=lambda name: probability[name])
    clause = verdict_clause(likeliest, coat)
    held = probability[Verdict.TRAPPED_WATER]
    text = (
        "Too few readings to judge. From the coat, its age, the wall’s exposure and the little that was "
        "read, "
        f"the likeliest of the six is this: {clause} ({words.in_hundred(probability[likeliest])})."
    )
    if likeliest != Verdict.TRAPPED_WATER:
        text += f" Held water: {words.in_hundred(held)}."
    return text


def since_sentence(result: Result) -> str:
    """When it is estimated to have begun, where that is known."""
    month = dates.month(result.get("since"))
    return f"Estimated to have begun about {month}." if month else ""


# Rates -----------------------------------------------------------------------------------------------------


def rate_clause(trend: dict[str, Any], system: str, *, with_unit: bool = False) -> str:
    """Such as "growing 0.31 a year (0.20 to 0.42, 22 readings)", or that the readings give no rate."""
    name = units.shown(trend["unit"], system).label if with_unit else ""
    yearly = f"{units.NO_BREAK}{name} a year" if name else " a year"
    count = words.counted(trend["readings"], "reading")
    rate, low, high = trend["rate_per_year"], trend["low"], trend["high"]
    if rate is None:
        return f"no rate yet ({count})"
    centre, interval = units.rate(trend["unit"], system, rate, low, high)
    if low is None or high is None:
        return f"{_moving(rate)} {_unsigned(centre)}{yearly} (no 95 % interval yet, {count})"
    if _spans_zero(trend):
        return f"no clear change ({interval}{yearly}, {count})"
    if high < 0:
        centre, interval = units.rate(trend["unit"], system, -rate, -high, -low)
    return f"{_moving(rate)} {centre}{yearly} ({interval}, {count})"


def _moving(rate: float) -> str:
    return "growing" if rate > 0 else "falling"


def _unsigned(text: str) -> str:
    return text.removeprefix(units.MINUS)


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

    ``latest``: the last level of each quantity, in its canonical unit.
    """
    found = telling_trend(result)
    if found is None:
        return ""
    name, trend = found
    subject = words.capital(words.quantity_name(name))
    if name in latest:
        return f"{subject} {units.amount(latest[name], trend['unit'], system)}, {rate_clause(trend, system)}."
    return f"{subject} {rate_clause(trend, system, with_unit=True)}."


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


def forecast_sentence(result: Result) -> str:
    """When the coat is expected to have failed, with the early and the late end."""
    forecast = result.get("forecast")
    if not forecast:
        return ""
    share = f"{units.number(forecast['threshold'] * 100, 0)} % of the coat hollow or fallen"
    expected, early, late = (dates.month(forecast[key]) for key in ("expected", "early", "late"))
    if forecast["expected"] and forecast["expected"] <= result["as_of"]:
        return f"{share}: since about {expected}, so the coat counts as failed."
    if not early:
        return f"{share}: not within 30 years."
    return (
        f"{share}: expected {expected or BEYOND}; early end (one in ten) {early}, late end {late or BEYOND}."
    )


# The argument ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Argument:
    """One line of the argument: what was seen, how far it moves the odds, and a bar about a centre line.

    ``bar`` is -1 to 1: the weight over the largest weight of the list.
    """

    statement: str
    weight: float
    bar: float
    is_prior: bool = False

    @property
    def drawn(self) -> SafeString:
        return bars.diverging(self.bar, prior=self.is_prior)

    @property
    def odds(self) -> str:
        """How many times likelier it makes the verdict, or the runner-up."""
        return odds_text(self.weight)

    @property
    def signed(self) -> str:
        sign = "+" if self.weight > 0 else ""
        return sign + units.number(self.weight, 1)


def odds_text(weight: float) -> str:
    """Log-odds as "8 to 1 for" or "3 to 1 against"."""
    odds = math.exp(min(abs(weight), 20.0))
    side = "for" if weight > 0 else "against"
    if odds < 1.15:
        return "hardly either way"
    places = 1 if odds < 9.95 else 0
    return f"{units.number(odds, places)} to 1 {side}"


def arguments(result: Result) -> list[Argument]:
    """The evidence, strongest first."""
    evidence: Sequence[dict[str, Any]] = result["evidence"]
    ordered = sorted(evidence, key=lambda item: -abs(item["weight"]))
    prior = result["log_odds"]["prior"]
    largest = max([abs(item["weight"]) for item in ordered] + [abs(prior), 1e-9])
    return [Argument(item["statement"], item["weight"], item["weight"] / largest) for item in ordered]


def prior_argument(result: Result) -> Argument:
    """What was to be expected before any reading."""
    prior = result["log_odds"]["prior"]
    largest = max([abs(item["weight"]) for item in result["evidence"]] + [abs(prior), 1e-9])
    return Argument(
        "Before any reading: the coat’s vapour resistance and age, the wall’s exposure, and what the house "
        "is.",
        prior,
        prior / largest,
        is_prior=True,
    )
