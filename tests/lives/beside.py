"""Judges what sets coats beside each other, on simulated books whose truth is known.

``python -m tests.lives.beside`` says how often the 95 % intervals hold the truth and how far estimates lie
off, beside the crude comparison of the same books: failures at like ages, lives on like walls, what has
become of coats, and lives from planned visits where failures bring visits of their own. Invented throughout.
"""

from __future__ import annotations

import argparse
import datetime as dt
import math
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from inspections.analysis.adjusted import like_for_like
from inspections.analysis.agerates import age_rates
from inspections.analysis.failures import FAILED, STANDING, Lives, lives
from inspections.analysis.fates import fates
from inspections.analysis.lifechecks import PLANNED_VISITS, RECORDED, Book, LifeCheck, life_checks, on_rounds
from inspections.analysis.lifetimes import IntArray, Interval
from inspections.analysis.records import FloatArray
from tests.lives.simulated import LAST, THRESHOLD, Plan, simulate

DAY = dt.date(2020, 1, 1)
Grouped = tuple[list[tuple[str]], Lives, IntArray]


@dataclass
class Tally:
    """How many intervals held, and the errors of estimates (in logs, where they are factors)."""

    held: list[bool] = field(default_factory=list)
    off: list[float] = field(default_factory=list)

    def add(self, interval: Interval, truth: float, *, logs: bool = True) -> None:
        if interval.estimate is None:
            return
        low, high = interval.low or 0.0, math.inf if interval.high is None else interval.high
        self.held.append(low <= truth <= high)
        off = math.log(interval.estimate / truth) if logs else interval.estimate - truth
        self.off.append(off)

    def __str__(self) -> str:
        return f"{np.mean(self.held):.3f} of {len(self.held)}, {np.mean(self.off):+.3f}"


# Like ages -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Ages:
    """Coats A, mostly new, and B, mostly found old; at each age B fails ``often`` times as often as A."""

    often: float = 0.5
    coats: int = 200
    shape: float = 2.5
    gap: float = 1.0
    frailty: float = 0.0
    found: float = 0.8


AGES = {
    "B half as often, found old": Ages(),
    "no difference, found old": Ages(often=1.0),
    "visits every three years": Ages(gap=3.0),
    "60 coats": Ages(coats=60),
    "B twice as often, both new": Ages(often=2.0, found=0.2),
    "failures by chance (shape 1)": Ages(shape=1.0),
    "houses alike (log lives 0.3), 400 coats": Ages(frailty=0.3, coats=400),
}


def aged(plan: Ages, seed: int) -> Grouped:
    """One book of coats as the visits show them."""
    random = np.random.default_rng(seed)
    n = plan.coats
    house = np.arange(n) // 8
    houses = int(house.max()) + 1
    second = random.random(n) < 0.5
    frail = np.exp(plan.frailty * random.normal(size=houses))[house]
    scale = 18.0 * np.where(second, plan.often ** (-1 / plan.shape), 1.0) * frail
    old = random.random(n) < np.where(second, plan.found, 0.2)
    entry = np.where(old, np.where(second, random.uniform(5, 25, n), random.uniform(2, 15, n)), 0.0)
    # Lives of coats that had lasted until they were found.
    life = scale * ((entry / scale) ** plan.shape + random.exponential(size=n)) ** (1 / plan.shape)
    end = entry + random.uniform(4, 15, n)
    steps = np.cumsum(plan.gap * random.uniform(0.6, 1.4, (houses, 60)), axis=1)[house]
    seen = np.column_stack([entry, entry[:, None] + steps])
    seen = np.where(seen <= end[:, None], seen, np.inf)
    row, after = np.arange(n), (seen < life[:, None]).sum(axis=1)
    return _grouped(second, entry, seen[row, after - 1], seen[row, np.minimum(after, 60)], house)


def _grouped(
    second: FloatArray, entry: FloatArray, low: FloatArray, high: FloatArray, house: IntArray
) -> Grouped:
    failed = np.isfinite(high)
    years = np.where(failed, (low + np.where(failed, high, low)) / 2, low) - entry
    nothing = np.zeros(len(low))
    state = np.where(failed, FAILED, STANDING)
    found = Lives(entry, low, high, state, years, nothing, nothing, np.ones(len(low), dtype=np.int64))
    return [("B",) if one else ("A",) for one in second], found, house


def _of_second(interval: Interval, is_second: bool) -> Interval:
    """B over A, whichever was the reference."""
    if is_second:
        return interval
    ends = (interval.estimate, interval.high, interval.low)
    return Interval(*(None if not end else 1 / end for end in ends))


def judge_ages(plan: Ages, books: int, first: int = 1) -> tuple[Tally, Tally]:
    """At like ages, and crude."""
    alike, crude = Tally(), Tally()
    for seed in range(first, first + books):
        rows = age_rates(("coat",), *aged(plan, seed), DAY).alike
        for row in rows:
            if row.group != row.reference and row.times_as_often.estimate:
                second = row.group["coat"] == "B"
                alike.add(_of_second(row.times_as_often, second), plan.often)
                crude.add(_of_second(row.crude, second), plan.often)
    return alike, crude


# Like walls ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Walls:
    """Coats A and B, of which B lasts ``truly`` times as long, and gets the wetter walls and thinner coats.

    ``missing``: share of walls whose dampness, and coats whose thickness, nobody wrote down; of B three times
    as often as of A where it is ``unequal``.
    """

    truly: float = 1.3
    coats: int = 240
    missing: float = 0.4
    unequal: bool = False
    frailty: float = 0.0
    watched: float = 18.0


WALLS = {
    "all known": Walls(missing=0.0),
    "four in ten not known": Walls(),
    "more often not known of one coat": Walls(unequal=True),
    "80 coats": Walls(coats=80),
    "no difference": Walls(truly=1.0),
    "80 coats, watched for nine years": Walls(coats=80, watched=9.0),
    "houses alike (log lives 0.2), 480 coats": Walls(frailty=0.2, coats=480),
}


def walled(plan: Walls, seed: int) -> tuple[Grouped, dict[str, FloatArray]]:
    """One book, and the walls' dampness and coats' log thickness; NaN where not written down."""
    random = np.random.default_rng(seed)
    n = plan.coats
    house = np.arange(n) // 6
    damp = random.normal(size=n)
    second = random.random(n) < 1 / (1 + np.exp(-1.2 * damp))
    thick = math.log(15) + 0.3 * random.normal(size=n) - 0.15 * second
    frail = plan.frailty * random.normal(size=int(house.max()) + 1)[house]
    life = 16 * random.weibull(2.5, n) * np.exp(0.5 * (thick - math.log(15)) - 0.25 * damp + frail)
    life = life * np.where(second, plan.truly, 1.0)
    low = np.floor(np.minimum(life, plan.watched))
    high = np.where(life < plan.watched, low + 1, np.inf)
    share = np.where(second, 1.5, 0.5) * plan.missing if plan.unequal else np.full(n, plan.missing)
    gone = random.random((2, n)) < share
    measures = {"dampness": np.where(gone[0], np.nan, damp), "thickness": np.where(gone[1], np.nan, thick)}
    return _grouped(second, np.zeros(n), low, high, house), measures


def judge_walls(plan: Walls, books: int, first: int = 1) -> tuple[Tally, Tally]:
    """On like walls, and crude."""
    alike, crude = Tally(), Tally()
    for seed in range(first, first + books):
        (group, found, house), measures = walled(plan, seed)
        beside = like_for_like(group, found, house, {}, measures)
        if beside is not None:
            (one,) = beside.times
            alike.add(_of_second(beside.times[one], one == ("B",)), plan.truly)
            crude.add(_of_second(beside.crude[one], one == ("B",)), plan.truly)
    return alike, crude


# What becomes of coats, and which visits tell of it ---------------------------------------------------------

FATES = {
    "a tenth a year taken off": Plan(planned=0.6, coats=160),
    "60 coats": Plan(planned=0.6),
    "houses alike (log lives 0.2)": Plan(planned=0.3, coats=160, frailty=0.2),
}
VISITS = {
    "eight in ten failures noticed": Plan(gap=3.0, prompted=0.8, unsounded=0.0),
    "none noticed": Plan(gap=3.0, unsounded=0.0),
}


def fate(plan: Plan, years: float) -> tuple[float, float]:
    """The shares that truly have failed, and were taken off before, by an age."""
    at = (np.arange(4000) + 0.5) / 4000 * years
    density = plan.shape / plan.scale * (at / plan.scale) ** (plan.shape - 1)
    density *= np.exp(-((at / plan.scale) ** plan.shape))
    taken = plan.planned / 6
    failed = float((np.exp(-taken * at) * density).mean() * years)
    return failed, 1 - failed - math.exp(-taken * years - (years / plan.scale) ** plan.shape)


def judge_fates(plan: Plan, books: int, first: int = 1) -> tuple[Tally, Tally]:
    """Shares that failed, and that were taken off, at 5, 10 and 15 years."""
    failed, taken = Tally(), Tally()
    for seed in range(first, first + books):
        book = simulate(plan, seed)
        found = lives(book.coats, book.areas, book.mended, THRESHOLD)
        house = book.house.astype(np.int64)
        for row in fates((), [()] * len(book.coats), book.coats, found, house, LAST):
            if row.years in (5, 10, 15):
                truths = fate(plan, row.years)
                failed.add(row.failed, truths[0], logs=False)
                taken.add(row.taken_off, truths[1], logs=False)
    return failed, taken


def judge_visits(plan: Plan, books: int, first: int = 1) -> tuple[Tally, Tally, float]:
    """Median lives from all visits and from planned ones alone, and how often they are said to differ."""
    truth = plan.scale * math.log(2) ** (1 / plan.shape)
    tallies, differ = {RECORDED: Tally(), PLANNED_VISITS: Tally()}, []
    for seed in range(first, first + books):
        for check in checked(plan, seed):
            if check.case in tallies:
                tallies[check.case].add(check.rates.weibull.median, truth)
            if check.case == PLANNED_VISITS:
                differ.append(check.differs is True)
    return tallies[RECORDED], tallies[PLANNED_VISITS], float(np.mean(differ))


def checked(plan: Plan, seed: int) -> tuple[LifeCheck, ...]:
    """One book of one group, found in all ways."""
    book = simulate(plan, seed)
    house = book.house.astype(np.int64)
    found = lives(book.coats, book.areas, book.mended, THRESHOLD)
    told = Book(book.coats, book.areas, book.mended, THRESHOLD, found, [()] * len(book.coats), house)
    return life_checks((), told, on_rounds(book.coats, house, book.areas), DAY)


def told(books: int, first: int) -> Iterator[str]:
    yield "like ages | times as often | crude"
    for name, ages in AGES.items():
        yield " | ".join((name, *map(str, judge_ages(ages, books, first))))
    yield "like walls | times as long | crude"
    for name, walls in WALLS.items():
        yield " | ".join((name, *map(str, judge_walls(walls, books, first))))
    yield "what becomes of coats | failed | taken off"
    for name, plan in FATES.items():
        yield " | ".join((name, *map(str, judge_fates(plan, books, first))))
    yield "visits | all | planned alone | said to differ"
    for name, plan in VISITS.items():
        every, planned, differ = judge_visits(plan, books, first)
        yield f"{name} | {every} | {planned} | {differ:.3f}"


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--books", type=int, default=200)
    options.add_argument("--first", type=int, default=1)
    asked = options.parse_args()
    for line in told(asked.books, asked.first):
        print(line, flush=True)


if __name__ == "__main__":
    main()
