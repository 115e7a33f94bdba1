"""How long groups of coats last beside each other on like walls: exposure taken out by regression.

A coat that got the drier walls looks better than it is. Accelerated failure times with the walls' exposure
beside the groups give how many times as long a group lasts as the reference on walls of the same kind
(:mod:`inspections.analysis.accelerated`). What was not written down of the walls is not taken out.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from inspections.analysis.accelerated import fit_accelerated
from inspections.analysis.failures import FAILED, Lives
from inspections.analysis.lifetimes import IntArray, Interval, Lifetimes
from inspections.analysis.rates import LEAST_COATS, Group, places
from inspections.analysis.records import FloatArray


@dataclass(frozen=True, slots=True)
class LikeForLike:
    """For each other group how many times as long it lasts as ``reference``, and what was taken out."""

    reference: Group
    times: dict[Group, Interval]
    taken_out: tuple[str, ...]


def like_for_like(
    group: Sequence[Group],
    lives: Lives,
    house: IntArray,
    exposure: Mapping[str, Sequence[str]],
) -> LikeForLike | None:
    """Compares groups of coats (n,) with ``exposure`` (name to n words) taken out; None where that can't be.

    Groups of fewer than five watched coats or without a failure are left out. The reference is the group with
    most failures. Kinds of exposure under five coats or without a failure count as the commonest kind.
    """
    names, place = places(group)
    failed = lives.at_risk & (lives.state == FAILED)
    enough = [
        (lives.at_risk & (place == one)).sum() >= LEAST_COATS and bool((failed & (place == one)).any())
        for one in range(len(names))
    ]
    kept = lives.at_risk & np.array(enough, dtype=bool)[place] if names else lives.at_risk
    failures = np.bincount(place[failed & kept], minlength=len(names))
    if sum(enough) < 2:
        return None
    reference = int(np.argmax(np.where(enough, failures, -1)))
    others = [one for one in range(len(names)) if enough[one] and one != reference]
    columns: list[FloatArray] = [(place[kept] == one).astype(float) for one in others]
    taken_out = []
    for name, words in exposure.items():
        found = _kinds([words[row] for row in np.flatnonzero(kept).tolist()], failed[kept].tolist())
        if found:
            taken_out.append(name)
            columns += found
    lifetimes = Lifetimes(lives.entry[kept], lives.low[kept], lives.high[kept], house[kept])
    try:
        fit = fit_accelerated(lifetimes, np.column_stack(columns))
    except ValueError:
        return None
    if fit is None:
        return None
    times = {
        names[one]: _factor(effect.coefficient)
        for one, effect in zip(others, fit.effects[: len(others)], strict=True)
    }
    return LikeForLike(names[reference], times, tuple(taken_out))


def _kinds(words: Sequence[str], failed: Sequence[bool]) -> list[FloatArray]:
    """A column (n,) of noughts and ones for each kind but the commonest that is common enough."""
    counts = Counter(words)
    with_failure = {word for word, has in zip(words, failed, strict=True) if has}
    common = [word for word, count in counts.most_common() if count >= LEAST_COATS and word in with_failure]
    return [np.array([word == one for word in words], dtype=float) for one in common[1:]]


def _factor(coefficient: Interval) -> Interval:
    ends = (coefficient.estimate, coefficient.low, coefficient.high)
    return Interval(*(None if end is None else math.exp(end) for end in ends))
