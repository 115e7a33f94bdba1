"""What is true of every section in every fortnight."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from inspections.analysis.records import YEAR
from tests.simulation.blind.bucket import Climate, Course
from tests.simulation.blind.plan import STEPS_A_YEAR, Plan
from tests.simulation.book import CLASSES

#: A coat is too tight that passes less than this more than arrives, kg/m² a year, and carries less than
#: this share of a lime coat's liquid (all numbers here are choices).
HEADROOM = 4.0
CLOSED = 0.25
#: Share of the past year's fortnights with a wet film that makes a condensing face.
CONDENSES = 0.12
#: Liquid at an open face, share of full, that counts as entry.
WET_FACE = 0.33
#: Fresh coat's water that is still to be given off, and the fall of a store over a year that is drying.
FRESH = 0.15
FALLS = 0.08
#: Worn (hollow and fallen) share of the coat, and its growth in a year, that count as wear.
WORN = 0.012
WEARS = 0.002


def classes(plan: Plan, climate: Climate, course: Course) -> npt.NDArray[np.int64]:
    """Index into ``CLASSES``, by section and fortnight; the first in this order that holds.

    Water is held where the store has been over the limit, now and on the year's mean, behind a tight coat.
    """
    year = STEPS_A_YEAR
    full = (course.store > plan.limit) & (_past_mean(course.store, year) > plan.limit)
    usual = np.array([wall.supply for wall in plan.walls])[:, None]
    arrives = np.maximum(usual, _past_mean(course.inflow, year))
    held = full & (course.passes < arrives + HEADROOM) & (course.capillary < CLOSED) & ~course.drained
    wet = course.capillary * course.store
    shows = (wet > WET_FACE) | (course.leaking & ~held)
    ago = np.roll(course.store, year, axis=1)
    drying = (course.fresh > FRESH) | ((ago - course.store > FALLS) & (course.store > 0.25))
    condenses = _past_mean(course.film > 0, year) > CONDENSES
    affected = course.hollow_wear + course.hollow_water + course.fallen
    wears = (affected > WORN) & (affected - np.roll(affected, year, axis=1) > WEARS)
    wanted = ("trapped_water", "water_entry", "drying_out", "condensation", "surface_wear")
    return np.select(
        (held, shows, drying, condenses, wears),
        [CLASSES.index(name) for name in wanted],
        CLASSES.index("stable"),
    )


def _past_mean(values: npt.NDArray[np.generic], steps: int) -> npt.NDArray[np.float64]:
    total = np.cumsum(values, axis=1, dtype=float)
    total[:, steps:] -= total[:, :-steps].copy()
    return total / steps


def onset(day: npt.NDArray[np.float64], truth: npt.NDArray[np.int64], step: int) -> float:
    """The day from which one section's truth has been what it is at ``step``."""
    other = np.flatnonzero(truth[: step + 1] != truth[step])
    return float(day[other[-1] + 1]) if len(other) else float(day[0])


def as_of_days(rng: np.random.Generator, plan: Plan) -> npt.NDArray[np.float64]:
    """Three to five dates, the same for the whole book, over the later two thirds of the record."""
    count = int(rng.integers(3, 6))
    parts = np.linspace(0.36, 1.0, count) - rng.uniform(0, 0.03, count)
    return np.floor(plan.first + parts * plan.years * YEAR)
