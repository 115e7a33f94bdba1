"""Timing several ways to the same end, in turns, so that a busy machine is busy for all of them."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass


@dataclass(frozen=True, slots=True)
class Sizes:
    """How much of everything."""

    readings: int
    houses: int
    series: int
    batch: int
    sections: int
    planned: int
    assessed: int
    requests: int
    starts: int
    repeats: int
    coats: tuple[int, ...]


FULL = Sizes(
    readings=50_000,
    houses=25,
    series=100,
    batch=10_000,
    sections=2_000,
    planned=10_000,
    assessed=10_000,
    requests=40,
    starts=5,
    repeats=5,
    coats=(100, 1_000, 10_000),
)
TINY = Sizes(
    readings=400,
    houses=10,
    series=2,
    batch=4,
    sections=60,
    planned=40,
    assessed=20,
    requests=1,
    starts=1,
    repeats=1,
    coats=(50,),
)


@dataclass(frozen=True, slots=True)
class Result:
    """What took how long, beside what, in seconds; and the ratio that the goal is stated in."""

    work: str
    ours: float
    beside: str
    theirs: float
    ratio: str
    goal: str

    def as_json(self) -> dict[str, object]:
        return asdict(self)


def medians(ways: Mapping[str, Callable[[], object]], repeats: int) -> dict[str, float]:
    """Median seconds of each way, after one run of each that is not counted where there are several."""
    taken: dict[str, list[float]] = {name: [] for name in ways}
    for repeat in range(repeats + (repeats > 1)):
        for name, way in ways.items():
            start = time.perf_counter()
            way()
            seconds = time.perf_counter() - start
            if repeat or repeats == 1:
                taken[name].append(seconds)
    return {name: statistics.median(seconds) for name, seconds in taken.items()}


def times_slower(work: str, ours: float, beside: str, theirs: float, goal: str) -> Result:
    """For goals such as “within twice the time”."""
    return Result(work, ours, beside, theirs, f"{ours / theirs:.3g} times the time", goal)


def times_faster(work: str, ours: float, beside: str, theirs: float, goal: str) -> Result:
    """For goals such as “at least twice as fast”."""
    return Result(work, ours, beside, theirs, f"{theirs / ours:.3g} times as fast", goal)


def table(results: list[Result]) -> str:
    """The results as a table in Markdown."""
    lines = ["| work | ours | beside | theirs | ours is | goal |", "|---|---|---|---|---|---|"]
    lines += [
        f"| {r.work} | {_shown(r.ours)} | {r.beside} | {_shown(r.theirs)} | {r.ratio} | {r.goal} |"
        for r in results
    ]
    return "\n".join(lines)


def _shown(seconds: float) -> str:
    return f"{seconds:.2f} s" if seconds >= 1 else f"{seconds * 1000:.3g} ms"
