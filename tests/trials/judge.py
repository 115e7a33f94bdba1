"""How the comparison of trials does on invented ones: `python -m tests.trials.judge [--trials 400]`."""

from __future__ import annotations

import argparse
import datetime as dt
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from inspections.analysis.comparison import compare
from inspections.analysis.results import CANNOT_TELL, DIFFERENCE, NONE_SHOWN
from inspections.analysis.trial_results import Comparison
from tests.trials.simulated import EFFECT, Trial, simulate

_EPOCH = dt.date(1970, 1, 1)


@dataclass(frozen=True)
class Kind:
    """A kind of trial: how to make one, and what it must be called."""

    name: str
    pairs: int
    effect: float = 0.0
    favoured: bool = False
    allocated_by: str = "random"
    called: str = NONE_SHOWN


KINDS = (
    Kind("a fair trial, a real difference", 8, EFFECT, called=DIFFERENCE),
    Kind("a fair trial, no difference", 8),
    Kind(
        "a favoured arm, no real difference", 8, favoured=True, allocated_by="judgement", called=CANNOT_TELL
    ),
    Kind("a single pair", 1, EFFECT, called=CANNOT_TELL),
    Kind("a favoured arm, said to be by lot", 8, favoured=True, called=CANNOT_TELL),
    Kind("five pairs", 5, EFFECT, called=CANNOT_TELL),
    Kind("six pairs, no difference", 6),
    Kind("twelve pairs, no difference", 12),
    Kind(
        "twelve pairs, alternating, a difference", 12, EFFECT, allocated_by="alternating", called=DIFFERENCE
    ),
)


def answer(trial: Trial) -> Comparison:
    day = _EPOCH + dt.timedelta(days=int(trial.last_day))
    return compare(trial.question, trial.places, trial.houses, day)


def answers(kind: Kind, trials: int, first: int = 1) -> Iterator[tuple[Trial, Comparison]]:
    for seed in range(first, first + trials):
        trial = simulate(
            seed,
            pairs=kind.pairs,
            effect=kind.effect,
            favoured=kind.favoured,
            allocated_by=kind.allocated_by,
        )
        yield trial, answer(trial)


def report(kind: Kind, trials: int, first: int = 1) -> str:
    called: Counter[str] = Counter()
    leaning: Counter[str] = Counter()
    small = held = wide = 0
    widths = []
    for trial, found in answers(kind, trials, first):
        called[found.conclusion] += 1
        leaning["right" if found.leans == trial.favoured else "none" if found.leans is None else "wrong"] += 1
        small += found.p_value < 0.05
        if found.found is not None and np.isfinite(found.found.low):
            wide += 1
            held += found.found.low <= trial.effect <= found.found.high
            widths.append(found.found.high - found.found.low)
    share = {name: f"{count / trials:.3f}" for name, count in called.items()}
    line = f"{kind.name}: called {share}, p < 0.05 {small / trials:.3f}, leaning {dict(leaning)}"
    if wide:
        line += f", interval held {held / wide:.3f}, median width {np.median(widths):.4f}"
    return line


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--trials", type=int, default=400)
    options.add_argument("--first", type=int, default=1, help="the first seed")
    asked = options.parse_args()
    for kind in KINDS:
        print(report(kind, asked.trials, asked.first), flush=True)


if __name__ == "__main__":
    main()
