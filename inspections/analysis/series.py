"""From a house's record to one level a visit: slips set aside, places reconciled, steps removed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from inspections.analysis.cleaning import set_aside
from inspections.analysis.levels import Level, most_used, summed_area, wall_level
from inspections.analysis.margins import Margins, dew_point_margins
from inspections.analysis.records import BuildingRecord, FloatArray, Readings
from inspections.analysis.steps import InstrumentStep, instrument_steps, remove_steps

#: Quantities read with a moisture meter on its own scale.
MOISTURE = ("surface_moisture", "deep_moisture")
#: Quantities that are sums over a day's places rather than a level of the wall.
AREAS = ("hollow_area", "spall_area", "salt_area")


@dataclass(frozen=True, slots=True)
class PreparedBuilding:
    """A house's record as levels, keyed by section (the house itself is ``""``) and quantity.

    ``kept`` and ``aside`` hold the readings behind them, ``margins`` each section's dew-point margins. A
    moisture quantity's level is on the latest scale it was read in, without the steps of ``steps``.
    """

    record: BuildingRecord
    levels: dict[str, dict[str, Level]]
    kept: dict[str, Readings]
    aside: dict[str, Readings]
    margins: dict[str, Margins]
    steps: tuple[InstrumentStep, ...] = ()


def prepare(building: BuildingRecord) -> PreparedBuilding:
    """Clean a house's record and reduce it to levels."""
    everywhere = {section.code: section.readings for section in building.sections}
    everywhere[""] = building.readings
    kept, aside = {}, {}
    for code, readings in everywhere.items():
        kept[code], aside[code], _ = set_aside(readings, building.instruments)
    levels = {
        code: {str(name): level_of(own.of(name), name) for name in np.unique(own.quantity)}
        for code, own in kept.items()
    }
    steps: list[InstrumentStep] = []
    for quantity in MOISTURE:
        by_unit = {
            code: {own[quantity].unit: own[quantity]} for code, own in levels.items() if quantity in own
        }
        found = instrument_steps(building, quantity, by_unit)
        steps += found
        for own in levels.values():
            if found and quantity in own:
                own[quantity] = remove_steps(own[quantity], _known(found))
    margins = {section.code: dew_point_margins(kept[section.code], kept[""]) for section in building.sections}
    return PreparedBuilding(building, levels, kept, aside, margins, tuple(steps))


def _known(steps: list[InstrumentStep]) -> list[InstrumentStep]:
    """Steps with an error that can be carried on; one that nothing tells of is left as it is."""
    return [step for step in steps if np.isfinite(step.error)]


def level_of(readings: Readings, quantity: str) -> Level:
    """One value a day of a quantity, in the latest scale that it was read in; areas are summed."""
    readings = readings.where(readings.unit == readings.unit[-1])
    if quantity not in AREAS:
        return wall_level(readings)
    sums = summed_area(readings)
    return Level(
        time=sums.time,
        value=sums.value,
        low=np.where(np.isneginf(sums.low) | (sums.low < sums.high) & (sums.low <= 0), -np.inf, sums.low),
        high=sums.high,
        n=sums.n,
        instrument=most_used(readings, sums.time),
        unit=str(readings.unit[-1]),
        offset_sd=np.zeros(len(sums.time)),
    )


def since(level: Level, start: float) -> Level:
    """The days of ``level`` on or after ``start``."""
    keep = level.time >= start
    return replace(
        level,
        **{
            name: getattr(level, name)[keep]
            for name in ("time", "value", "low", "high", "n", "instrument", "offset_sd")
        },
    )


def affected_share(levels: dict[str, Level], area: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Days, and bounds of the share of ``area`` (m²) that is hollow or has fallen; arrays (n,).

    Where one of the two was not surveyed on a day the sum is a lower bound: its upper end is inf.
    """
    both = [levels[quantity] for quantity in AREAS[:2] if quantity in levels]
    days = np.unique(np.concatenate([level.time for level in both])) if both else np.zeros(0)
    low, high, surveys = np.zeros(len(days)), np.zeros(len(days)), np.zeros(len(days))
    for level in both:
        at = np.searchsorted(days, level.time)
        low[at] += np.maximum(level.low, 0.0)
        high[at] += level.high
        surveys[at] += 1
    high[surveys < 2] = np.inf
    return days, low / area, high / area
