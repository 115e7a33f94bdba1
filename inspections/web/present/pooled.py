"""Trials of one question on one sheet: each with its interval, what they say together, and without each."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from inspections.analysis.comparison import worth_having
from inspections.analysis.comparison_words import quoted
from inspections.analysis.pooling_trials import Pooled
from inspections.analysis.trial_walls import LOSS
from inspections.domain.pooling import ROW, TOO_FEW, Member, Together
from inspections.models import Trial
from inspections.web.present import units, words
from inspections.web.present.trial_drawings import Drawing, short_number
from inspections.web.present.trial_figures import Drawn, Row, dots, drawn

#: The axis goes so many times further than the estimates and the end of what they say together.
REACH = 1.8
#: Under so many trials the spread between them is hardly known. Ours.
FEW_TRIALS = 5


@dataclass(frozen=True, slots=True)
class Shown:
    """What the page shows."""

    told: str
    seen: str
    open: list[str]
    unit: str
    forest: Drawn | None
    without: list[str]
    left_out: list[str]
    method: str


def present(trial: Trial, together: Together) -> Shown:
    """The trials of ``trial``'s question."""
    figure = forest(trial, together)
    pooled = together.pooled
    return Shown(
        told=_told(trial, together),
        seen=words.capital(_interval(trial, together, pooled)) if pooled else "",
        open=_open(trial, together),
        unit="% of the wall a year" if trial.outcome == LOSS else "a year",
        forest=drawn(figure) if figure else None,
        without=[
            f"Without {member.trial.code}: {_interval(trial, together, one)}"
            for member, one in zip(together.counted, together.without, strict=False)
        ],
        left_out=[f"{one.trial.code}: {one.why_not}" for one in together.members if one.why_not],
        method=_method(pooled) if pooled else "",
    )


def forest(trial: Trial, together: Together) -> Drawing | None:
    """One line a trial, then what they say together (diamond) and where one more trial would lie."""
    rows = [row for member in together.members if (row := _row(trial, member)) is not None]
    if not rows:
        return None
    first, second = map(quoted, together.arms)
    factor = _factor(trial)
    pooled = together.pooled
    if pooled is not None:
        low, high = pooled.low * factor, pooled.high * factor
        text = f"{short_number(pooled.effect * factor)} ({short_number(low)} to {short_number(high)})"
        rows.append(Row("Together", pooled.effect * factor, low, high, text, strong=True, diamond=True))
        if np.isfinite(pooled.next_low):
            ends = pooled.next_low * factor, pooled.next_high * factor
            text = f"({short_number(ends[0])} to {short_number(ends[1])})"
            rows.append(Row("One more trial", pooled.effect * factor, *ends, text))
    title = f"{second} less {first}, a year, trial by trial, with 95 % intervals"
    less, more = ("lost less", "lost more") if trial.outcome == LOSS else ("lower", "higher")
    sides = (f"{second} {less}", f"{second} {more}")
    worth = worth_having(trial.outcome) * factor
    reach = _reach(rows, worth) if pooled is not None else None
    return lambda paper: dots(
        rows, paper, title=title, sides=sides, worth=worth, reach=reach, axis=short_number
    )


def _reach(rows: Sequence[Row], worth: float) -> float:
    """The axis's end: the estimates and what they say together; the bars of small trials are cut by it."""
    together = [end for row in rows if row.diamond for end in (row.low, row.high) if end is not None]
    return REACH * max(abs(value) for value in (*together, *(row.value for row in rows), worth))


def numbers_of(together: Together) -> Iterator[Sequence[object]]:
    """The same as a table, its head first; unknown numbers are None."""
    yield ROW
    for row in together.rows():
        yield tuple(row.values())


def _row(trial: Trial, member: Member) -> Row | None:
    if member.comparison is None or member.comparison.found is None:
        return None
    found, factor = member.comparison.found, _factor(trial)
    has = np.isfinite(found.low)
    low, high = (found.low * factor, found.high * factor) if has else (None, None)
    text = short_number(found.estimate * factor)
    if low is not None and high is not None:
        text += f" ({short_number(low)} to {short_number(high)})"
    name = member.trial.code + (", not counted" if member.why_not else "")
    return Row(name, found.estimate * factor, low, high, text, strong=not member.why_not)


def _told(trial: Trial, together: Together) -> str:
    pooled = together.pooled
    if pooled is None:
        return TOO_FEW
    second = quoted(together.arms[1])
    first = quoted(together.arms[0])
    trials = f"{words.capital(words.spelt(pooled.trials))} trials together"
    if pooled.low <= 0 <= pooled.high:
        return f"{trials} don’t show that {first} and {second} differ."
    verb = "loses" if trial.outcome == LOSS else "gains"
    return f"{trials} say that {second} {verb} {_more(pooled.effect)} than {first}."


def _interval(trial: Trial, together: Together, one: Pooled) -> str:
    """How much more or less the second arm lost than the first, and between what."""
    verb = "lost" if trial.outcome == LOSS else "gained"
    unit = f"{units.NO_BREAK}% of the wall" if trial.outcome == LOSS else ""
    middle, low, high = (
        short_number(abs(value) * _factor(trial)) for value in (one.effect, one.low, one.high)
    )
    return (
        f"{quoted(together.arms[1])} {verb} {middle}{unit} {_more(one.effect)} a year than "
        f"{quoted(together.arms[0])} (between {low} {_more(one.low)} and {high} {_more(one.high)}, allowing "
        "for chance)."
    )


def _more(value: float) -> str:
    return "more" if value > 0 else "less"


def _open(trial: Trial, together: Together) -> list[str]:
    """What the trials together leave open, a sentence each."""
    pooled = together.pooled
    if pooled is None:
        return []
    parts = []
    if pooled.low <= 0 <= pooled.high:
        parts.append("That no difference is shown is no proof that the two are alike.")
    if pooled.trials < FEW_TRIALS:
        parts.append(
            f"It is {words.spelt(pooled.trials)} trials only: how much trials differ among themselves is "
            "hardly known, so the limits are wide."
        )
    if np.isfinite(pooled.next_low) and pooled.next_low <= 0 <= pooled.next_high:
        parts.append("One more trial may well come out the other way.")
    return parts


def _method(pooled: Pooled) -> str:
    spread = f"{100 * pooled.inconsistency:.0f} % of the spread between the trials"
    return (
        f"{words.capital(pooled.method)}. {spread} "
        f"is more than chance (I²; Q {pooled.q:.1f}, p {pooled.q_p_value:.2g})."
    )


def _factor(trial: Trial) -> float:
    return 100.0 if trial.outcome == LOSS else 1.0
