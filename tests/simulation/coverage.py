"""How often intervals hold the truth: ``python -m tests.simulation.coverage [--series N]``.

Rates, pooled rates and first passages, at 12, 24 and 60 visits (and rates at 6), each on two generators of
different structure. Prints a table in Markdown; its last column is what chance would let a true 95 % do.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from inspections.analysis.passage import HORIZON, first_passage
from inspections.analysis.pooling import error_of, pooled_rates
from inspections.analysis.records import YEAR, FloatArray
from inspections.analysis.trends import strongest

START = 12000.0
#: Visits and visits a year: half-yearly rounds, and the quarterly ones of a wall that is watched.
VISITS = ((6, 2), (12, 2), (24, 2), (60, 4))
#: Days over which errors last, by generator; drawn for each wall.
LASTING, RAIN = (0.0, 30.0, 90.0, 180.0), (30.0, 90.0, 180.0)
#: Series that share their days, as the walls of a house do, and sections of one pool.
HOUSE, POOL = 10, 20
#: Houses of a pool, and by how much their mean rates differ (a standard deviation; sections by 0.1).
HOUSES, HOUSE_SPREADS = 5, (0.0, 0.1, 0.3)
THRESHOLD = 0.10

Random = np.random.Generator
Simulate = Callable[[Random, FloatArray, FloatArray], FloatArray]


@dataclass(frozen=True, slots=True)
class Coverage:
    """How many of the intervals there were held the truth; ``none`` series had no interval."""

    what: str
    generator: str
    visits: int
    held: int
    intervals: int
    none: int

    def as_row(self) -> str:
        error = 1.96 * np.sqrt(0.95 * 0.05 / max(self.intervals, 1))
        share = f"{self.held / self.intervals:.3f}" if self.intervals else "none"
        limits = f"{0.95 - error:.3f} to {min(0.95 + error, 1):.3f}"
        cells = (self.what, self.generator, self.visits, share, self.intervals, self.none, limits)
        return f"| {' | '.join(map(str, cells))} |"


def lasting(random: Random, time: FloatArray, rate: FloatArray) -> FloatArray:
    """Cosine of the year, errors of which most last for a while, now and then an outlier."""
    shape = (len(rate), len(time))
    tau = random.choice(LASTING)
    rho = np.exp(-np.abs(np.subtract.outer(time, time)) / tau) if tau else np.eye(len(time))
    root = np.linalg.cholesky(0.7 * rho + 0.3 * np.eye(len(time)))
    noise = random.normal(size=shape) @ root.T + (random.random(shape) < 0.02) * random.normal(0, 4, shape)
    return rate[:, None] * (time - time[0]) / YEAR + 2 * np.cos(2 * np.pi * (time - 40) / YEAR) + noise


def rained(random: Random, time: FloatArray, rate: FloatArray) -> FloatArray:
    """A leaky store of weekly rain under a level with two seasons; noise in proportion, read to a tenth."""
    weeks = int((time[-1] - time[0]) / 7) + 160
    kept = np.exp(-7 / random.choice(RAIN))
    rain = random.gamma(0.7, 1 / 0.7, (len(rate), weeks))
    store = np.zeros((len(rate), weeks))
    for week in range(1, weeks):
        store[:, week] = kept * store[:, week - 1] + (1 - kept) * rain[:, week]
    held = store[:, ((time - time[0]) / 7).astype(int) + 150]
    season = np.where((time / YEAR + 0.25) % 1 < 0.4, 1.5, -1.5)
    level = 10 + rate[:, None] * (time - time[0]) / YEAR + season + held / store[:, 150:].std()
    return np.round(level * (1 + 0.04 * random.normal(size=level.shape)), 1)


def wearing(random: Random, years: FloatArray, rate: float) -> FloatArray:
    """Monthly growth of a share by gamma increments, of one to eight jumps a year."""
    jumps = random.choice([1.0, 3.0, 8.0])
    return random.gamma(jumps / 12, rate / jumps, len(years))


def patching(random: Random, years: FloatArray, rate: float) -> FloatArray:
    """Monthly growth by patches that fall at random, of lognormal sizes."""
    often = random.choice([1.0, 2.0, 4.0])
    count = random.poisson(often / 12, len(years))
    sizes = [random.lognormal(np.log(rate / often) - 0.32, 0.8, n).sum() for n in count]
    return np.array(sizes)


GENERATORS: dict[str, Simulate] = {"lasting errors": lasting, "store of rain": rained}
LOSSES: dict[str, Callable[[Random, FloatArray, float], FloatArray]] = {
    "gamma increments": wearing,
    "falling patches": patching,
}


def days(random: Random, visits: int, per_year: int) -> FloatArray:
    """Visits three weeks about their due day."""
    due = START + 60 + np.arange(visits) * YEAR / per_year
    return np.sort(np.floor(due + random.uniform(-20, 20, visits)))


def rates(generator: str, visits: int, per_year: int, series: int, seed: int = 1) -> Iterator[Coverage]:
    """Coverage of each series' own rate, and of rates pooled over groups of :data:`POOL`."""
    random = np.random.default_rng(seed)
    own: list[tuple[float, float, float]] = []
    pools: list[tuple[float, float, float]] = []
    for _ in range(max(series // POOL, 1)):
        truth = random.normal(0.3, random.choice([0.0, 0.1, 0.3]), POOL)
        found = []
        for house in range(0, POOL, HOUSE):
            time = days(random, visits, per_year)
            values = GENERATORS[generator](random, time, truth[house : house + HOUSE])
            found += strongest([(time, value, value, value) for value in values])
        rate, low, high = (
            np.array([getattr(one, n) for one in found]) for n in ("rate_per_year", "low", "high")
        )
        own += zip(truth, low, high, strict=True)
        pooled = pooled_rates(rate, error_of(low, high))
        if pooled is not None:
            pools += zip(truth, pooled.low, pooled.high, strict=True)
    yield _held("rate", generator, visits, own)
    yield _held("pooled rate", generator, visits, pools)


def alike(generator: str, visits: int, per_year: int, series: int, seed: int = 1) -> Iterator[Coverage]:
    """Coverage of rates pooled over :data:`HOUSES` houses of like sections: houses alike by so much."""
    for spread in HOUSE_SPREADS:
        random = np.random.default_rng(seed)
        found: list[tuple[float, float, float]] = []
        house = np.repeat(np.arange(HOUSES), POOL // HOUSES)
        for _ in range(max(series // POOL, 1)):
            truth = 0.3 + random.normal(0, spread, HOUSES)[house] + random.normal(0, 0.1, POOL)
            own = []
            for number in range(HOUSES):
                time = days(random, visits, per_year)
                values = GENERATORS[generator](random, time, truth[house == number])
                own += strongest([(time, value, value, value) for value in values])
            rate, low, high = (
                np.array([getattr(one, n) for one in own]) for n in ("rate_per_year", "low", "high")
            )
            pooled = pooled_rates(rate, error_of(low, high), house)
            if pooled is not None:
                found += zip(truth, pooled.low, pooled.high, strict=True)
        yield _held(f"pooled rate, houses alike by {spread:g}", generator, visits, found)


def passages(generator: str, visits: int, per_year: int, series: int, seed: int = 1) -> Coverage:
    """Coverage of first passages of walls that show a loss and have not reached the threshold."""
    random = np.random.default_rng(seed)
    months = np.arange(0, 90, 1 / 12)
    found: list[tuple[float, float, float]] = []
    while len(found) < series:
        years = (days(random, visits, per_year) - START) / YEAR
        begun, rate = (
            random.uniform(0, 0.8 * years[-1]),
            float(np.exp(random.uniform(np.log(0.002), np.log(0.06)))),
        )
        share = np.cumsum(np.where(months < begun, 0.0, LOSSES[generator](random, months, rate)))
        seen = np.interp(years, months, share)
        if not 0.01 < seen[-1] < THRESHOLD:
            continue
        read = np.maximum(
            seen * (1 + 0.1 * random.normal(size=visits)) + 0.003 * random.normal(size=visits), 0
        )
        now = START + years[-1] * YEAR
        passage = first_passage(START + years * YEAR, read, THRESHOLD, now, chances=(0.025, 0.5, 0.975))
        assert passage is not None
        passed = START + months[np.argmax(share >= THRESHOLD)] * YEAR if share[-1] >= THRESHOLD else np.inf
        # Beyond the horizon all days are one answer.
        beyond = now + HORIZON * YEAR
        found.append((min(passed, beyond), min(passage.early, beyond), min(passage.late, beyond)))
    return _held("first passage", generator, visits, found)


def _held(what: str, generator: str, visits: int, found: list[tuple[float, float, float]]) -> Coverage:
    table = np.array(found, dtype=float).reshape(-1, 3)
    known = np.isfinite(table).all(axis=1)
    truth, low, high = table[known].T
    return Coverage(
        what,
        generator,
        visits,
        int(((low <= truth) & (truth <= high)).sum()),
        int(known.sum()),
        int((~known).sum()),
    )


def evaluate(series: int) -> Iterator[Coverage]:
    for generator in GENERATORS:
        for visits, per_year in VISITS:
            yield from rates(generator, visits, per_year, series)
            yield from alike(generator, visits, per_year, series)
    for loss in LOSSES:
        for visits, per_year in VISITS[1:]:
            yield passages(loss, visits, per_year, series)


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--series", type=int, default=1000, help="series of each kind")
    options = parser.parse_args()
    print(
        "| interval of 95 % | generator | visits | holds | of | no interval | chance |\n"
        "|---|---|---|---|---|---|---|"
    )
    for coverage in evaluate(options.series):
        print(coverage.as_row(), flush=True)


if __name__ == "__main__":
    main()
