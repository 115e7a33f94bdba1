"""How long groups of coats last beside each other on like walls: exposure taken out by regression.

A coat that got the drier walls looks better than it is. Accelerated failure times with the walls' exposure
beside the groups give how many times as long a group lasts as the reference on walls of the same kind
(:mod:`inspections.analysis.accelerated`); beside it stands the crude comparison, of the groups alone. What
was not written down of all walls is drawn for the others (:mod:`inspections.analysis.imputing`); what was not
written down at all is not taken out.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from inspections.analysis.accelerated import Effect, estimate_accelerated, fit_accelerated
from inspections.analysis.failures import FAILED, Lives
from inspections.analysis.imputing import completed, pooled
from inspections.analysis.lifetimes import IntArray, Interval, Lifetimes
from inspections.analysis.rates import LEAST_COATS, UNKNOWN, Group, places
from inspections.analysis.records import FloatArray
from inspections.analysis.results import plain
from inspections.analysis.wording import listed, spelt

#: More groups than this are not set beside each other. Ours.
MOST_GROUPS = 40
#: Coats, and the share of them, of which a measure must be known for the rest to be drawn. Ours.
LEAST_KNOWN, LEAST_SHARE = 10, 1 / 3
#: Failures for each thing that is compared or taken out; with fewer, intervals hold less than they say
#: (Vittinghoff and McCulloch 2007, Am. J. Epidemiol. 165, 710-718, found five to be fair; from memory).
LEAST_FAILURES = 5
TOO_FEW = "too few failures to take it out"
#: Share of a measure's variance that goes with the groups beyond which it is part of what the groups are: the
#: error of a group is then more than doubled (a variance inflation of 5).
MOST_EXPLAINED = 0.8
#: A difference is called one where its p-value, times the comparisons made (Holm 1979), is under this.
DIFFERENT = 0.05
#: A standard error of a log life from which on nothing is told.
_UNTOLD = 5.0
#: Standard errors on either side of a normal 95 % interval.
_NORMAL = 1.959964

_METHOD = "accelerated failure times, Weibull, houses taken as clusters"


@dataclass(frozen=True, slots=True)
class LikeForLike:
    """For each other group how many times as long it lasts as ``reference``, and what was taken out.

    ``crude`` is the same with nothing taken out, of the same coats; ``p_values`` are those of ``times``,
    each for itself. ``known`` has of how many coats each measure is known, where not of all; ``left_out``
    why one was not taken out. ``coats`` and ``failures`` are by group, of those compared.
    """

    reference: Group
    times: dict[Group, Interval]
    taken_out: tuple[str, ...]
    crude: dict[Group, Interval]
    p_values: dict[Group, float | None]
    known: dict[str, int]
    left_out: dict[str, str]
    coats: dict[Group, int]
    failures: dict[Group, int]
    method: str

    def rows(self, by: Sequence[str], name: Callable[[Group], str]) -> list[dict[str, Any]]:
        """One row for each group that is compared, the reference first; plain types."""
        groups = [self.reference, *self.times]
        return [
            {
                "group": dict(zip(by, group, strict=True)),
                "reference": dict(zip(by, self.reference, strict=True)),
                "coats": self.coats[group],
                "failures": self.failures[group],
                "times_as_long": plain_interval(self.times.get(group, UNKNOWN)),
                "crude": plain_interval(self.crude.get(group, UNKNOWN)),
                "p_value": self.p_values.get(group),
                "taken_out": list(self.taken_out),
                "known": dict(self.known),
                "left_out": dict(self.left_out),
                "statement": self.sentence(group, name),
                "method": self.method,
            }
            for group in groups
        ]

    def sentence(self, group: Group, name: Callable[[Group], str]) -> str:
        """What is found of one group beside the reference."""
        reference = name(self.reference)
        if group == self.reference:
            return f"The others are set beside {reference}."
        found, crude = self.times[group], self.crude.get(group, UNKNOWN)
        told = f"{_walls(self.taken_out)}{name(group)} lasts {said(found)} times as long as {reference}"
        if found.estimate is None:
            return f"{_walls(self.taken_out)}how long {name(group)} lasts beside {reference} is not told."
        sure = _sure(found)
        rough = ""
        if self.taken_out and crude.estimate is not None:
            rough = f" With nothing taken out: {said(crude)} times."
        return f"{told}: {sure}.{rough}"

    def headline(self, name: Callable[[Group], str]) -> str:
        """Which lasts longer, by what factor, and how sure: of the clearest of all comparisons made."""
        told = [
            (p_value, group)
            for group, p_value in self.p_values.items()
            if p_value is not None and self.times[group].estimate is not None
        ]
        reference, walls = name(self.reference), _walls(self.taken_out)
        if not told:
            return f"{walls}no coat can be told from {reference} yet."
        p_value, group = min(told, key=lambda one: one[0])
        others = "another" if len(told) == 1 else f"any of the {spelt(len(told))} others"
        if p_value * len(told) >= DIFFERENT:
            return (
                f"{walls}no difference is shown between {reference} and {others}; the clearest, "
                f"{name(group)}, lasts {said(self.times[group])} times as long."
            )
        times = self.times[group]
        first, second = (group, self.reference) if (times.estimate or 0) >= 1 else (self.reference, group)
        factor = times if first == group else _turned(times)
        chance = max(p_value * len(told), 0.001)
        sure = "under 1 in 1,000" if chance <= 0.001 else f"about {math.ceil(chance * 1000)} in 1,000"
        return (
            f"{walls}{name(first)} lasts longer than {name(second)}: {said(factor)} times as long. The "
            f"chance of so clear a difference, if none was there, is {sure}."
        )


def plain_interval(interval: Interval) -> dict[str, float | None]:
    """Plain types, unknown as None."""
    return {end: plain(getattr(interval, end)) for end in ("estimate", "low", "high")}


def _walls(taken_out: Sequence[str]) -> str:
    if not taken_out:
        return "As recorded, "
    return f"On walls alike in {listed([WORDS.get(one, one) for one in taken_out])}, "


#: What can be taken out, in words.
WORDS = {
    "substrate": "masonry",
    "adjoins": "what lies behind",
    "thickness": "the coat’s thickness",
    "dampness": "dampness before",
}


def said(interval: Interval) -> str:
    """Such as "1.4 (1.1 to 1.8)"."""
    estimate, low, high = (
        None if end is None else f"{end:.2f}" if end < 10 else f"{end:.0f}"
        for end in (interval.estimate, interval.low, interval.high)
    )
    return f"{estimate} ({low or 0} to {high or 'not reached'})"


def _sure(found: Interval) -> str:
    if found.low is not None and found.low > 1:
        return "longer, then"
    if found.high is not None and found.high < 1:
        return "less long, then"
    return "which of the two lasts longer is not shown"


def _turned(interval: Interval) -> Interval:
    low, estimate, high = (
        None if not end else 1 / end for end in (interval.high, interval.estimate, interval.low)
    )
    return Interval(estimate, low, high)


def like_for_like(
    group: Sequence[Group],
    lives: Lives,
    house: IntArray,
    exposure: Mapping[str, Sequence[str]],
    measures: Mapping[str, FloatArray] | None = None,
) -> LikeForLike | None:
    """Compares groups of coats (n,) with ``exposure`` (name to n words) and ``measures`` (name to (n,), NaN
    where not known) taken out; None where that can't be.

    Groups of fewer than five watched coats or without a failure are left out. The reference is the group with
    most failures. Kinds of exposure under five coats or without a failure count as the commonest kind. Things
    are taken out in their order as far as the failures reach, exposure first.
    """
    names, place = places(group)
    failed = lives.at_risk & (lives.state == FAILED)
    failures = np.bincount(place[failed], minlength=len(names))
    watched = np.bincount(place[lives.at_risk], minlength=len(names))
    enough = (watched >= LEAST_COATS) & (failures > 0)
    if not 2 <= enough.sum() <= MOST_GROUPS:
        return None
    kept = lives.at_risk & enough[place]
    reference = int(np.argmax(np.where(enough, failures, -1)))
    others = [one for one in np.flatnonzero(enough).tolist() if one != reference]
    compared = np.column_stack([place[kept] == one for one in others]).astype(float)
    told = {name: values[kept] for name, values in (measures or {}).items()}
    left_out = {name: why for name, values in told.items() if (why := _why_not(values, compared))}
    told = {name: values for name, values in told.items() if name not in left_out}
    columns, taken_out = [compared], []
    room = int((failed & kept).sum() / LEAST_FAILURES) - len(others)
    for name, words in exposure.items():
        kinds = _kinds([words[row] for row in np.flatnonzero(kept).tolist()], failed[kept].tolist())
        if len(kinds) > room:
            left_out[name] = TOO_FEW
        elif kinds:
            room -= len(kinds)
            taken_out.append(name)
            columns += [column[:, None] for column in kinds]
    for name in list(told)[max(room, 0) :]:
        left_out[name] = TOO_FEW
        del told[name]
    lifetimes = Lifetimes(lives.entry[kept], lives.low[kept], lives.high[kept], house[kept])
    crude = _compared(lifetimes, compared, len(others))
    found = _compared(lifetimes, np.column_stack(columns), len(others), list(told.values()))
    if found is None and told:
        left_out |= dict.fromkeys(told, "can't be told apart from the rest")
        told = {}
        found = _compared(lifetimes, np.column_stack(columns), len(others))
    if found is None or crude is None:
        return None
    some = {name: int(np.isfinite(values).sum()) for name, values in told.items()}
    known = {name: count for name, count in some.items() if count < len(lifetimes)}
    keys = [names[one] for one in others]
    return LikeForLike(
        names[reference],
        dict(zip(keys, found[0], strict=True)),
        (*taken_out, *told),
        dict(zip(keys, crude[0], strict=True)),
        dict(zip(keys, found[1], strict=True)),
        known,
        left_out,
        {names[one]: int(watched[one]) for one in np.flatnonzero(enough).tolist()},
        {names[one]: int(failures[one]) for one in np.flatnonzero(enough).tolist()},
        f"{_METHOD}; {_drawn(known, len(lifetimes))}",
    )


def _drawn(known: Mapping[str, int], coats: int) -> str:
    if not known:
        return "profile-likelihood intervals"
    of = ", ".join(f"{name} of {count} of {coats} coats" for name, count in known.items())
    return f"multiple imputation, Rubin's intervals (known: {of})"


def _why_not(values: FloatArray, compared: FloatArray) -> str:
    """Why a measure (n,) can't be taken out, in words; "" where it can."""
    known = np.isfinite(values)
    count = int(known.sum())
    if count < max(LEAST_KNOWN, LEAST_SHARE * len(values)):
        return f"known of {count} of {len(values)} coats only"
    centred = values[known] - values[known].mean()
    if not centred.any():
        return "the same of all coats"
    design = np.column_stack([np.ones(count), compared[known]])
    if (design.sum(axis=0) == 0).any() or (compared[known].sum(axis=1) > 0).all():
        return "not known of any coat of one of the groups"
    fitted = design @ np.linalg.lstsq(design, centred, rcond=None)[0]
    if fitted @ fitted > MOST_EXPLAINED * (centred @ centred):
        return "goes with the groups themselves"
    return ""


def _compared(
    lifetimes: Lifetimes, design: FloatArray, groups: int, measures: Sequence[FloatArray] = ()
) -> tuple[list[Interval], list[float | None]] | None:
    """How many times as long each of the first ``groups`` columns lasts, and the p-values."""
    values = np.column_stack([np.zeros((len(lifetimes), 0)), *measures])
    try:
        if np.isfinite(values).all():
            fit = fit_accelerated(lifetimes, np.column_stack([design, values]))
            if fit is None:
                return None
            effects = fit.effects[:groups]
            return [_factor(one.coefficient) for one in effects], [one.p_value for one in effects]
        books = completed(values, design, lifetimes)
        whole = fit_accelerated(lifetimes, np.column_stack([design, books[0]]))
        fits = [estimate_accelerated(lifetimes, np.column_stack([design, book])) for book in books]
    except ValueError:
        return None
    reached = [fit for fit in fits if fit is not None]
    if whole is None or len(reached) < len(fits):
        return None
    estimates = np.array([fit[0] for fit in reached])[:, :groups]
    errors = np.array([fit[1] for fit in reached])[:, :groups]
    found, p_values = pooled(estimates, errors)
    told: list[bool] = np.all(errors < _UNTOLD, axis=0).tolist()
    bent = [_bent(one, effect) for one, effect in zip(found, whole.effects[:groups], strict=True)]
    return (
        [_factor(one) if known else UNKNOWN for one, known in zip(bent, told, strict=True)],
        [float(p) if known else None for p, known in zip(p_values, told, strict=True)],
    )


def _bent(interval: Interval, effect: Effect) -> Interval:
    """A symmetric interval as uneven as the profile likelihood of one completed book has it."""
    profile, error = effect.coefficient, effect.standard_error
    if interval.estimate is None or profile.estimate is None or not error:
        return interval
    ends: list[float | None] = []
    for end, limit in ((interval.low, profile.low), (interval.high, profile.high)):
        if end is None or limit is None:
            ends.append(None)
        else:
            part = abs(limit - profile.estimate) / (_NORMAL * error)
            ends.append(interval.estimate + part * (end - interval.estimate))
    return Interval(interval.estimate, *ends)


def _kinds(words: Sequence[str], failed: Sequence[bool]) -> list[FloatArray]:
    """A column (n,) of noughts and ones for each kind but the commonest that is common enough."""
    counts = Counter(words)
    with_failure = {word for word, has in zip(words, failed, strict=True) if has}
    common = [word for word, count in counts.most_common() if count >= LEAST_COATS and word in with_failure]
    return [np.array([word == one for word in words], dtype=float) for one in common[1:]]


def _factor(coefficient: Interval) -> Interval:
    ends = (coefficient.estimate, coefficient.low, coefficient.high)
    return Interval(*(None if end is None else math.exp(end) for end in ends))
