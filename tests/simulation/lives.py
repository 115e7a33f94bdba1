"""Books of coats with known lives; ``python -m tests.simulation.lives`` tells how often intervals hold them.

Coats of some houses, each house visited about once a year; some were found standing. Lives are Weibull with
the shape and scale asked for, whichever house they are in; coats of one house go together as a normal copula
says (Nelsen 2006, An Introduction to Copulas, sec. 2.3), so that the truth stays the same.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, fields

import numpy as np
from scipy.special import bdtr, ndtr

from inspections.analysis.groups import log_rank
from inspections.analysis.lifetimes import Interval, Lifetimes
from inspections.analysis.turnbull import median_life, survival, turnbull
from inspections.analysis.weibull import LifeFit, fit_weibull

#: Ages at which the curve's band is judged.
AGES = (5.0, 10.0, 15.0)


@dataclass(frozen=True)
class Books:
    """How a book is drawn: ``alike`` is the correlation of the normal scores of lives in one house."""

    houses: int = 20
    coats_a_house: int = 4
    shape: float = 2.0
    scale: float = 20.0
    alike: float = 0.0
    found: float = 0.3
    between_visits: float = 1.0
    watched_least: float = 4.0
    watched_most: float = 20.0

    def __str__(self) -> str:
        told = [f"{self.houses} × {self.coats_a_house} coats"]
        told += [
            f"{field.name} {getattr(self, field.name):g}"
            for field in fields(self)[2:]
            if getattr(self, field.name) != field.default
        ]
        return ", ".join(told)


CASES = (
    Books(),
    Books(houses=12, coats_a_house=2),
    Books(houses=50),
    Books(shape=1.2, scale=40.0),
    Books(shape=3.5, scale=18.0),
    Books(watched_least=2.0, watched_most=12.0, found=0.6),
    Books(alike=0.15),
    Books(alike=0.3),
    Books(houses=50, alike=0.3),
)


def book(random: np.random.Generator, books: Books) -> Lifetimes:
    """One book: lives as the visits show them."""
    house = np.repeat(np.arange(books.houses), books.coats_a_house)
    n = len(house)
    common = random.normal(size=books.houses)[house]
    normal = np.sqrt(books.alike) * common + np.sqrt(1 - books.alike) * random.normal(size=n)
    life = books.scale * (-np.log(ndtr(-normal))) ** (1 / books.shape)
    entry = np.where(random.random(n) < books.found, random.uniform(0, 12, n), 0.0)
    until = entry + random.uniform(books.watched_least, books.watched_most, books.houses)[house]
    standing = life > entry
    house, life, entry, until = (part[standing] for part in (house, life, entry, until))
    visits = int(1.5 * books.watched_most / books.between_visits) + 4
    steps = books.between_visits * random.uniform(0.7, 1.3, (books.houses, visits))
    seen = entry[:, None] + np.cumsum(steps, axis=1)[house]
    seen = np.column_stack([entry, np.where(seen <= until[:, None], seen, np.inf)])
    row, after = np.arange(len(life)), (seen < life[:, None]).sum(axis=1)
    return Lifetimes(entry, seen[row, after - 1], seen[row, after], house)


@dataclass
class Tally:
    """Of ``books``: how many intervals held the truth, lay above it, below it; and their mean widths."""

    books: int = 0
    held: int = 0
    above: int = 0
    below: int = 0
    widened: float = 0.0

    def add(self, interval: Interval, truth: float, widened: float = 1.0) -> None:
        low = -np.inf if interval.low is None else interval.low
        high = np.inf if interval.high is None else interval.high
        self.books += 1
        self.held += low <= truth <= high
        self.above += truth < low
        self.below += truth > high
        self.widened += widened

    @property
    def share(self) -> float:
        return self.held / self.books

    def within_limits(self, level: float = 0.95, sure: float = 0.999) -> bool:
        """Whether so few held the truth, or fewer, has a chance of over (1 - ``sure``) / 2 at that level."""
        return bool(bdtr(self.held, self.books, level) > (1 - sure) / 2)


def truths(books: Books) -> dict[str, float]:
    return {
        "shape": books.shape,
        "scale": books.scale,
        "median": books.scale * np.log(2) ** (1 / books.shape),
    }


def judge_weibull(books: Books, count: int, seed: int) -> tuple[dict[str, Tally], float]:
    """Tallies of shape, scale and median over ``count`` books, and the mean number of failures."""
    random = np.random.default_rng(seed)
    tallies = {name: Tally() for name in truths(books)}
    failures = 0
    for _ in range(count):
        lives = book(random, books)
        fit: LifeFit = fit_weibull(lives)
        failures += fit.failures
        for (name, truth), factor in zip(truths(books).items(), fit.clustering, strict=True):
            tallies[name].add(getattr(fit, name), truth, float(np.sqrt(factor)))
    return tallies, failures / count


def judge_curve(books: Books, count: int, seed: int) -> dict[str, Tally]:
    """Tallies of the curve's band at :data:`AGES` and of its median over ``count`` books."""
    random = np.random.default_rng(seed)
    tallies = {f"S({age:g})": Tally() for age in AGES} | {"median": Tally()}
    for _ in range(count):
        fit = turnbull(book(random, books))
        band = survival(fit, AGES)
        for age, low, high in zip(AGES, band.low, band.high, strict=True):
            truth = float(np.exp(-((age / books.scale) ** books.shape)))
            tallies[f"S({age:g})"].add(Interval(None, float(low), float(high)), truth)
        tallies["median"].add(median_life(fit), truths(books)["median"])
    return tallies


def false_alarms(books: Books, count: int, seed: int) -> float:
    """Share of tests between three groups of houses, alike in life, that call a difference at 0.05."""
    random = np.random.default_rng(seed)
    alarms = 0
    for _ in range(count):
        lives = book(random, books)
        group = random.integers(0, 3, books.houses)[lives.cluster]
        p_value = log_rank(lives, group).p_value
        alarms += p_value is not None and p_value < 0.05
    return alarms / count


def main(count: int, seed: int) -> None:
    titles = ["books", "failures", "shape", "scale", "median", "widened", *(f"S({age:g})" for age in AGES)]
    titles += ["curve's median", "false alarms"]
    print("| " + " | ".join(titles) + " |\n|" + "---|" * len(titles))
    for books in CASES:
        fits, failures = judge_weibull(books, count, seed)
        curve = judge_curve(books, count, seed)
        widened = max(tally.widened / tally.books for tally in fits.values())
        cells = [str(books), f"{failures:.0f}", *(f"{tally.share:.3f}" for tally in fits.values())]
        cells += [f"{widened:.2f}", *(f"{tally.share:.3f}" for tally in curve.values())]
        cells.append(f"{false_alarms(books, count, seed):.3f}")
        print("| " + " | ".join(cells) + " |", flush=True)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--books", type=int, default=1000, help="books of each kind")
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    main(chosen.books, chosen.seed)
