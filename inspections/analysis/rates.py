"""What lasts: how often and how soon the coats of each group fail, and how fast they lose area.

Every group says how many coats and section-years it rests on, and intervals go by house, whose coats are
alike. Sources: Garwood (1936), Turnbull (1976), Sun (1996) by the modules used here; Cochran (1977), Sampling
Techniques, secs. 6.3 and 9A (ratio of totals of clusters; from memory).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from scipy.special import stdtrit

from inspections.analysis.failures import FAILED, STANDING, Lives
from inspections.analysis.groups import TestResult, log_rank
from inspections.analysis.lifetimes import BoolArray, IntArray, Interval, Lifetimes
from inspections.analysis.many_lives import fit_weibulls
from inspections.analysis.poisson import rate
from inspections.analysis.records import FloatArray
from inspections.analysis.results import Told
from inspections.analysis.turnbull import Npmle, median_life, survival, turnbull
from inspections.analysis.weibull import LifeFit

#: Fewer coats tell no rate.
LEAST_COATS = 5
#: Of more coats than this in one curve, ages are rounded to a twenty-fourth of a year: visits are farther
#: apart, and the curve is quick to find.
MANY, GRID = 1000, 24.0
#: Curves are given at whole years up to this.
LONGEST = 150

Group = tuple[str | None, ...]

UNKNOWN = Interval(None, None, None)


@dataclass(frozen=True, slots=True)
class Rate:
    """Failures per 100 section-years with exact 95 % limits."""

    per_100_section_years: float | None = None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Survival:
    """The share of coats that last longer than ``years``, with its 95 % interval."""

    years: float
    survival: float
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Life:
    """The age that half of the coats outlive; None: not reached."""

    years: float | None = None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Weibull:
    """S(t) = exp(-(t / scale) ** shape); scale and median in years."""

    shape: Interval = UNKNOWN
    scale: Interval = UNKNOWN
    median: Interval = UNKNOWN


@dataclass(frozen=True, slots=True)
class GroupRates:
    """One group's failures, in the contract's shape."""

    group: dict[str, str | None]
    coats: int
    section_years: float
    failures: int
    rate: Rate
    survival: tuple[Survival, ...]
    median_life: Life
    weibull: Weibull
    note: str


@dataclass(frozen=True, slots=True)
class FailureRates(Told):
    """Every group's failures, and whether the groups differ."""

    as_of: dt.date
    threshold: float
    groups: tuple[GroupRates, ...]
    test: TestResult

    def curves(self) -> list[dict[str, Any]]:
        """One row for each group and age, from nought on; none for a group without a curve."""
        start = Survival(0.0, 1.0, None, None)
        return [
            {"group": one.group, "coats": one.coats, "failures": one.failures, **asdict(point)}
            for one in self.groups
            if one.survival
            for point in (start, *one.survival)
        ]


@dataclass(frozen=True, slots=True)
class GroupLoss(Told):
    """How fast one group's coats lose area: the share of the coat that comes loose or falls in a year."""

    group: dict[str, str | None]
    coats: int
    section_years: float
    rate_per_year: Interval
    unit: str
    method: str
    note: str


def failure_rates(
    by: Sequence[str], group: Sequence[Group], lives: Lives, house: IntArray, as_of: dt.date, threshold: float
) -> FailureRates:
    """Failures of coats (n,) by ``group``, of ``house`` each, with the test between the groups."""
    names, place = places(group)
    watched, own = lives.at_risk, [place == one for one in range(len(names))]
    lifetimes = [_lifetimes(lives, house, watched & mine) for mine in own]
    fits = iter(fit_weibulls([lived for lived in lifetimes if len(lived) >= LEAST_COATS]))
    groups = [
        _group_rates(dict(zip(by, name, strict=True)), lives, mine, lived, fits)
        for name, mine, lived in zip(names, own, lifetimes, strict=True)
    ]
    pooled = _lifetimes(lives, house, watched)
    return FailureRates(as_of, threshold, tuple(groups), log_rank(pooled, place[watched]))


def places(group: Sequence[Group]) -> tuple[list[Group], IntArray]:
    """The groups in order, those without a value last, and each coat's place (n,) among them."""
    names = sorted(set(group), key=lambda name: [(value is None, value or "") for value in name])
    order = {name: place for place, name in enumerate(names)}
    return names, np.array([order[name] for name in group], dtype=np.int64)


def _group_rates(
    group: dict[str, str | None], lives: Lives, own: BoolArray, lifetimes: Lifetimes, fits: Iterator[LifeFit]
) -> GroupRates:
    """What the ``own`` coats (n,) tell; a group of enough of them takes its fit from ``fits``."""
    watched = own & lives.at_risk
    coats, years = int(watched.sum()), float(lives.years[watched].sum())
    failures = int((lives.state[watched] == FAILED).sum())
    notes = _notes(lives, own, watched)
    if coats < LEAST_COATS:
        note = " ".join(["Too few: under five coats tell no rate.", *notes])
        return GroupRates(group, coats, years, failures, Rate(), (), Life(), Weibull(), note)
    per = rate(failures, years / 100)
    fit = next(fits)
    curve = turnbull(lifetimes)
    middle = median_life(curve)
    if not failures:
        notes.insert(0, "No failure was seen, so that only limits are known.")
    return GroupRates(
        group,
        coats,
        years,
        failures,
        Rate(per.estimate, per.low, per.high),
        _curve(curve, lifetimes),
        Life(middle.estimate, middle.low, middle.high),
        Weibull(fit.shape, fit.scale, fit.median),
        " ".join(notes),
    )


def _notes(lives: Lives, own: BoolArray, watched: BoolArray) -> list[str]:
    before = int((own & ~watched).sum())
    unseen = int((watched & (lives.state == STANDING) & (lives.surveys == 0)).sum())
    notes = []
    if before:
        had = "1 more had" if before == 1 else f"{before:,} more had"
        notes.append(f"{had} failed before it was first seen sound, and is not counted.")
    if unseen:
        was = "1 was" if unseen == 1 else f"{unseen:,} were"
        notes.append(f"{was} never sounded and measured in full, and adds no years.")
    worn = int((watched & lives.sacrificial).sum())
    if worn:
        are = "1 is" if worn == 1 else f"{worn:,} are"
        notes.append(f"{are} sacrificial: of that only what has fallen counts, not what sounds hollow.")
    return notes


def _lifetimes(lives: Lives, house: IntArray, which: BoolArray) -> Lifetimes:
    """The lives of some coats; of many, to a twenty-fourth of a year."""
    entry, low, high = lives.entry[which], lives.low[which], lives.high[which]
    if len(entry) > MANY:
        entry, low = np.floor(entry * GRID) / GRID, np.floor(low * GRID) / GRID
        high = np.maximum(np.floor(high * GRID), np.floor(low * GRID) + 1) / GRID
    return Lifetimes(entry, low, high, house[which])


def _curve(curve: Npmle, lifetimes: Lifetimes) -> tuple[Survival, ...]:
    ends = np.where(lifetimes.failed, lifetimes.high, lifetimes.low)
    years = np.arange(1.0, min(float(ends.max(initial=0.0)), LONGEST) + 1e-9)
    band = survival(curve, years)
    known = np.isfinite(band.survival)
    # No curve rises again, so neither need its limits; where one coat decides, that widens them.
    low = np.fmin.accumulate(band.low[known])
    high = np.fmax.accumulate(band.high[known][::-1])[::-1]
    rows = zip(years[known].tolist(), band.survival[known].tolist(), low.tolist(), high.tolist(), strict=True)
    return tuple(Survival(year, share, _known(least), _known(most)) for year, share, least, most in rows)


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def deterioration_rates(
    by: Sequence[str], group: Sequence[Group], lives: Lives, house: IntArray
) -> tuple[GroupLoss, ...]:
    """Growth of the affected share a year, of coats (n,) by ``group``, of ``house`` each."""
    names, place = places(group)
    return tuple(
        _group_loss(dict(zip(by, name, strict=True)), lives, house, place == one)
        for one, name in enumerate(names)
    )


def _group_loss(group: dict[str, str | None], lives: Lives, house: IntArray, own: BoolArray) -> GroupLoss:
    told = own & np.isfinite(lives.lost)
    coats, years = int(told.sum()), float(lives.watched[told].sum())
    unit, silent = "share_per_year", int(own.sum()) - coats
    was = "was" if silent == 1 else "were"
    notes = [f"{silent:,} {was} not surveyed in full often enough."] if silent else []
    if coats < LEAST_COATS:
        note = " ".join(["Too few: under five coats tell no rate.", *notes])
        return GroupLoss(group, coats, years, UNKNOWN, unit, "", note)
    found, units = loss_rate(lives.lost[told], lives.watched[told], house[told])
    method = f"all that was lost over all years watched; interval by {units}"
    if units == COATS:
        notes.append("All stand in one house: what is peculiar to it can't be told from the coat.")
    return GroupLoss(group, coats, years, found, unit, method, " ".join(notes))


HOUSES, COATS = "houses", "coats"


def loss_rate(lost: FloatArray, years: FloatArray, house: IntArray) -> tuple[Interval, str]:
    """Sum of ``lost`` over sum of ``years`` (n,) with its 95 % interval, and what that took for independent.

    The variance of a ratio of cluster totals by linearisation (Cochran 1977), with Student's t of the houses
    less one; of coats where all are of one house. A share doesn't grow back: the interval stays above zero.
    """
    _, cluster = np.unique(house, return_inverse=True)
    units = HOUSES
    if cluster.max() == 0:
        cluster, units = np.arange(len(lost)), COATS
    total = float(years.sum())
    ratio = float(lost.sum()) / total
    residual = np.bincount(cluster, weights=lost - ratio * years)
    m = len(residual)
    error = np.sqrt(m / (m - 1) * float(residual @ residual)) / total
    reach = float(stdtrit(m - 1, 0.975)) * float(error)
    return Interval(max(ratio, 0.0), max(ratio - reach, 0.0), max(ratio + reach, 0.0)), units
