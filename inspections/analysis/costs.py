"""What a coat costs for each m² and year of service: putting on, keeping up, taking off.

Money is as it was paid, in its own currency, and never changed into another or to another year's. With a
discount rate the cost a year is the level payment, for as long as the coat serves, whose present value on
the day of application is that of all payments (the equivalent annual cost of ISO 15686-5; from memory).

The expected service is the mean of the group's Weibull lives. Intervals are those of a jackknife that leaves
out a block of houses at a time, so that they hold what prices and lives have in common (Kott 2001, J. Off.
Stat. 17, 521-526; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gamma, stdtrit

from inspections.analysis.failures import FAILED, Coats, Lives
from inspections.analysis.lifetimes import BoolArray, IntArray, Interval, Lifetimes
from inspections.analysis.logtimes import WEIBULL, Likelihood, climb
from inspections.analysis.rates import LEAST_COATS, UNKNOWN, Group, places
from inspections.analysis.records import YEAR, FloatArray, TextArray
from inspections.analysis.results import Told
from inspections.analysis.weibull import start

INSTALLED, REPAIRED, REMOVED = "installed", "repaired", "removed"
#: Blocks of houses that the jackknife leaves out in turn.
BLOCKS = 20
#: Fewer failures say nothing of how long a coat serves on the mean.
LEAST_FAILURES = 2
#: Points in the probability of having failed at which discounted sums are taken.
_PROBABILITY = (np.arange(400) + 0.5) / 400


@dataclass(frozen=True, slots=True)
class Payments:
    """What was paid (p,): for which coat, on which day, how much in which currency, and for what."""

    coat: IntArray
    day: FloatArray
    amount: FloatArray
    currency: TextArray
    what: TextArray


@dataclass(frozen=True, slots=True)
class GroupCost(Told):
    """One group's costs in one currency with 95 % intervals; the money of ``first_year`` to ``last_year``.

    ``installed`` and ``removed`` are per m², ``upkeep`` per m² and year in place, ``expected_years`` the mean
    life, and ``per_year`` all of them per m² and year of expected service at the ``discount`` rate.
    """

    group: dict[str, str | None]
    currency: str | None
    first_year: int
    last_year: int
    coats: int
    area_m2: float
    discount: float
    installed: Interval
    upkeep: Interval
    removed: Interval
    expected_years: Interval
    per_year: Interval
    note: str


@dataclass(frozen=True, slots=True)
class Priced:
    """Coats (n,) with what they cost: areas in m², years in place, money by kind, and their lives."""

    lives: Lives
    house: IntArray
    area: FloatArray
    in_place: FloatArray
    installed: FloatArray
    repaired: FloatArray
    removed: FloatArray


def service_costs(
    by: Sequence[str],
    group: Sequence[Group],
    coats: Coats,
    lives: Lives,
    house: IntArray,
    payments: Payments,
    as_of: float,
    discount: float = 0.0,
) -> tuple[GroupCost, ...]:
    """Costs of coats (n,) by ``group`` and currency; ``discount`` a year, ``as_of`` the last day used."""
    names, place = places(group)
    in_place = (np.minimum(coats.ended, as_of) - coats.begun) / YEAR
    found = []
    for one, name in enumerate(names):
        for currency in np.unique(payments.currency).tolist():
            sums = _sums(payments, currency, len(coats))
            priced = Priced(lives, house, coats.area, in_place, *(sums[what] for what in sums))
            own = place == one
            told = own & lives.at_risk & (priced.installed > 0) & np.isfinite(coats.area)
            if told.any():
                days = payments.day[told[payments.coat] & (payments.currency == currency)]
                labels = dict(zip(by, name, strict=True))
                found.append(_group_cost(labels, currency, priced, own & lives.at_risk, told, days, discount))
    return tuple(found)


def _sums(payments: Payments, currency: str, n: int) -> dict[str, FloatArray]:
    """Money of one currency for each coat (n,), by what it was paid for."""
    return {
        what: np.bincount(payments.coat[own], weights=payments.amount[own], minlength=n).astype(float)
        for what in (INSTALLED, REPAIRED, REMOVED)
        for own in [(payments.currency == currency) & (payments.what == what)]
    }


def _group_cost(
    group: dict[str, str | None],
    currency: str,
    priced: Priced,
    watched: BoolArray,
    told: BoolArray,
    days: FloatArray,
    discount: float,
) -> GroupCost:
    years = (1970 + days.min() / YEAR, 1970 + days.max() / YEAR)
    count, area = int(told.sum()), float(priced.area[told].sum())
    installed = upkeep = removed = expected = per_year = UNKNOWN
    notes = []
    if count < LEAST_COATS:
        notes.append("Too few: under five coats with a cost tell no price.")
    else:
        estimate = _figures(priced, watched, told, discount)
        figures = _intervals(priced, watched, told, discount, estimate)
        installed, upkeep, removed, expected, per_year = figures
        failures = int((priced.lives.state[watched] == FAILED).sum())
        if np.isnan(estimate[3]):
            seen = "No failure was" if not failures else "Only one failure was"
            notes.append(f"{seen} seen: how long it serves, and so its cost a year, is not known.")
        elif estimate[3] > (longest := float(priced.lives.low[watched].max())):
            notes.append(f"It is expected to serve longer than any was watched ({longest:.0f} years).")
        if not priced.repaired[told].any():
            notes.append("No repair is written down with its cost.")
        if not priced.removed[told].any():
            notes.append("No cost of taking off is written down; the cost a year is without it.")
    return GroupCost(
        group,
        currency or None,
        int(years[0]),
        int(years[1]),
        count,
        area,
        discount,
        installed,
        upkeep,
        removed,
        expected,
        per_year,
        " ".join(notes),
    )


def _figures(priced: Priced, watched: BoolArray, told: BoolArray, discount: float) -> FloatArray:
    """Installed, upkeep, removed, expected years, cost a year; NaN where not known."""
    area = priced.area[told]
    installed = float(priced.installed[told].sum() / area.sum())
    exposure = float((area * priced.in_place[told]).sum())
    upkeep = float(priced.repaired[told].sum()) / exposure if exposure > 0 else np.nan
    off = told & (priced.removed > 0)
    removed = float(priced.removed[off].sum() / priced.area[off].sum()) if off.any() else np.nan
    fit = _weibull(priced.lives, watched)
    if fit is None:
        return np.array([installed, upkeep, removed, np.nan, np.nan])
    shape, scale = fit
    mean = scale * float(gamma(1 + 1 / shape))
    lasting, at_end = annuity(shape, scale, discount)
    end = 0.0 if np.isnan(removed) else removed * at_end
    return np.array([installed, upkeep, removed, mean, (installed + end) / lasting + upkeep])


def annuity(shape: float, scale: float, discount: float) -> tuple[float, float]:
    """Present value of 1 a year for a Weibull life, and of 1 at its end; years and a pure number.

    E[(1 - v**T) / log(1 + discount)] and E[v**T] with v = 1 / (1 + discount): as payments flow all year.
    """
    if discount == 0:
        return scale * float(gamma(1 + 1 / shape)), 1.0
    lives = scale * (-np.log(_PROBABILITY)) ** (1 / shape)
    at_end = float(np.exp(-math.log1p(discount) * lives).mean())
    return (1 - at_end) / math.log1p(discount), at_end


def _weibull(lives: Lives, which: BoolArray) -> tuple[float, float] | None:
    """Shape and scale of most likelihood, without their intervals; None where they are not known."""
    lifetimes = Lifetimes(lives.entry[which], lives.low[which], lives.high[which], np.zeros(which.sum()))
    if lifetimes.failures < LEAST_FAILURES:
        return None
    unit, begin = start(lifetimes)
    likelihood = Likelihood(lifetimes, np.ones((len(lifetimes), 1)), WEIBULL, unit)
    theta, _, _, reached = climb(likelihood, begin, np.eye(2))
    return (float(theta[1]), unit * math.exp(theta[0] / theta[1])) if reached else None


def _intervals(
    priced: Priced, watched: BoolArray, told: BoolArray, discount: float, estimate: FloatArray
) -> list[Interval]:
    """Each figure with its interval, but for upkeep by logarithms: no cost and no life is below nought."""
    block = np.unique(priced.house[watched], return_inverse=True)[1] % BLOCKS
    count = int(block.max()) + 1
    if count < 2:
        return [Interval(_known(value), None, None) for value in estimate.tolist()]
    left_out = np.full(len(watched), -1)
    left_out[watched] = block
    found = np.array(
        [
            _figures(priced, watched & (left_out != one), told & (left_out != one), discount)
            if (told & (left_out != one)).any()
            else np.full(len(estimate), np.nan)
            for one in range(count)
        ]
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.log(found)
        reach = _reach(logs)
    intervals = [
        Interval(_known(value), _known(value * math.exp(-far)), _known(value * math.exp(min(far, 50.0))))
        if np.isfinite(far)
        else Interval(_known(value), None, None)
        for value, far in zip(estimate.tolist(), reach.tolist(), strict=True)
    ]
    # Upkeep may be nought where a house is left out, and has no logarithm there.
    upkeep = float(estimate[1])
    if upkeep > 0 and np.isfinite(found[:, 1]).all():
        far = float(_reach(found[:, [1]])[0])
        intervals[1] = Interval(upkeep, max(upkeep - far, 0.0), upkeep + far)
    return intervals


def _reach(found: FloatArray) -> FloatArray:
    """Half the width (f,) of 95 % intervals, from what each block of (b, f) left out gives."""
    count = len(found)
    spread = np.sqrt((count - 1) / count * ((found - found.mean(axis=0)) ** 2).sum(axis=0))
    return np.asarray(float(stdtrit(count - 1, 0.975)) * spread)


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None
