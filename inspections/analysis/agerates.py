"""How often coats fail at each age, and the groups beside each other at like ages (:mod:`agefit`)."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inspections.analysis.agefit import UNTOLD, AgeFit, fit_ages, limits, ratio_limits
from inspections.analysis.failures import Lives
from inspections.analysis.lifetimes import IntArray, Interval, Lifetimes
from inspections.analysis.poisson import garwood
from inspections.analysis.rates import LEAST_COATS, UNKNOWN, Group, Rate, places
from inspections.analysis.records import FloatArray
from inspections.analysis.results import Told

#: Bands of age in years that rates are given for; each is a whole number of the steps of the fit.
BANDS = (0.0, 5.0, 10.0, 20.0, 40.0)
#: Groups whose intervals are worked out at once, so that memory holds each coat's part in them.
_AT_ONCE = 64


@dataclass(frozen=True, slots=True)
class AgeRate(Told):
    """One group's failures at the ages ``from_years`` to ``to_years`` (None: any older).

    ``coats`` were watched then. A failure whose interval spans two bands counts in each by a share, and
    ``section_years`` go to where each failure is expected, so they add up to the group's but for that.
    """

    group: dict[str, str | None]
    from_years: float
    to_years: float | None
    coats: int
    section_years: float
    failures: float
    rate: Rate
    note: str


@dataclass(frozen=True, slots=True)
class LikeAges(Told):
    """One group's failures as if all groups had been watched at the ages at which all coats together were.

    ``times_as_often`` is its rate over the ``reference`` group's at like ages, ``crude`` without regard to
    age; None for the reference itself.
    """

    group: dict[str, str | None]
    reference: dict[str, str | None]
    coats: int
    failures: int
    rate: Rate
    times_as_often: Interval
    crude: Interval
    method: str
    note: str


@dataclass(frozen=True, slots=True)
class AgeRates:
    """Every group's rates by age, and the groups beside each other."""

    as_of: dt.date
    bands: tuple[AgeRate, ...]
    alike: tuple[LikeAges, ...]


def age_rates(
    by: Sequence[str], group: Sequence[Group], lives: Lives, house: IntArray, as_of: dt.date
) -> AgeRates:
    """Rates of coats (n,) by ``group`` and age, of ``house`` each."""
    names, place = places(group)
    watched = np.flatnonzero(lives.at_risk)
    lifetimes = Lifetimes(lives.entry[watched], lives.low[watched], lives.high[watched], house[watched])
    own = place[watched]
    failures = np.bincount(own[lifetimes.failed], minlength=len(names))
    coats = np.bincount(own, minlength=len(names))
    enough = np.where(coats >= LEAST_COATS, failures, 0)
    base = int(np.argmax(enough if enough.any() else failures)) if names else 0
    fit = fit_ages(lifetimes, own, base, len(names))
    labels = [dict(zip(by, name, strict=True)) for name in names]
    table = _Table(labels, coats, failures, base)
    return AgeRates(as_of, _bands(table, own, lifetimes, fit), _alike(table, own, lifetimes, fit))


@dataclass(frozen=True, slots=True)
class _Table:
    """The groups (g,): names, coats watched, failures, and the place of the reference."""

    labels: list[dict[str, str | None]]
    coats: IntArray
    failures: IntArray
    base: int


def _bands(table: _Table, own: IntArray, lifetimes: Lifetimes, fit: AgeFit | None) -> tuple[AgeRate, ...]:
    ends = (*BANDS[1:], np.inf)
    if fit is None:
        ages, failures = np.array(BANDS), np.zeros((len(own), len(BANDS)))
        width = np.diff(np.append(ages, np.inf))
        years = np.clip(lifetimes.low[:, None] - ages, 0, width)
        years -= np.clip(lifetimes.entry[:, None] - ages, 0, width)
    else:
        ages, failures, years = fit.ages, fit.failures, fit.years
    found = []
    for first, end in zip(BANDS, ends, strict=True):
        inside = (ages >= first) & (ages < end)
        span = years[:, inside].sum(axis=1)
        count = np.bincount(own, weights=failures[:, inside].sum(axis=1), minlength=len(table.coats))
        total = np.bincount(own, weights=span, minlength=len(table.coats))
        coats = np.bincount(own[span > 0], minlength=len(table.coats))
        found.append((first, end, count, total, coats, *garwood(count)))
    rows = []
    for one, label in enumerate(table.labels):
        for first, end, count, total, coats, low, high in found:
            if not coats[one]:
                continue
            per = total[one] / 100
            told = coats[one] >= LEAST_COATS
            ends_of = (float(value[one] / per) for value in (count, low, high))
            rate = Rate(*ends_of) if told and per > 0 else Rate()
            note = "" if told else "Too few: under five coats tell no rate."
            until = None if np.isinf(end) else end
            rows.append(
                AgeRate(
                    label, first, until, int(coats[one]), float(total[one]), float(count[one]), rate, note
                )
            )
    return tuple(rows)


def _alike(table: _Table, own: IntArray, lifetimes: Lifetimes, fit: AgeFit | None) -> tuple[LikeAges, ...]:
    enough = np.flatnonzero(table.coats >= LEAST_COATS)
    if fit is None or table.coats[table.base] < LEAST_COATS:
        return ()
    plain_fit = fit_ages(lifetimes, own, table.base, len(table.coats), (0.0,))
    if plain_fit is None:
        return ()
    standard = fit.years.sum(axis=0)
    mean = float(fit.rate @ standard / standard.sum())
    rates = _rates(fit, table, enough, own, standard, mean, lifetimes.cluster)
    times = _times(fit, table, enough, own, lifetimes.cluster)
    crude = _times(plain_fit, table, enough, own, lifetimes.cluster)
    method = (
        "piecewise-constant failure rates by age with a factor for each group, by the likelihood of "
        "intervals; rates are standardised to the ages at which all coats were watched, intervals go by house"
    )
    rows = []
    for one, rate, ratio, rough in zip(enough.tolist(), rates, times, crude, strict=True):
        notes = []
        if one == table.base:
            notes.append("The others are set beside this group.")
        elif ratio is UNTOLD_RATIO:
            notes.append("Too few of it were watched at ages at which the others were.")
            rate = Rate()
        rows.append(
            LikeAges(
                table.labels[one],
                table.labels[table.base],
                int(table.coats[one]),
                int(table.failures[one]),
                rate,
                UNKNOWN if one == table.base else ratio,
                UNKNOWN if one == table.base else rough,
                method,
                " ".join(notes),
            )
        )
    return tuple(rows)


#: The ratio of a group that shares no ages with the others.
UNTOLD_RATIO = Interval(None, None, None)


def _expected(fit: AgeFit, own: IntArray, groups: int) -> FloatArray:
    """Failures that the base group would have had in each group's years (g,)."""
    return np.asarray(np.bincount(own, weights=fit.years @ fit.rate, minlength=groups), dtype=float)


def _rates(
    fit: AgeFit,
    table: _Table,
    groups: IntArray,
    own: IntArray,
    standard: FloatArray,
    mean: float,
    cluster: IntArray,
) -> list[Rate]:
    """Standardised rates of ``groups``, per 100 section-years."""
    expected = _expected(fit, own, len(table.coats))
    found = []
    for some in _chunks(groups):
        weight = np.repeat(standard[:, None], len(some), axis=1)
        rate = fit.factor[some] * mean * 100
        variance = np.maximum(fit.spread(some, weight, cluster), 1e-12)
        low, high = limits(rate, variance)
        for place, one in enumerate(some.tolist()):
            if table.failures[one]:
                found.append(Rate(float(rate[place]), float(low[place]), float(high[place])))
            else:
                most = float(garwood(0)[1]) / expected[one] * mean * 100
                found.append(Rate(0.0, 0.0, float(most)))
    return found


def _times(fit: AgeFit, table: _Table, groups: IntArray, own: IntArray, cluster: IntArray) -> list[Interval]:
    """Rates of ``groups`` over the base group's at like ages."""
    expected = _expected(fit, own, len(table.coats))
    base = float(table.failures[table.base])
    found = []
    for some in _chunks(groups):
        events = table.failures[some].astype(float)
        variance = fit.spread(some, np.zeros((len(fit.ages), len(some))), cluster)
        known = (events > 0) & (some != table.base)
        ratio = np.where(known, fit.factor[some], 1.0)
        spread = np.where(known, np.maximum(variance, 1e-12), 1.0)
        low, high = ratio_limits(ratio, (np.where(known, events, 1.0), base), spread)
        for place, one in enumerate(some.tolist()):
            if known[place] and np.sqrt(variance[place]) > UNTOLD:
                found.append(UNTOLD_RATIO)
            elif events[place]:
                most = float(high[place]) if np.isfinite(high[place]) else None
                found.append(Interval(float(fit.factor[one]), float(low[place]), most))
            else:
                found.append(Interval(0.0, 0.0, _most_of_none(base, float(expected[one]))))
    return found


def _most_of_none(base: float, expected: float) -> float | None:
    """Upper limit of a ratio when the group had no failure where the base group's rates expect so many."""
    share = 1 - 0.025 ** (1 / base)
    return share / (1 - share) * base / expected if expected > 0 else None


def _chunks(groups: IntArray) -> list[IntArray]:
    return [groups[first : first + _AT_ONCE] for first in range(0, len(groups), _AT_ONCE)]
