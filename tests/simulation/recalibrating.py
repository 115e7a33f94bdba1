"""What openings teach of walls unlike the calibration's: ``python -m tests.simulation.recalibrating``.

Organisations are made from the probabilities that the model gives to simulated walls of four makes, and a
truth that follows from these by a stated law: as stated, half or three times the odds, too sure, not sure
enough, too sure only of the walls that are called. Some walls are opened, chosen in three ways; all others
are then judged by the log score beyond that of the true probabilities (nats a wall, in thousandths) and by
how far stated and true probabilities lie apart (ten bins of equal count).
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from inspections.analysis.alarms import CALL
from inspections.analysis.openings import BANDS, Opening, worth_opening
from inspections.analysis.recalibration import MIDDLE, log_odds, recalibration
from inspections.analysis.records import FloatArray
from tests.simulation.book import CLASSES
from tests.simulation.judge import JUDGED, judged_portfolios

Law = Callable[[FloatArray], FloatArray]

#: True log-odds from stated ones.
LAWS: Final[dict[str, Law]] = {
    "as stated": lambda x: x,
    "half the odds": lambda x: x - np.log(2),
    "three times the odds": lambda x: x + np.log(3),
    "too sure": lambda x: MIDDLE + 0.6 * (x - MIDDLE),
    "not sure enough": lambda x: MIDDLE + 1.5 * (x - MIDDLE),
    "too sure where called": lambda x: np.where(x > MIDDLE, MIDDLE + 0.3 * (x - MIDDLE), x),
}
COUNTS: Final = (10, 30, 100)


def at_random(stated: FloatArray, count: int, rng: np.random.Generator) -> FloatArray:
    """Any walls."""
    return rng.choice(len(stated), count, replace=False)


def called(stated: FloatArray, count: int, rng: np.random.Generator) -> FloatArray:
    """Only walls that are called."""
    return rng.choice(np.flatnonzero(stated >= CALL), count, replace=False)


def as_suggested(stated: FloatArray, count: int, rng: np.random.Generator) -> FloatArray:
    """Three in five for what is learnt of them, two in five at random of the others: as is suggested."""
    worth = np.array([worth_opening(float(p)) for p in stated]) + 1e-9
    first = rng.choice(len(stated), round(0.6 * count), replace=False, p=worth / worth.sum())
    rest = np.setdiff1d(np.flatnonzero(stated < CALL), first)
    return np.append(first, rng.choice(rest, count - len(first), replace=False))


CHOICES: Final = {"as suggested": as_suggested, "only called": called, "at random": at_random}


@dataclass(frozen=True, slots=True)
class Score:
    """Excess log score (nats a wall) and calibration error."""

    excess: float
    apart: float


def score(stated: FloatArray, true: FloatArray) -> Score:
    """How far ``stated`` probabilities (n,) of walls are from their ``true`` ones."""
    low = 1e-12
    p, q = np.clip(stated, low, 1 - low), np.clip(true, low, 1 - low)
    excess = q * (np.log(q) - np.log(p)) + (1 - q) * (np.log1p(-q) - np.log1p(-p))
    bins = np.array_split(np.argsort(p, kind="stable"), 10)
    apart = [len(own) * abs(p[own].mean() - q[own].mean()) for own in bins]
    return Score(float(excess.mean()), float(sum(apart) / len(p)))


def organisation(
    stated: FloatArray, law: Law, choice: str, count: int, rng: np.random.Generator
) -> tuple[Score, Score]:
    """The score of the unopened walls of one organisation, before and after ``count`` openings."""
    given = log_odds(stated)
    true = 1 / (1 + np.exp(-law(given)))
    opened = CHOICES[choice](stated, count, rng)
    held = rng.random(len(opened)) < true[opened]
    own = recalibration([Opening(float(stated[i]), bool(h)) for i, h in zip(opened, held, strict=True)])
    moved = 1 / (1 + np.exp(-given - own.gain(stated)))
    rest = np.setdiff1d(np.arange(len(stated)), opened)
    return score(stated[rest], true[rest]), score(moved[rest], true[rest])


def judged(
    stated: FloatArray, law: Law, choice: str, count: int, organisations: int, seed: int = 1
) -> tuple[Score, Score, float]:
    """Mean scores before and after, and the share of organisations whose log score got better."""
    rng = np.random.default_rng(seed)
    found = [organisation(stated, law, choice, count, rng) for _ in range(organisations)]
    before, after = (
        Score(*np.mean([[one[i].excess, one[i].apart] for one in found], axis=0)) for i in (0, 1)
    )
    return before, after, float(np.mean([a.excess < b.excess for b, a in found]))


def stated_probabilities(portfolios: int, first: int, jobs: int) -> FloatArray:
    """The model's probabilities of trapped water of walls of every make."""
    column = CLASSES.index("trapped_water")
    seeds = range(first, first + portfolios)
    return np.concatenate(
        [judged_portfolios(make, seeds, 1, jobs)[0].probability[:, column] for make in JUDGED]
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--portfolios", type=int, default=6, help="portfolios of each make")
    parser.add_argument("--first", type=int, default=501, help="first seed")
    parser.add_argument("--organisations", type=int, default=300, help="of each law, choice and count")
    parser.add_argument("--jobs", type=int, default=1)
    options = parser.parse_args()
    stated = stated_probabilities(options.portfolios, options.first, options.jobs)
    bands = np.bincount(np.searchsorted(BANDS, stated, side="right"), minlength=len(BANDS) + 1)
    print(f"{len(stated)} walls; in bands split at {BANDS}: {bands / len(stated)}")
    print("| walls | opened | chosen | excess before | after | apart before | after | better |")
    print("|---|---|---|---|---|---|---|---|")
    for name, law in LAWS.items():
        for choice in CHOICES:
            for count in COUNTS:
                before, after, better = judged(stated, law, choice, count, options.organisations)
                print(
                    f"| {name} | {count} | {choice} | {before.excess * 1000:.1f} | {after.excess * 1000:.1f} "
                    f"| {before.apart:.4f} | {after.apart:.4f} | {better:.2f} |"
                )


if __name__ == "__main__":
    main()
