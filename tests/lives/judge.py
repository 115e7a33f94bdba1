"""Judges lives and their fits on simulated books with known lives.

``python -m tests.lives.judge`` makes 200 books of each plan, finds the lives from what was read, and says
how often the 95 % intervals of shape, scale and median hold the truth, how far the estimates lie off, and how
wide the intervals are beside those of a fit that was told at every visit whether the coat had failed.
"""

from __future__ import annotations

import argparse
import math
from dataclasses import dataclass

import numpy as np

from inspections.analysis.failures import lives
from inspections.analysis.lifetimes import Interval, Lifetimes
from inspections.analysis.weibull import LifeFit, fit_weibull
from tests.lives.simulated import THRESHOLD, Plan, simulate

AIMS = ("shape", "scale", "median")
PLANS = {
    "as usual": Plan(),
    "no error": Plan(noise=0.0),
    "twice the error": Plan(noise=2.0),
    "wears alike (shape 4)": Plan(shape=4.0),
    "by chance (shape 1)": Plan(shape=1.0),
    "long lives, few failures": Plan(scale=40.0, shape=2.0),
    "every four months": Plan(gap=1 / 3),
    "every three years": Plan(gap=3.0),
    "all found": Plan(found=1.0),
    "none found, none planned": Plan(found=0.0, planned=0.0),
    "half of the visits unsounded": Plan(unsounded=0.5),
    "200 coats": Plan(coats=200),
    "houses alike": Plan(coats=160, a_house=8, frailty=0.2),
}


@dataclass(frozen=True, slots=True)
class Judged:
    """For each aim (3,): share of intervals that held, mean log error, median width beside the told fit.

    ``told`` is the share of the told fit's intervals that held.
    """

    books: int
    held: list[float]
    told: list[float]
    off: list[float]
    wider: list[float]


def judge(plan: Plan, books: int, first: int = 1) -> Judged:
    """Makes and fits ``books`` books of a plan, from seed ``first`` on."""
    truth = (plan.shape, plan.scale, plan.scale * math.log(2) ** (1 / plan.shape))
    held, told_held, off, ours_wide, told_wide = ([] for _ in range(5))
    for seed in range(first, first + books):
        book = simulate(plan, seed)
        found = lives(book.coats, book.areas, book.mended, THRESHOLD)
        kept, house = found.at_risk, book.house.astype(int)
        ours = fit_weibull(Lifetimes(found.entry[kept], found.low[kept], found.high[kept], house[kept]))
        told = fit_weibull(Lifetimes(book.entry, np.maximum(book.low, book.entry), book.high, house))
        held.append([_holds(one, value) for one, value in zip(_aims(ours), truth, strict=True)])
        told_held.append([_holds(one, value) for one, value in zip(_aims(told), truth, strict=True)])
        off.append(
            [
                math.log((one.estimate or np.nan) / value)
                for one, value in zip(_aims(ours), truth, strict=True)
            ]
        )
        ours_wide.append([_width(one) for one in _aims(ours)])
        told_wide.append([_width(one) for one in _aims(told)])
    wider = np.median(ours_wide, axis=0) / np.median(told_wide, axis=0)
    shares = (np.mean(one, axis=0).tolist() for one in (held, told_held))
    return Judged(books, *shares, np.nanmean(off, axis=0).tolist(), wider.tolist())


def _aims(fit: LifeFit) -> tuple[Interval, ...]:
    return fit.shape, fit.scale, fit.median


def _holds(interval: Interval, value: float) -> bool:
    return (interval.low or 0.0) <= value <= (interval.high or math.inf)


def _width(interval: Interval) -> float:
    return math.log((interval.high or 1e4) / (interval.low or 1e-4))


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--books", type=int, default=200)
    options.add_argument("--first", type=int, default=1)
    options.add_argument("--plan", choices=sorted(PLANS))
    asked = options.parse_args()
    print("plan | " + " | ".join(f"{aim}: held (told), off, wider" for aim in AIMS))
    for name, plan in PLANS.items():
        if asked.plan in (None, name):
            found = judge(plan, asked.books, asked.first)
            rows = zip(found.held, found.told, found.off, found.wider, strict=True)
            cells = (f"{held:.3f} ({told:.3f}), {off:+.3f}, {wider:.2f}" for held, told, off, wider in rows)
            print(f"{name} | {' | '.join(cells)}", flush=True)


if __name__ == "__main__":
    main()
