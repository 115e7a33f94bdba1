"""The truth of every section at every step, from the simulated state alone. The rules: the package's text."""

from __future__ import annotations

import numpy as np

from inspections.analysis.records import YEAR, FloatArray
from tests.simulation.book import CLASSES
from tests.simulation.chance.course import Course
from tests.simulation.chance.water import STEP

#: A wall behind a coat is wet from this share of what it can hold.
WET = 0.5
#: Least and greatest number of g/m² a day that a coat must pass lest it hold the water back.
LITTLE, ENOUGH = 3.0, 20.0
#: Liquid water at the face, g/m² a day in the mean of four months.
SHOWS = 4.0
#: kg/m² given off in the last half year, and how long a cause of drying lasts.
GIVEN_OFF, CAUSE = 1.0, 3 * YEAR
#: Days of dew (twelve hours or more in the mean of a step) in the last twelve months.
DEW_DAYS = 50
#: Share that came loose or fell in the last three years.
WORN = 0.04

A_YEAR, THREE_YEARS = round(YEAR / STEP), round(3 * YEAR / STEP)


def running_sum(values: FloatArray, steps: int) -> FloatArray:
    """Sums over the last ``steps`` steps, fewer at the start: (K, S)."""
    total = np.cumsum(values, axis=0)
    total[steps:] -= total[:-steps].copy()
    return total


def running_mean(values: FloatArray, steps: int) -> FloatArray:
    """Means over the last ``steps`` steps, fewer at the start: (K, S)."""
    count = np.minimum(np.arange(1, len(values) + 1), steps)[:, None]
    return running_sum(values, steps) / count


def truths(course: Course, holds: FloatArray) -> np.ndarray:
    """Indices of :data:`CLASSES` at every step and section (K, S)."""
    wet = running_sum((course.behind < WET).astype(float), A_YEAR) <= 0.05 * A_YEAR
    passes, arrives = running_mean(course.passes, A_YEAR), running_mean(course.arrives, THREE_YEARS)
    holds_back = (passes < np.clip(arrives, LITTLE, ENOUGH)) & (course.covered > 0) & (course.outlet == 0)
    held = wet & holds_back & (course.fallen < 0.5)
    entry = running_mean(course.liquid, round(120 / STEP)) >= SHOWS
    drying = _given_off(course, holds) >= GIVEN_OFF
    dew = running_sum((course.dew >= 12) * float(STEP), A_YEAR) >= DEW_DAYS
    worn = running_sum(course.loosened, THREE_YEARS) >= WORN
    worn &= running_mean(course.behind, A_YEAR) < WET
    rules = (("water_entry", entry), ("trapped_water", held), ("drying_out", drying), ("condensation", dew))
    truth = np.full(held.shape, CLASSES.index("stable"))
    for name, holds_true in reversed((*rules, ("surface_wear", worn))):
        truth[holds_true] = CLASSES.index(name)
    return truth


def _given_off(course: Course, holds: FloatArray) -> FloatArray:
    """Water in kg/m² that wall and coat have lost since they held most in the last half year with a cause."""
    water = course.behind * holds + course.fresh
    half, most = round(YEAR / 2 / STEP), np.full(water.shape, -np.inf)
    after = course.day[:, None] >= course.cause
    for back in range(half):
        before = course.day[: len(water) - back, None] >= course.cause[back:]
        most[back:] = np.maximum(most[back:], np.where(before, water[: len(water) - back], -np.inf))
    recent = after & (course.day[:, None] - course.cause <= CAUSE)
    return np.where(recent & np.isfinite(most), most - water, 0.0)


def onsets(truth: np.ndarray) -> np.ndarray:
    """The step at which the unbroken run of the present truth began, for every step and section (K, S)."""
    steps = np.arange(len(truth))[:, None]
    new = np.ones(truth.shape, dtype=bool)
    new[1:] = truth[1:] != truth[:-1]
    return np.maximum.accumulate(np.where(new, steps, 0), axis=0)
