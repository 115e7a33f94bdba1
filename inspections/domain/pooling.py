"""Trials of one question taken together: the same two arms, the same outcome."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from inspections.analysis.pooling_trials import Pooled, leave_one_out, pool
from inspections.analysis.trial_results import Comparison
from inspections.domain.comparing import compare_trial
from inspections.models import Trial
from inspections.queries.trials import TrialsOfQuestion, questions_of, trials_like
from portfolio.domain.refusals import Refusal
from portfolio.models import Organisation


@dataclass(frozen=True, slots=True)
class Member:
    """A trial of the question, whether it counts and, where it doesn't, why.

    ``comparison`` is None where the trial can't be answered as it was set up.
    """

    trial: Trial
    comparison: Comparison | None
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class Together:
    """The trials of a question; ``pooled`` is None under two that count.

    Effects are the second arm less the first, a year. ``without`` has the pooled effect without each that
    counts, in the order of ``counted``; it is empty under three.
    """

    outcome: str
    arms: tuple[str, ...]
    members: list[Member]
    pooled: Pooled | None
    without: list[Pooled]

    @property
    def counted(self) -> list[Member]:
        """The members that are pooled."""
        return [member for member in self.members if not member.why_not]

    def rows(self) -> Iterator[dict[str, Any]]:
        """A row for each trial, then what they say together, without each, and of one more trial.

        ``row`` says which; unknown numbers are None.
        """
        weights = iter(self.pooled.weights.tolist() if self.pooled else [])
        for member in self.members:
            weight = next(weights, None) if not member.why_not else None
            yield self._row("trial", member.trial.code, **_numbers(member), weight=weight)
        for member, pooled in zip(self.counted, self.without, strict=False):
            yield self._row("without", member.trial.code, **_pooled_numbers(pooled))
        if self.pooled:
            yield self._row("together", None, **_pooled_numbers(self.pooled))
            if math.isfinite(self.pooled.next_low):
                ends = {"low": self.pooled.next_low, "high": self.pooled.next_high}
                yield self._row("one_more_trial", None, estimate=self.pooled.effect, **ends)

    def _row(self, row: str, trial: str | None, **numbers: Any) -> dict[str, Any]:
        asked = {"outcome": self.outcome, "first_arm": self.arms[0], "second_arm": self.arms[1]}
        return {**dict.fromkeys(ROW), **asked, "row": row, "trial": trial, **numbers}

    def as_json(self) -> dict[str, Any]:
        """Plain types, unknown as None."""
        by_kind: dict[str, list[dict[str, Any]]] = {}
        for row in self.rows():
            by_kind.setdefault(row["row"], []).append(row)
        pooled = self.pooled
        return {
            "outcome": self.outcome,
            "arms": list(self.arms),
            "trials": [{name: row[name] for name in TRIAL} for row in by_kind.get("trial", [])],
            "pooled": None
            if pooled is None
            else {
                **{name: by_kind["together"][0][name] for name in EFFECT},
                "trials": pooled.trials,
                "between_sd": math.sqrt(pooled.between),
                "inconsistency": pooled.inconsistency,
                "q": pooled.q,
                "q_df": pooled.trials - 1,
                "q_p_value": pooled.q_p_value,
                "next_low": _number(pooled.next_low),
                "next_high": _number(pooled.next_high),
                "method": pooled.method,
            },
            "without": [
                {"trial": row["trial"], **{name: row[name] for name in EFFECT}}
                for row in by_kind.get("without", [])
            ],
            "note": "" if pooled else TOO_FEW,
        }


#: What a pooled effect has, what a trial has, and the columns of a row of either.
EFFECT = ("estimate", "low", "high", "p_value")
TRIAL = ("trial", "sections", *EFFECT, "error", "fair", "weight", "counted", "why_not")
ROW = ("outcome", "first_arm", "second_arm", "row", *TRIAL)
TOO_FEW = "Fewer than two fair trials ask this question, so there is nothing to take together yet."


def pool_trials(trial: Trial, *, as_of: dt.date | None = None) -> Together:
    """This trial and those like it: fair ones are pooled, the others only shown."""
    return _together(trials_like(trial), as_of)


def pooled_questions(
    organisation: Organisation,
    *,
    trial: str = "",
    outcome: str = "",
    arm: str = "",
    as_of: dt.date | None = None,
) -> list[Together]:
    """Every question that trials with two arms ask; or that of one trial, of one outcome, or with one arm."""
    asked = [
        one
        for one in questions_of(organisation)
        if (not outcome or one.outcome == outcome)
        and (not arm or arm in one.arms)
        and (not trial or trial in [own.code for own in one.trials])
    ]
    return [_together(one, as_of) for one in asked]


def _together(question: TrialsOfQuestion, as_of: dt.date | None) -> Together:
    members = [_member(like, as_of) for like in question.trials]
    found = [
        one.comparison.found for one in members if not one.why_not and one.comparison and one.comparison.found
    ]
    pooled, without = _pooled([one.estimate for one in found], [one.error for one in found])
    return Together(question.outcome, question.arms, members, pooled, without)


def _pooled(effects: Sequence[float], errors: Sequence[float]) -> tuple[Pooled | None, list[Pooled]]:
    if len(effects) < 2:
        return None, []
    return pool(effects, errors), leave_one_out(effects, errors)


def _member(trial: Trial, as_of: dt.date | None) -> Member:
    try:
        comparison = compare_trial(trial, as_of=as_of)
    except Refusal as refused:
        return Member(trial, None, str(refused).rstrip("."))
    return Member(trial, comparison, _why_not(comparison))


def _why_not(comparison: Comparison) -> str:
    found = comparison.found
    if found is None:
        return "nothing can be compared yet"
    if not comparison.fair:
        return "the walls were not shared out fairly"
    if not (np.isfinite(found.error) and found.error > 0):
        return "one pair tells no spread"
    return ""


def _numbers(member: Member) -> dict[str, Any]:
    told = {"counted": not member.why_not, "why_not": member.why_not}
    comparison = member.comparison
    if comparison is None:
        return told
    own = {"sections": sum(arm.sections for arm in comparison.arms), "fair": comparison.fair, **told}
    if comparison.found is None:
        return own
    found = comparison.found
    return {
        **own,
        "estimate": _number(found.estimate),
        "low": _number(found.low),
        "high": _number(found.high),
        "p_value": _number(comparison.p_value),
        "error": _number(found.error),
    }


def _pooled_numbers(pooled: Pooled) -> dict[str, Any]:
    return {
        "estimate": pooled.effect,
        "low": pooled.low,
        "high": pooled.high,
        "p_value": pooled.p_value,
        "error": pooled.error,
    }


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
