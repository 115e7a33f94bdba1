"""Changes of instrument: how far the readings jumped, and the level without the jump.

A step is estimated from all sections of a house whose instrument changed on one day. The sections of a house
share their weather, so it is the days that count as evidence, not the sections: each section's own height is
taken out (an additive model of days and sections), and the step is fitted to the days' common level, beside
trend and season, with serially dependent errors.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from inspections.analysis.harmonic import HarmonicFit, harmonic_fit
from inspections.analysis.levels import Level, additive_days, levels_by_scale
from inspections.analysis.records import YEAR, BuildingRecord, FloatArray

#: Years on either side that a step is fitted to: further off, the trend need not be straight.
WINDOW_YEARS = 4.0
#: Fewest degrees of freedom for a step beside season and trend, beside a trend, and alone.
LEAST_FREEDOM = 2


@dataclass(frozen=True, slots=True)
class InstrumentStep:
    """The jump that came with instrument ``after`` in place of ``before``, from day ``time`` on.

    ``size`` and its standard error ``error`` are in ``unit``; where the readings can't tell, size 0 and an
    infinite error. ``readings`` counts days, ``sections`` those that changed.
    """

    time: float
    quantity: str
    unit: str
    before: str
    after: str
    size: float
    error: float
    sections: int
    readings: int
    method: str


@dataclass(frozen=True, slots=True)
class _Change:
    """A section's own change: its last day with the old instrument and its first with the new."""

    last: float
    first: float
    level: Level


def instrument_steps(
    building: BuildingRecord, quantity: str, levels: dict[str, dict[str, Level]] | None = None
) -> list[InstrumentStep]:
    """Steps of ``quantity`` in a house, sorted by day. A change of scale is not a step: scales don't mix.

    ``levels``: levels by section and unit where they are at hand, else they are made of all readings.
    """
    if levels is None:
        own = {section.code: section.readings.of(quantity) for section in building.sections}
        levels = {code: levels_by_scale(readings) for code, readings in own.items() if len(readings)}
    changes: dict[tuple[str, str, str], list[_Change]] = {}
    for by_unit in levels.values():
        for unit, level in by_unit.items():
            for before, after, change in _changes_in(level):
                changes.setdefault((unit, before, after), []).append(change)
    steps = [
        _estimate(quantity, *key, together) for key, found in changes.items() for together in _same_day(found)
    ]
    return sorted(steps, key=lambda step: (step.time, step.unit, step.before, step.after))


def remove_steps(level: Level, steps: list[InstrumentStep]) -> Level:
    """The level as the latest instrument would have read it, with the variance that this adds.

    Days before a step are moved by its size; ``offset_sd`` (days,) holds the standard error of the moves, and
    ``rate_sd`` what they add to that of a straight line's rate per year.
    """
    shift, variance = np.zeros(len(level)), np.zeros(len(level))
    rate_variance = 0.0
    for before, after, change in _changes_in(level):
        step = _step_of(steps, level.unit, before, after, change.first)
        if step is not None:
            earlier = level.time < change.first
            shift[earlier] += step.size
            variance[earlier] += step.error**2
            rate_variance += (_rate_of(level.time, earlier) * step.error) ** 2
    return replace(
        level,
        value=level.value + shift,
        low=level.low + shift,
        high=level.high + shift,
        offset_sd=np.sqrt(level.offset_sd**2 + variance),
        rate_sd=float(np.hypot(level.rate_sd, np.sqrt(rate_variance))),
    )


def _step_of(
    steps: list[InstrumentStep], unit: str, before: str, after: str, day: float
) -> InstrumentStep | None:
    """The house's step that a section's change on ``day`` belongs to: the last that had begun by then."""
    key = (unit, before, after)
    begun = [one for one in steps if (one.unit, one.before, one.after) == key and one.time <= day]
    return max(begun, key=lambda one: one.time, default=None)


def _changes_in(level: Level) -> list[tuple[str, str, _Change]]:
    """Changes from one named instrument to another, in order."""
    named = np.flatnonzero(level.instrument != "")
    found = []
    for one, other in pairwise(named):
        before, after = str(level.instrument[one]), str(level.instrument[other])
        if before != after:
            found.append((before, after, _Change(float(level.time[one]), float(level.time[other]), level)))
    return found


def _same_day(changes: list[_Change]) -> list[list[_Change]]:
    """Changes that one day can explain: after the last old reading of all, up to the first new one of any."""
    groups: list[list[_Change]] = []
    for change in sorted(changes, key=lambda one: one.first):
        if groups and change.last < groups[-1][0].first:
            groups[-1].append(change)
        else:
            groups.append([change])
    return groups


def _estimate(quantity: str, unit: str, before: str, after: str, changes: list[_Change]) -> InstrumentStep:
    start = changes[0].first
    days, level = _common_level(changes, before, after)
    fit, method = _fit_step(days, level, start)
    size, error = (float(fit.steps[0]), float(fit.step_errors[0])) if fit else (0.0, np.inf)
    return InstrumentStep(
        start, quantity, unit, before, after, size, error, len(changes), len(days), method
    )  # fmt: skip


def _common_level(changes: list[_Change], before: str, after: str) -> tuple[FloatArray, FloatArray]:
    """Days near the change, read with the one instrument or the other, each section's height taken out."""
    day, group, value = [], [], []
    for number, change in enumerate(changes):
        level = change.level
        old = (level.instrument == before) & (level.time <= change.last)
        new = (level.instrument == after) & (level.time >= change.first)
        near = np.abs(level.time - change.first) <= WINDOW_YEARS * YEAR
        kept = (old | new) & near & (level.low == level.high)
        # One day for all: a section that changed later is read with the old instrument until then.
        kept &= ~(old & (level.time >= changes[0].first))
        day.append(level.time[kept])
        value.append(level.value[kept])
        group.append(np.full(int(kept.sum()), number))
    if not sum(map(len, day)):
        return np.zeros(0), np.zeros(0)
    return additive_days(np.concatenate(day), np.concatenate(group), np.concatenate(value))


def _fit_step(days: FloatArray, level: FloatArray, start: float) -> tuple[HarmonicFit | None, str]:
    """The step beside as much of season and trend as the days can bear."""
    for harmonics, trend, words in (
        (1, True, "step beside season and trend"),
        (0, True, "step beside a trend, season left in"),
        (0, False, "difference of means, season and trend left in"),
    ):
        fit = harmonic_fit(days, level, harmonics=harmonics, trend=trend, steps=[start])
        if fit is not None and fit.freedom >= LEAST_FREEDOM and np.isfinite(fit.steps[0]):
            return fit, words
    return None, "too few days for a step"


def _rate_of(time: FloatArray, mask: npt.NDArray[np.bool_]) -> float:
    """Slope per year of a straight line through a series that is 1 on the days of ``mask`` and else 0."""
    centred = (time - time.mean()) / YEAR
    spread = float(centred @ centred)
    return float(centred @ mask.astype(float)) / spread if spread > 0 else 0.0
