"""The argument for a verdict: what was seen, how far it moves the odds, and what they come to."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from django.utils.safestring import SafeString

from inspections.vocabulary import Verdict
from inspections.web.present import bars, units, verdict, words
from inspections.web.present.sentences import Result

PRIOR: Final = (
    "Before any reading: the coat’s vapour resistance and age, the wall’s exposure, and what the house is."
)


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the argument, with a bar about a centre line.

    ``bar`` is -1 to 1: the weight over the largest weight of the list. ``tenths`` is the weight as written,
    rounded so that the lines add up to the total as written.
    """

    statement: str
    weight: float
    bar: float
    tenths: int
    is_prior: bool = False

    @property
    def drawn(self) -> SafeString:
        return bars.diverging(self.bar, prior=self.is_prior)

    @property
    def odds(self) -> str:
        """How many times likelier it makes the one explanation than the other."""
        return odds_text(self.weight)

    @property
    def signed(self) -> str:
        return ("+" if self.tenths > 0 else "") + units.number(self.tenths / 10, 1)


@dataclass(frozen=True, slots=True)
class Argument:
    """The whole argument: between which two it decides, its lines (the strongest first), and their sum."""

    heading: str
    reading: str
    lines: list[Line]
    prior: Line
    total: Line


def of(result: Result, told: str, system: str) -> Argument:
    """The argument of a stored result. ``told``: the verdict as the page tells it."""
    evidence = sorted(result["evidence"], key=lambda item: -abs(item["weight"]))
    odds = result["log_odds"]
    weights = [item["weight"] for item in evidence] + [odds["prior"]]
    largest = max([abs(weight) for weight in weights] + [1e-9])
    tenths = balanced(weights, odds["total"])
    statements = [words.typeset(units.in_units(item["statement"], system)) for item in evidence] + [PRIOR]
    *lines, prior = [
        Line(text, weight, weight / largest, tenth, is_prior=text is PRIOR)
        for text, weight, tenth in zip(statements, weights, tenths, strict=True)
    ]
    total = Line("Together", odds["total"], 0.0, round(odds["total"] * 10))
    return Argument(_heading(result, told), _reading(result, total), lines, prior, total)


def _favoured(result: Result) -> str:
    """The explanation the bars to the right speak for: the verdict, or else the likeliest."""
    if result["verdict"] == Verdict.INSUFFICIENT_DATA:
        return words.verdict_name(verdict.ranked(result)[0])
    return words.verdict_name(result["verdict"])


def _heading(result: Result, told: str) -> str:
    against = words.verdict_name(result["log_odds"]["against"])
    if told == Verdict.INSUFFICIENT_DATA:
        return "What the little that is known says"
    if told == verdict.UNDECIDED:
        return f"What speaks for {_favoured(result)}, and what for {against}"
    if verdict.is_called_early(result):
        return f"Why this, though {against} is likelier"
    return f"Why this, and not {against}"


def _reading(result: Result, total: Line) -> str:
    """How the list is read."""
    right, left = _favoured(result), words.verdict_name(result["log_odds"]["against"])
    text = (
        f"Bars to the right speak for {right}, to the left for {left}. The strongest come first; with what "
        f"was to be expected beforehand they add up to {_sum_text(total.weight, right)}."
    )
    if verdict.is_called_early(result):
        text += " It is called all the same: a wall that is missed costs more than a look."
    return text


def _sum_text(weight: float, right: str) -> str:
    odds = odds_text(weight)
    return "even odds between the two, or nearly" if odds == EITHER else f"odds of {odds} {right}"


EITHER: Final = "hardly either way"


def odds_text(weight: float) -> str:
    """Log-odds as "8 to 1 for" or "3 to 1 against"."""
    odds = math.exp(min(abs(weight), 20.0))
    side = "for" if weight > 0 else "against"
    if odds < 1.15:
        return EITHER
    places = 1 if odds < 9.95 else 0
    return f"{units.number(odds, places)} to 1 {side}"


def balanced(weights: Sequence[float], total: float) -> list[int]:
    """Weights in whole tenths that add up to the total in tenths, by largest remainders."""
    floors = [math.floor(weight * 10) for weight in weights]
    missing = round(total * 10) - sum(floors)
    order = sorted(range(len(weights)), key=lambda i: floors[i] - weights[i] * 10)
    for i in order[: max(0, missing)]:
        floors[i] += 1
    return floors
