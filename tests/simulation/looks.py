"""Find and judge the flags' limits over repeated looks: ``python -m tests.simulation.looks``.

Every wall of simulated portfolios is looked at twice a year for as long as it is under care, by what was
known then, and the truth of each look is the simulator's. The limits are the least levels at which the upper
95 % limit of the false openings stays within the bound on each generator of the calibration, and the false
share within its bound over all of them (seeds from FIRST_SEED on); then they are judged on other seeds, and
on the generator that no calibration ever sees.

An opening is false where the flag's verdict is not the truth of that look. An open flag is false if its
verdict was the truth at no look since a year before it opened: one that outlasts a mended leak led to it. A
spell of truth counts where it lasts two looks or more; it is found if its flag is open at one of them.
"""

from __future__ import annotations

import argparse
import datetime as dt
import importlib
from collections import defaultdict
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.stats import chi2

from inspections.analysis.alarms import FALSE_OPENINGS, FALSE_SHARE, LIMITS, Limits, is_open
from inspections.analysis.assessment import Judged, judge
from inspections.analysis.records import BuildingRecord, FloatArray
from inspections.analysis.results import HYPOTHESES
from tests.simulation.book import day_number, to_records
from tests.simulation.calibrate import FIRST_SEED, GENERATORS

BoolArray = npt.NDArray[np.bool_]

#: Days of the looks: spring and autumn, as a round is made.
LOOKS = tuple(day_number(dt.date(year, month, 15)) for year in range(2000, 2045) for month in (5, 11))
A_YEAR = 2
#: A house is looked at until so many days after its last reading.
AFTERWARDS = 200
#: Share that has fallen under which a find is early.
EARLY = 0.01
#: Levels that are tried, and the level under which a flag closes as a share of that at which it opens.
OPENING = (0.35, 0.40, 0.45, 0.50, 0.55, 0.60, 0.65, 0.70, 0.75, 0.80, 0.85, 0.90)
CLOSING = 0.7


@dataclass(frozen=True, slots=True)
class Watched:
    """One section's looks in time: probabilities (n, K), and the verdict and truth as indices (n,).

    The verdict is -1 where there was none; ``lost`` (n,) is the share of the coat that had fallen, and
    ``vectors`` (n, F) are the statistics behind the probabilities.
    """

    probability: FloatArray
    verdict: npt.NDArray[np.int64]
    truth: npt.NDArray[np.int64]
    lost: FloatArray
    vectors: FloatArray


def watched_portfolio(generator: str, seed: int, **size: int) -> list[Watched]:
    """Simulate one portfolio (of this ``size``) and look at each of its walls twice a year."""
    book = importlib.import_module(f"tests.simulation.{generator}").simulate(seed, truth_days=LOOKS, **size)
    truth: dict[tuple[str, str], dict[int, tuple[int, float]]] = defaultdict(dict)
    for row in book.truth:
        day = day_number(dt.date.fromisoformat(str(row["date"])))
        known = (HYPOTHESES.index(str(row["truth"])), float(str(row["lost_fraction"])))
        truth[str(row["building"]), str(row["section"])][day] = known
    found = []
    for house in to_records(book):
        looks = _looks(house)
        for section in house.sections:
            own = truth[house.code, section.code]
            days = [day for day in sorted(own) if day in looks]
            if days:
                seen = [looks[day][section.code] for day in days]
                states, lost = zip(*(own[day] for day in days), strict=True)
                found.append(
                    Watched(
                        probability=np.array(
                            [[one.posterior.probability[k] for k in HYPOTHESES] for one in seen]
                        ),
                        verdict=np.array([_index(one.verdict) for one in seen]),
                        truth=np.array(states),
                        lost=np.array(lost),
                        vectors=np.array([one.features.vector for one in seen]),
                    )
                )
    return found


def _looks(house: BuildingRecord) -> dict[int, dict[str, Judged]]:
    """What was judged, by day and section."""
    times = np.concatenate([section.readings.time for section in house.sections])
    if not len(times):
        return {}
    days = [day for day in LOOKS if times.min() <= day <= times.max() + AFTERWARDS]
    return {day: {own.section.code: own for own in judge(house.until(day), day)[1]} for day in days}


def _index(verdict: str) -> int:
    return HYPOTHESES.index(verdict) if verdict in HYPOTHESES else -1


def watched_portfolios(generator: str, seeds: Iterable[int], jobs: int = 2) -> list[Watched]:
    """The walls of many portfolios, by ``jobs`` processes."""
    seeds = list(seeds)
    with ProcessPoolExecutor(jobs) as pool:
        parts = list(pool.map(watched_portfolio, [generator] * len(seeds), seeds))
    return [wall for part in parts for wall in part]


@dataclass(frozen=True, slots=True)
class Judgement:
    """What a kind of flag did over many walls. Rates per 100 section-years in which it was not the truth."""

    section_years: float
    false_openings: int
    openings: int
    reopened: int
    open_looks: int
    open_falsely: int
    spells: int
    spells_found: int
    found_early: int
    delay_years: float

    @property
    def rate(self) -> float:
        return 100 * self.false_openings / self.section_years

    @property
    def limits_of_rate(self) -> tuple[float, float]:
        """Exact 95 % limits (Garwood 1936)."""
        n = self.false_openings
        low = chi2.ppf(0.025, 2 * n) / 2 if n else 0.0
        return 100 * low / self.section_years, 100 * chi2.ppf(0.975, 2 * n + 2) / 2 / self.section_years

    @property
    def false_share(self) -> float:
        """Of the open flags at a look, the share that is false: the false discovery share."""
        return self.open_falsely / self.open_looks if self.open_looks else 0.0

    def __str__(self) -> str:
        low, high = self.limits_of_rate
        return (
            f"{self.rate:.2f} ({low:.2f} to {high:.2f}) false per 100 section-years "
            f"({self.false_openings} in {self.section_years:.0f}); of open flags "
            f"{self.false_share:.2f} false; {self.reopened} of {self.openings} openings were reopenings; "
            f"spells found {self.spells_found} of {self.spells}, {self.found_early} early, after "
            f"{self.delay_years:.1f} years on average"
        )


def judgement(walls: list[Watched], verdict: str, limits: Limits) -> Judgement:
    """What flags of one verdict would have done under ``limits``."""
    own = HYPOTHESES.index(verdict)
    total = np.zeros(9)
    waits: list[float] = []
    for wall in walls:
        so = wall.truth == own
        state = course(wall, own, limits)
        opened = state & ~np.append(False, state[:-1])
        runs = list(
            zip(np.flatnonzero(opened), np.flatnonzero(state & ~np.append(state[1:], False)) + 1, strict=True)
        )
        starts = np.flatnonzero(so & ~np.append(False, so[:-1]))
        ends = np.flatnonzero(so & ~np.append(so[1:], False)) + 1
        spells = [(a, b) for a, b in zip(starts, ends, strict=True) if b - a >= 2]
        finds = [(a, a + int(np.argmax(state[a:b]))) for a, b in spells if state[a:b].any()]
        waits += [(found - start) / A_YEAR for start, found in finds]
        total += [
            (~so).sum() / A_YEAR,
            (opened & ~so).sum(),
            opened.sum(),
            max(int(opened.sum()) - 1, 0),
            state.sum(),
            sum(b - a for a, b in runs if not so[max(a - A_YEAR, 0) : b].any()),
            len(spells),
            len(finds),
            sum(wall.lost[found] < EARLY for _, found in finds),
        ]
    counts = [int(count) for count in total[1:]]
    return Judgement(float(total[0]), *counts, float(np.mean(waits)) if waits else np.nan)


def course(wall: Watched, own: int, limits: Limits) -> BoolArray:
    """Whether the flag of hypothesis ``own`` is open after each look, if nobody answers it."""
    state, found = False, []
    for chance, verdict in zip(wall.probability[:, own], wall.verdict, strict=True):
        state = is_open(state, float(chance), bool(verdict == own), limits)
        found.append(state)
    return np.array(found)


def least_limits(by_generator: dict[str, list[Watched]], verdict: str) -> Limits:
    """The least level of opening that keeps within both bounds: see :mod:`inspections.analysis.alarms`."""
    everywhere = [wall for walls in by_generator.values() for wall in walls]
    for opens in OPENING:
        limits = Limits(opens, round(CLOSING * opens + 0.001, 2))
        highest = max(judgement(walls, verdict, limits).limits_of_rate[1] for walls in by_generator.values())
        if highest <= FALSE_OPENINGS and judgement(everywhere, verdict, limits).false_share <= FALSE_SHARE:
            return limits
    raise ValueError(f"no level keeps the false openings of {verdict} within the bound")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--portfolios", type=int, default=6, help="portfolios of each generator")
    parser.add_argument("--first", type=int, default=401, help="first seed to judge by")
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    n = options.portfolios
    chosen_on = {
        name: watched_portfolios(name, range(FIRST_SEED + 500, FIRST_SEED + 500 + n), options.jobs)
        for name in GENERATORS
    }
    for verdict, used in LIMITS.items():
        print(f"{verdict}: used {used}, least within the bound {least_limits(chosen_on, verdict)}")
    for name in (*GENERATORS, "holdout"):
        walls = watched_portfolios(name, range(options.first, options.first + n), options.jobs)
        print(f"== {name}: {len(walls)} walls, {sum(len(wall.truth) for wall in walls)} looks")
        for verdict, used in LIMITS.items():
            print(f"{verdict}: {judgement(walls, verdict, used)}")


if __name__ == "__main__":
    main()
