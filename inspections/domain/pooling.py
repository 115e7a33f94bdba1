"""Trials of one question taken together: the same two arms, the same outcome."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inspections.analysis.pooling_trials import Pooled, leave_one_out, pool
from inspections.analysis.trial_results import Comparison
from inspections.domain.comparing import compare_trial
from inspections.models import Trial
from inspections.queries.trials import trials_like
from portfolio.domain.refusals import Refusal


@dataclass(frozen=True, slots=True)
class Member:
    """A trial of the question, whether it counts and, where it doesn't, why."""

    trial: Trial
    comparison: Comparison
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class Together:
    """The trials of a question; ``pooled`` is None under two that count.

    ``without`` has the pooled effect without each that counts, in the order of ``counted``.
    """

    members: list[Member]
    pooled: Pooled | None
    without: list[Pooled]

    @property
    def counted(self) -> list[Member]:
        """The members that are pooled."""
        return [member for member in self.members if not member.why_not]


def pool_trials(trial: Trial) -> Together:
    """This trial and those like it: fair ones are pooled, the others only shown."""
    members = [member for like in trials_like(trial) if (member := _member(like)) is not None]
    counted = [one.comparison.found for one in members if not one.why_not]
    effects = [found.estimate for found in counted if found]
    errors = [found.error for found in counted if found]
    if len(effects) < 2:
        return Together(members, None, [])
    return Together(members, pool(effects, errors), leave_one_out(effects, errors))


def _member(trial: Trial) -> Member | None:
    try:
        comparison = compare_trial(trial)
    except Refusal:
        return None
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
