"""The hidden paths of a section: held wetness, leak, drying, sweating, and area that loosens and falls."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inspections.analysis.records import YEAR, FloatArray
from tests.simulation.phenomenal.house import STEP, House
from tests.simulation.phenomenal.regimes import CoatSpell, History, Spell

#: Held wetness below which a coat is not driven off.
LOOSENS_FROM = 0.4

#: Scale of one jump of the gamma process of area, share of the section.
JUMP = 0.006


@dataclass(frozen=True, slots=True)
class Latent:
    """Paths on the grid, each of shape (n,); wetness runs from 0 to 1, areas are shares of the section.

    ``hollow`` still hangs, ``fallen`` is what lies on the floor less what has been patched, ``lost`` is all
    that has fallen of the coat that is on; ``soft_mm`` is the depth of softened mortar.
    """

    held: FloatArray
    base: float
    leak: FloatArray
    drying: FloatArray
    margin: FloatArray
    surface_temperature: FloatArray
    sweat: FloatArray
    wearing: FloatArray
    hollow: FloatArray
    fallen: FloatArray
    lost: FloatArray
    soft_mm: FloatArray
    coat_number: FloatArray


def draw_latent(rng: np.random.Generator, house: House, history: History) -> Latent:
    """All hidden paths of one section."""
    grid = house.grid
    base = 0.3 * rng.beta(2, 3)
    drained = any(coat.system.drained for coat in history.coats)
    held = _held(rng, grid, history, rng.uniform(0.5, 0.9) if drained else base)
    leak, drying = _leak_and_drying(rng, grid, history)
    surface, margin = _surface(rng, house, history)
    coat_number = _coat_numbers(grid, history)
    drive = np.maximum(held - LOOSENS_FROM, 0) / (1 - LOOSENS_FROM)
    if drained:
        drive = 0 * drive
    hollow, fallen, lost, wearing = _areas(rng, grid, history, drive, leak)
    return Latent(
        held=held,
        base=held[0] if drained else base,
        leak=leak,
        drying=drying,
        margin=margin,
        surface_temperature=surface,
        sweat=np.clip((0.5 - margin) / 2.5, 0, 1),
        wearing=wearing,
        hollow=hollow,
        fallen=fallen,
        lost=lost,
        soft_mm=np.cumsum(drive) * STEP / YEAR * rng.lognormal(np.log(2.5), 0.6),
        coat_number=coat_number,
    )


def _held(rng: np.random.Generator, grid: FloatArray, history: History, base: float) -> FloatArray:
    """Logistic filling while trapped, else exponential return to the wall's own level; plus a slow wander."""
    path = np.full(len(grid), base)
    level = base
    for spell in history.spells:
        years = (grid - spell.start) / YEAR
        inside = (grid >= spell.start) & (grid < spell.end)
        full = rng.uniform(0.75, 1.0)
        fills, dries = np.exp(rng.uniform(np.log(2), np.log(10))), rng.lognormal(np.log(1.0), 0.4)
        if spell.regime == "trapped_water":
            course = (
                np.full(len(grid), full)
                if spell.wet_start
                else level + (full - level) * _filling(years / fills)
            )
        else:
            course = base + (level - base) * np.exp(-np.maximum(years, 0) / dries)
        path[inside] = course[inside]
        if inside.any():
            level = float(path[np.flatnonzero(inside)[-1]])
    wander = 0.025 * np.sin(2 * np.pi * (grid / YEAR / rng.uniform(3, 9) + rng.random()))
    return np.clip(path + wander, 0, 1)


def _filling(x: FloatArray) -> FloatArray:
    """A logistic curve through 0 at ``x`` = 0 and near 1 at ``x`` = 1."""
    floor = 1 / (1 + np.exp(2.5))
    return (1 / (1 + np.exp(-5 * (np.clip(x, 0, 5) - 0.5))) - floor) / (1 - floor)


def _leak_and_drying(
    rng: np.random.Generator, grid: FloatArray, history: History
) -> tuple[FloatArray, FloatArray]:
    leak, drying = np.zeros(len(grid)), np.zeros(len(grid))
    for spell in history.spells:
        if spell.regime != "water_entry":
            continue
        years = (grid - spell.start) / YEAR
        course = rng.uniform(0.45, 1.0) * (1 - np.exp(-years / np.exp(rng.uniform(np.log(0.1), np.log(2.0)))))
        inside = (years >= 0) & (grid < spell.end)
        leak[inside] = course[inside]
        if inside.any() and spell.end < grid[-1]:
            drying += _drying(rng, grid, spell.end, float(course[inside][-1]))
    for coat in history.coats:
        if not coat.found and coat.system.water > 0:
            drying += _drying(rng, grid, coat.start, coat.system.water)
    for day, kind in history.events:
        if kind == "flood":
            drying += _drying(rng, grid, day, rng.uniform(0.5, 1.0))
    return leak, np.minimum(drying, 1)


def _drying(rng: np.random.Generator, grid: FloatArray, day: float, water: float) -> FloatArray:
    years = (grid - day) / YEAR
    return np.where(years >= 0, water * np.exp(-np.maximum(years, 0) / rng.lognormal(np.log(0.8), 0.4)), 0)


def _surface(rng: np.random.Generator, house: House, history: History) -> tuple[FloatArray, FloatArray]:
    """Surface temperature (°C) and dew-point margin (K); a spell of condensation chills the wall."""
    grid, air = house.grid, house.climate
    swing = np.cos(2 * np.pi * (grid / YEAR - rng.choice([0.05, 0.5], p=[0.35, 0.65]) - rng.normal(0, 0.04)))
    chill = rng.uniform(0.2, 2.5) + rng.uniform(0.1, 1.2) * (1 + swing)
    dew = dew_point(air.room_temperature, air.room_humidity)
    surface = air.room_temperature - chill
    for spell in history.spells:
        inside = (grid >= spell.start) & (grid < spell.end)
        if spell.regime == "condensation" and inside.any():
            wet_share = rng.uniform(0.1, 0.3)
            excess = np.quantile(surface[inside] - dew[inside], wet_share)
            surface = surface - inside * max(excess, 0)
    return surface, surface - dew


def dew_point(temperature: FloatArray, humidity: FloatArray) -> FloatArray:
    """Dew point in °C by the Magnus form with Alduchov & Eskridge (1996) constants, from memory."""
    gamma = np.log(humidity / 100) + 17.625 * temperature / (243.04 + temperature)
    return 243.04 * gamma / (17.625 - gamma)


def _coat_numbers(grid: FloatArray, history: History) -> FloatArray:
    """The index in ``history.coats`` of the coat on the wall, -1 where it is bare."""
    numbers = np.full(len(grid), -1)
    for i, coat in enumerate(history.coats):
        numbers[(grid >= coat.start) & (grid < coat.end)] = i
    return numbers


def _areas(
    rng: np.random.Generator, grid: FloatArray, history: History, drive: FloatArray, leak: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Hollow, fallen, lost, and what the present spell of wear has taken; each a share of the area."""
    n = len(grid)
    hollow, fallen, lost, wearing = (np.zeros(n) for _ in range(4))
    wear_rate = _wear_rate(rng, grid, history.spells)
    for coat in history.coats:
        on = np.flatnonzero((grid >= coat.start) & (grid < coat.end))
        if not len(on):
            continue
        loose, fell, worn = _one_coat(rng, coat, grid[on], drive[on], leak[on], wear_rate[on])
        lost[on] = fell
        fallen[on] = fell
        hollow[on] = loose - fell
        wearing[on] = worn
        for day, kind in history.events:
            after = on[grid[on] >= day]
            if kind == "repair" and len(after):
                share = rng.uniform(0.6, 1.0)
                hollow[after] = np.maximum(hollow[after] - share * hollow[after[0]], 0)
                fallen[after] = np.maximum(fallen[after] - share * fallen[after[0]], 0)
    return hollow, fallen, lost, wearing


def _wear_rate(rng: np.random.Generator, grid: FloatArray, spells: list[Spell]) -> FloatArray:
    rate = np.zeros(len(grid))
    for spell in spells:
        if spell.regime == "surface_wear":
            rate[(grid >= spell.start) & (grid < spell.end)] = np.exp(
                rng.uniform(np.log(0.004), np.log(0.03))
            )
    return rate


def _one_coat(
    rng: np.random.Generator,
    coat: CoatSpell,
    days: FloatArray,
    drive: FloatArray,
    leak: FloatArray,
    wear_rate: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Loosened in all, fallen of it, and worn in the present spell, as shares of the area of one coat."""
    step = STEP / YEAR
    push = rng.lognormal(np.log(0.022), 0.7) * (0.4 + coat.system.tightness)
    driven = np.cumsum(_jumps(rng, push * drive * step))
    old = min((days[0] - coat.start) / YEAR, 12) * rng.uniform(0.1, 0.8)
    driven += push * drive[0] * old
    delay, share = int(rng.uniform(0.8, 6) / step), rng.uniform(0.4, 1.0)
    driven_off = share * np.concatenate([np.full(min(delay, len(days)), 0.0), driven])[: len(days)]
    worn = np.cumsum(_jumps(rng, (wear_rate + 0.0004 + 0.005 * leak) * step)) + 0.0006 * old * rng.lognormal(
        0, 1
    )
    worn_off = rng.uniform(0.3, 0.9)
    shrunk = rng.uniform(0.01, 0.09) if coat.system.dense and rng.random() < 0.3 else 0.0
    opens = shrunk * np.clip((days - coat.start) / (0.5 * YEAR), 0, 1)
    loose = 1 - np.exp(-(driven + worn + opens))
    fell = np.minimum(1 - np.exp(-(driven_off + worn_off * worn)), loose)
    starts = np.flatnonzero(np.diff(wear_rate, prepend=0) > 0)
    before = np.zeros(len(days))
    for start in starts:
        before[start:] = worn[start]
    return loose, np.maximum.accumulate(fell), np.where(wear_rate > 0, worn - before, 0)


def _jumps(rng: np.random.Generator, mean: FloatArray) -> FloatArray:
    """Increments of a gamma process with these means and jumps of scale :data:`JUMP`."""
    return rng.gamma(mean / JUMP, JUMP)
