"""From a house's record to one level a visit: slips set aside, places reconciled, steps removed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from inspections.analysis.cleaning import faults
from inspections.analysis.kendall import BoolArray, IntArray
from inspections.analysis.levels import Level, area_levels, wall_levels
from inspections.analysis.margins import Margins, all_margins
from inspections.analysis.records import BuildingRecord, FloatArray, Readings, numbered, together
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
    """As :func:`prepare_all`, of one house."""
    return prepare_all([building])[0]


def prepare_all(buildings: Sequence[BuildingRecord]) -> list[PreparedBuilding]:
    """Clean the houses' records and reduce them to levels: all readings at once, since walls hold few."""
    walls = [
        (house, code, readings)
        for house, building in enumerate(buildings)
        for code, readings in [
            *((one.code, one.readings) for one in building.sections),
            ("", building.readings),
        ]
    ]
    whole = together([readings for _, _, readings in walls])
    wall = np.repeat(np.arange(len(walls)), [len(readings) for _, _, readings in walls])
    house = np.array([number for number, _, _ in walls])[wall]
    slipped = faults(whole, wall, house, [building.instruments for building in buildings]) != ""
    kept, aside = _by_wall(whole, wall, ~slipped, len(walls)), _by_wall(whole, wall, slipped, len(walls))
    levels = _levels(whole.where(~slipped), wall[~slipped], len(walls))
    edges = np.searchsorted([number for number, _, _ in walls], np.arange(len(buildings) + 1)).tolist()
    # The house itself is the last of its walls.
    margins = all_margins([(kept[start : stop - 1], kept[stop - 1]) for start, stop in pairwise(edges)])
    prepared = []
    for building, own, (start, stop) in zip(buildings, margins, pairwise(edges), strict=True):
        codes = [code for _, code, _ in walls[start:stop]]
        levels_here = dict(zip(codes, levels[start:stop], strict=True))
        steps = _without_steps(building, levels_here)
        prepared.append(
            PreparedBuilding(
                record=building,
                levels=levels_here,
                kept=dict(zip(codes, kept[start:stop], strict=True)),
                aside=dict(zip(codes, aside[start:stop], strict=True)),
                margins=dict(zip(codes[:-1], own, strict=True)),
                steps=tuple(steps),
            )
        )
    return prepared


def level_of(readings: Readings, quantity: str) -> Level:
    """One value a day of a quantity, in the latest scale that it was read in; areas are summed."""
    own = readings.of(quantity)
    return _levels(own, np.zeros(len(own), dtype=np.int64), 1)[0][quantity]


def _by_wall(whole: Readings, wall: IntArray, which: BoolArray, walls: int) -> list[Readings]:
    some = whole.where(which)
    edges = np.searchsorted(wall[which], np.arange(walls + 1)).tolist()
    return [some.where(slice(start, stop)) for start, stop in pairwise(edges)]


def _levels(readings: Readings, wall: IntArray, walls: int) -> list[dict[str, Level]]:
    """For each wall one value a day of each quantity, in the latest scale that it was read in."""
    names, quantity = numbered(readings.quantity)
    keys, series = np.unique(wall * len(names) + quantity, return_inverse=True)
    last = np.zeros(len(keys), dtype=np.int64)
    last[series] = np.arange(len(series))
    latest = readings.unit == readings.unit[last][series]
    readings, series = readings.where(latest), series[latest]
    summed = np.array([name in AREAS for name in names], dtype=bool)[keys % max(len(names), 1)]
    found: list[dict[str, Level]] = [{} for _ in range(walls)]
    for kind, make in ((summed, area_levels), (~summed, wall_levels)):
        own = kind[series]
        number = np.cumsum(kind) - 1
        made = make(readings.where(own), number[series[own]], int(kind.sum()))
        for key, level in zip(keys[kind].tolist(), made, strict=True):
            found[key // len(names)][names[key % len(names)]] = level
    return found


def _without_steps(building: BuildingRecord, levels: dict[str, dict[str, Level]]) -> list[InstrumentStep]:
    """The changes of meter that show, taken out of the levels of the house's walls."""
    steps: list[InstrumentStep] = []
    for quantity in MOISTURE:
        by_unit = {
            code: {own[quantity].unit: own[quantity]} for code, own in levels.items() if quantity in own
        }
        found = instrument_steps(building, quantity, by_unit)
        steps += found
        # A step that nothing tells of is left as it is.
        known = [step for step in found if np.isfinite(step.error)]
        for own in levels.values():
            if found and quantity in own:
                own[quantity] = remove_steps(own[quantity], known)
    return steps


def since(level: Level, start: float) -> Level:
    """The days of ``level`` on or after ``start``."""
    first = int(np.searchsorted(level.time, start))
    if not first:
        return level
    names = ("time", "value", "low", "high", "n", "instrument", "offset_sd")
    return replace(level, **{name: getattr(level, name)[first:] for name in names})


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
