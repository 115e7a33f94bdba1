"""A trial's answer in plain words: what was learned, what was not, and what it would take."""

from __future__ import annotations

from collections import Counter

import numpy as np

from inspections.analysis.allotment import DRAWN, Difference
from inspections.analysis.fairness import CHOSEN
from inspections.analysis.results import CANNOT_TELL, DIFFERENCE
from inspections.analysis.sizing import FEWEST_PAIRS
from inspections.analysis.trial_results import Comparison
from inspections.analysis.trial_walls import LOSS
from inspections.analysis.wording import capital, listed, spelt

_UNITS = {"relative": "on the meter's scale", "percent_rh": "% RH", "percent_wme": "% WME",
          "percent_mass": "% by mass", "mm": "mm", "m2": "m²", "degC": "°C"}  # fmt: skip
_FACTS = {
    "below_grade_m": "depth below ground",
    "adjoins": "what stands behind",
    "substrate": "make of the wall",
}


def statement_of(comparison: Comparison) -> str:
    """What was learned, and what was not, in a few sentences."""
    return " ".join(part for part in (learned(comparison), seen(comparison), not_learned(comparison)) if part)


def learned(comparison: Comparison) -> str:
    """What the trial says, in one sentence that needs no statistics."""
    arms, found = comparison.arms, comparison.found
    if len(arms) < 2:
        only = f"only {quoted(arms[0].arm)}" if arms else "no section"
        return f"Nothing can be compared: there is {only} in this trial."
    if comparison.conclusion == CANNOT_TELL:
        return f"This trial can't tell {_all_arms(comparison)} apart."
    if len(arms) > 2:
        apart = comparison.conclusion == DIFFERENCE
        verdict = "The arms differ" if apart else "No difference between the arms was shown"
        return f"{verdict} ({_p(comparison.p_value)})."
    assert found is not None
    first, second = quoted(arms[0].arm), quoted(arms[1].arm)
    if comparison.conclusion == DIFFERENCE:
        less, more = (first, second) if found.estimate > 0 else (second, first)
        return f"{capital(_more(comparison, more, less))}."
    return f"No difference between {first} and {second} was shown."


def why_the_coat(comparison: Comparison) -> str:
    """Why a difference is the coats' and not the walls'; "" where that can't be said."""
    if comparison.conclusion == DIFFERENCE and comparison.by_lot:
        return "The walls were alike before and the coats were drawn by lot, so it is the coat."
    return ""


def not_learned(comparison: Comparison) -> str:
    """What stays open, why, and what it would take."""
    parts = [
        why_the_coat(comparison),
        *_why_not(comparison),
        *_still_possible(comparison),
        *_left_out(comparison),
    ]
    if comparison.conclusion != DIFFERENCE:
        parts.append(what_it_takes(comparison))
    return " ".join(part for part in parts if part)


def what_it_takes(comparison: Comparison) -> str:
    """Pairs and years for a difference worth having."""
    needed = comparison.needed
    size = amount(comparison, needed.difference)
    basis = "assuming like walls differ as they do in simulated books" if needed.assumed else (
        "counting with the upper limit of the spread seen so far"
    )  # fmt: skip
    if needed.pairs is None:
        return f"No number of pairs would show a difference of {size} a year with such a spread."
    return (
        f"To see a difference of {size} a year takes about {needed.pairs} pairs of walls, dealt out by lot, "
        f"over {needed.years} years ({basis})."
    )


def plain_open(comparison: Comparison) -> list[str]:
    """What stays open, for who never heard of statistics: a sentence each."""
    parts = [*_why_not(comparison), *_still_possible(comparison), *_left_out(comparison)]
    needed = comparison.needed
    if comparison.conclusion != DIFFERENCE and needed.pairs is not None:
        parts.append(
            f"It would take about {needed.pairs} pairs of walls, dealt out by lot and followed for "
            f"{needed.years} years, to see a difference of {amount(comparison, needed.difference)} a year."
        )
    return parts


def amount(comparison: Comparison, value: float) -> str:
    """An outcome's amount with its unit; a share as a percentage of the wall's area."""
    if comparison.question.outcome == LOSS:
        return f"{_number(100 * value)} % of the wall"
    return f"{_number(value)} {_UNITS.get(comparison.unit, comparison.unit)}".rstrip()


def method_of(comparison: Comparison) -> str:
    """How the numbers were made, for who wants to check them."""
    outcome = (
        "monotone loss (isotonic regression) as a share of the section's area a year since the coat"
        if comparison.question.outcome == LOSS
        else "seasonal Kendall slope since the coat"
    )
    parts = [outcome]
    found = comparison.found
    if found is not None:
        unit = "houses" if comparison.plan.by_house else "sections"
        parts.append(f"difference of {unit} within {found.blocks} block{'s' if found.blocks != 1 else ''}")
        if comparison.adjusted:
            mended = "" if comparison.by_lot else ", mended for the readings' error"
            parts.append(f"adjusted for dampness before{mended}")
        parts += _inference(comparison, found)
    elif len(comparison.arms) > 2:
        parts.append("permutation test that all arms are alike")
    parts.append("before: standardised differences with 99 % intervals")
    return "; ".join(parts)


def _inference(comparison: Comparison, found: Difference) -> list[str]:
    floor = f"smallest p this trial could give {_plain(found.smallest_p)}"
    if np.isnan(found.low):
        interval = "no 95 % interval: too few walls"
    elif found.by_lot:
        interval = "95 % interval by inversion of the test"
    elif comparison.by_lot:
        interval = "too few allotments for an interval by permutation: Student's 95 % interval"
    else:
        interval = "Student's 95 % interval"
    if not comparison.by_lot:
        return ["Student's t", floor, interval, _bias_method(comparison)]
    test = (
        "exact permutation of the allotments that could have been"
        if found.exact
        else f"permutation of {DRAWN:,} of the allotments that could have been, drawn"
    )
    surer = ["neither p nor interval surer than Student's"] if comparison.adjusted else []
    return [test, *surer, floor, interval]


def _bias_method(comparison: Comparison) -> str:
    if comparison.bias is None:
        return "not drawn by lot: chance alone explains the difference, before any hidden bias is thought of"
    return (
        "not drawn by lot: a hidden reason that made one wall of a pair "
        f"{_plain(comparison.bias)} times as likely to get its arm would explain the difference "
        "(Rosenbaum bounds)"
    )


# Parts -----------------------------------------------------------------------------------------------------


def seen(comparison: Comparison) -> str:
    """What was seen, whatever it is worth: the arms' means, and the difference with its interval."""
    if len(comparison.arms) < 2:
        return ""
    with_any = [arm for arm in comparison.arms if arm.sections]
    if not with_any:
        return "No wall has been followed long enough yet."
    did = "lost" if comparison.question.outcome == LOSS else "changed by"
    means = [
        f"{quoted(arm.arm)} {did} {amount(comparison, arm.mean)} a year ({_walls(arm.sections)})"
        for arm in with_any
    ]
    text = f"{capital(listed(means))}"
    found = comparison.found
    if found is None:
        return f"{text}."
    if np.isfinite(found.low):
        low, high = sorted((found.low, found.high))
        verb = "lost" if comparison.question.outcome == LOSS else "gained"
        second = quoted(comparison.arms[1].arm)
        compared = (
            f"side by side {second} {verb} {_less_or_more(comparison, found.estimate, unit=True)} a year "
            f"(95 % interval {_less_or_more(comparison, low)} to {_less_or_more(comparison, high)}; "
            f"{_p(found.p_value)})"
        )
        return f"{text}; {compared}."
    return f"{text}."


def _less_or_more(comparison: Comparison, value: float, *, unit: bool = False) -> str:
    size = abs(value)
    text = amount(comparison, size) if unit else _number_of(comparison, size)
    return f"{text} {'less' if value < 0 else 'more'}"


def _more(comparison: Comparison, more: str, less: str) -> str:
    if comparison.question.outcome == LOSS:
        return f"{more} fails faster than {less} on these walls"
    name = comparison.question.outcome.replace("_", " ")
    return f"{name} rises more (or falls less) under {more} than under {less}"


def _why_not(comparison: Comparison) -> list[str]:
    """Why the trial can't tell, or how far its answer goes."""
    parts = []
    chosen = Counter(
        wall.place.allocated_by for wall in comparison.walls if wall.place.allocated_by in CHOSEN
    )
    if chosen:
        how = "by judgement" if chosen["judgement"] else "by convenience"
        parts.append(f"Walls were given their coats {how}, not by lot.")
    plain = [one for one in comparison.before if one.is_plain]
    if plain:
        things = listed([_FACTS.get(one.quantity, one.quantity.replace("_", " ")) for one in plain])
        parts.append(f"Before any coat the walls already differed in {things}.")
    if comparison.leans:
        parts.append(
            f"By what was there before, {quoted(comparison.leans)} was given the better walls: the result "
            "leans its way, and a good showing of it is no win."
        )
    if not comparison.fair or len(comparison.arms) < 2:
        return parts
    blocks = comparison.found.blocks if comparison.found else 0
    if comparison.smallest_p >= 0.05:
        parts.append(_too_small(comparison, blocks))
    elif comparison.conclusion == DIFFERENCE and not comparison.by_lot and comparison.bias is not None:
        parts.append(
            "The coats were not drawn by lot: a hidden reason that made one wall of a pair "
            f"{_plain(comparison.bias)} times as likely to get its coat would explain it."
        )
    return parts


def _too_small(comparison: Comparison, blocks: int) -> str:
    if comparison.found is None:
        return "No two walls with different coats can be compared side by side yet."
    if blocks == 1 and sum(arm.sections for arm in comparison.arms) <= 2:
        return "One pair can't separate the coat from the wall it was put on."
    chance = max(round(1 / comparison.smallest_p), 1)
    return (
        f"It is too small: the clearest outcome it could have would come about by chance once in {chance} "
        f"trials. It takes {spelt(FEWEST_PAIRS)} pairs at least."
    )


def _still_possible(comparison: Comparison) -> list[str]:
    found = comparison.found
    if found is None or comparison.conclusion in (DIFFERENCE, CANNOT_TELL) or not np.isfinite(found.low):
        return []
    largest = max(abs(found.low), abs(found.high))
    return [
        "It is no proof that they are alike: a difference of up to "
        f"{amount(comparison, largest)} a year is still possible."
    ]


def _left_out(comparison: Comparison) -> list[str]:
    reasons = Counter(wall.missing for wall in comparison.walls if wall.missing)
    return [f"{capital(_walls(count))} {_agree(reason, count)}." for reason, count in reasons.items()]


def _agree(reason: str, count: int) -> str:
    if count == 1:
        return reason
    return reason.replace("has ", "have ").replace("was ", "were ").replace("its coat", "their coats")


def _all_arms(comparison: Comparison) -> str:
    return listed([quoted(arm.arm) for arm in comparison.arms])


def quoted(arm: str) -> str:
    """An arm's name, so that one with an "and" in it is seen to be one."""
    return f"“{arm}”"


def _walls(count: int) -> str:
    word = spelt(count)
    return f"{word} wall{'' if count == 1 else 's'}"


def _p(value: float) -> str:
    return "p under 0.001" if value < 0.001 else f"p {value:.2g}"


def _number_of(comparison: Comparison, value: float) -> str:
    return _number(100 * value if comparison.question.outcome == LOSS else value)


def _number(value: float) -> str:
    """Two significant digits or so, with a true minus, never a negative nought."""
    size = abs(value)
    text = f"{size:.0f}" if size >= 10 else f"{size:.1f}" if size >= 0.95 else f"{size:.2f}"
    text = text.rstrip("0").rstrip(".") if "." in text and float(text) == 0 else text
    return f"−{text}" if value < 0 and float(text) != 0 else text


def _plain(value: float) -> str:
    return f"{value:.2g}"
