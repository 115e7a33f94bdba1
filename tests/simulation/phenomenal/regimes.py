"""The semi-Markov chain of regimes that a section of wall goes through, and what is done to it on the way."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from inspections.analysis.records import YEAR
from tests.simulation.phenomenal.coats import CoatSystem, draw_dense, draw_drained, draw_open
from tests.simulation.phenomenal.house import LEAD, STEP, House

#: Chance that the coat a section starts with is dense, or a drained lining.
DENSE_SHARE, DRAINED_SHARE = 0.47, 0.05

#: Rates per year at exposure 1 with which a stable wall leaves for another regime.
FILL_RATE, LEAK_RATE, SWEAT_RATE = 0.08, 0.015, 0.016
WEAR_RATE_OPEN, WEAR_RATE_DENSE = 0.045, 0.014

#: Chance at exposure 1 that a dense coat was put on a wall that was full already.
SEALED_WET = 0.015


@dataclass(frozen=True, slots=True)
class Spell:
    """A regime from one day to another. ``wet_start``: it was in force, and full, from its first day."""

    regime: str
    start: float
    end: float
    wet_start: bool = False


@dataclass(frozen=True, slots=True)
class CoatSpell:
    """A coat system that rules the wall until ``end``; ``found``: older than the care of the wall.

    One that is painted over stays under the next, whose layers are numbered on, till both are ``off``.
    """

    system: CoatSystem
    start: float
    end: float = np.inf
    off: float = np.inf
    found: bool = False
    reason: str = ""
    first_layer: int = 1


@dataclass(slots=True)
class History:
    """What happened to one section: regimes in order of time, coats, and events as (day, kind)."""

    exposure: float
    adjoins: str
    spells: list[Spell] = field(default_factory=list)
    coats: list[CoatSpell] = field(default_factory=list)
    events: list[tuple[float, str]] = field(default_factory=list)


def draw_history(rng: np.random.Generator, house: House) -> History:
    """Walk one section from the start of the grid to its end."""
    adjoins = str(
        rng.choice(["soil", "street", "garden", "party_wall", "interior"], p=[0.42, 0.2, 0.18, 0.14, 0.06])
    )
    exposure = rng.lognormal(0, 0.5) * {"interior": 0.3, "party_wall": 0.6}.get(adjoins, 1.1)
    history = History(exposure, adjoins)
    _first_coat(rng, house, history)
    day, end = float(house.grid[0]), float(house.grid[-1])
    regime, wet = _first_regime(rng, house, history)
    while day < end:
        spell, follows = _spell(rng, house, history, regime, day, wet)
        history.spells.append(spell)
        day, (regime, wet) = spell.end, follows
    history.coats = [
        replace(coat, start=_step(house, coat.start), end=_step(house, coat.end), off=_step(house, coat.off))
        for coat in history.coats
    ]
    return history


def _step(house: House, day: float) -> float:
    """The first step of the grid from ``day`` on, so that records and hidden paths change at one time."""
    start = house.grid[0]
    return float(start + np.ceil((day - start) / STEP) * STEP) if np.isfinite(day) else day


def coat_at(history: History, day: float) -> CoatSpell | None:
    """The coat system on the wall that day."""
    return next((coat for coat in reversed(history.coats) if coat.start <= day < coat.end), None)


def _first_coat(rng: np.random.Generator, house: House, history: History) -> None:
    draw = rng.random()
    if draw < DENSE_SHARE:
        system = draw_dense(rng)
    elif draw < DENSE_SHARE + DRAINED_SHARE:
        system = draw_drained(rng)
    else:
        system = draw_open(rng)
    first_visit = house.visits[0]
    found = rng.random() < 0.55
    age = rng.gamma(1.5, 8) + 0.5 if found else rng.uniform(-0.9, LEAD - 0.2)
    history.coats.append(CoatSpell(system, float(first_visit - age * YEAR), found=found))


def _first_regime(rng: np.random.Generator, house: House, history: History) -> tuple[str, bool]:
    coat = history.coats[0]
    if coat.system.traps and coat.start < house.visits[0] and rng.random() < SEALED_WET * history.exposure:
        return "trapped_water", True
    if not coat.found:
        return ("drying_out" if coat.system.water > 0.25 else "stable"), False
    chances = [0.88, 0.03, 0.04, 0.05]
    return str(rng.choice(["stable", "water_entry", "condensation", "surface_wear"], p=chances)), False


def _spell(
    rng: np.random.Generator, house: House, history: History, regime: str, day: float, wet: bool
) -> tuple[Spell, tuple[str, bool]]:
    """One spell of ``regime`` from ``day``, and what follows it."""
    if regime == "stable":
        return _stable(rng, house, history, day)
    if regime == "trapped_water":
        return _trapped(rng, history, day, wet)
    if regime == "water_entry":
        return _entry(rng, history, day)
    if regime == "drying_out":
        coat = history.coats[-1]
        begin = max(day, coat.start) if coat.start > day and coat.system.water > 0.25 else day
        return Spell(regime, day, begin + YEAR * rng.lognormal(np.log(2.2), 0.3)), ("stable", False)
    if regime == "condensation":
        return Spell(regime, day, day + YEAR * rng.gamma(3, 1.3)), ("stable", False)
    return _wear(rng, history, day)


def _stable(
    rng: np.random.Generator, house: House, history: History, day: float
) -> tuple[Spell, tuple[str, bool]]:
    """Competing Weibull waits; a flood or a dense coat put over an open one may cut in."""
    coat, exposure = history.coats[-1], history.exposure
    ground = 0.3 if history.adjoins == "interior" else 1.0
    fills = FILL_RATE * exposure * coat.system.tightness**2 / 0.5 if coat.system.traps else 0.0
    wears = WEAR_RATE_DENSE if coat.system.dense else WEAR_RATE_OPEN
    waits = {
        "trapped_water": _wait(rng, fills, 1.7),
        "water_entry": _wait(rng, LEAK_RATE * exposure, 1.0),
        "condensation": _wait(rng, SWEAT_RATE * ground, 1.0),
        "surface_wear": _wait(rng, wears, 1.5),
    }
    begin = max(day, coat.start)
    if begin < house.climate.flood_day:
        waits["drying_out"] = (house.climate.flood_day - begin) / YEAR
    follows = min(waits, key=lambda name: waits[name])
    if not coat.system.dense and rng.random() < 0.1:
        paints = rng.uniform(1, 8)
        if paints < waits[follows]:
            until = begin + paints * YEAR
            return Spell("stable", day, until), _overcoat(rng, history, until)
    until = begin + waits[follows] * YEAR
    if follows == "drying_out":
        history.events.append((until, "flood"))
    return Spell("stable", day, until), (follows, False)


def _overcoat(rng: np.random.Generator, history: History, day: float) -> tuple[str, bool]:
    """Take an open coat for the ground of a dense one; damp walls are sealed wet."""
    ground = history.coats[-1]
    history.coats[-1] = replace(ground, end=day)
    number = ground.first_layer + len(ground.system.layers)
    history.coats.append(CoatSpell(draw_dense(rng), day, first_layer=number))
    if rng.random() < 2 * SEALED_WET * history.exposure:
        return "trapped_water", True
    return "stable", False


def _trapped(
    rng: np.random.Generator, history: History, day: float, wet: bool
) -> tuple[Spell, tuple[str, bool]]:
    """Until the coat is stripped or the source mended, if ever within the record."""
    end = day + YEAR * rng.gamma(4, 3.0)
    if rng.random() < 0.35:
        history.events.append((end, "leak_mended"))
        return Spell("trapped_water", day, end, wet), ("drying_out", False)
    _strip(history, end, "failed" if rng.random() < 0.8 else "planned")
    history.coats.append(CoatSpell(draw_open(rng), end + 30.0))
    history.events.append((end, "opening"))
    return Spell("trapped_water", day, end, wet), ("drying_out", False)


def _entry(rng: np.random.Generator, history: History, day: float) -> tuple[Spell, tuple[str, bool]]:
    end = day + YEAR * rng.gamma(2, 1.7)
    if history.coats[-1].system.traps and rng.random() < 0.2:
        return Spell("water_entry", day, end), ("trapped_water", False)
    if rng.random() < 0.75:
        history.events.append((end, "leak_mended"))
    return Spell("water_entry", day, end), ("drying_out", False)


def _wear(rng: np.random.Generator, history: History, day: float) -> tuple[Spell, tuple[str, bool]]:
    """Until it is patched, or the coat is renewed by an open one."""
    end = day + YEAR * rng.gamma(4, 2.0)
    if rng.random() < 0.5:
        history.events.append((end, "repair"))
        return Spell("surface_wear", day, end), ("stable", False)
    _strip(history, end, "failed" if rng.random() < 0.5 else "planned")
    history.coats.append(CoatSpell(draw_open(rng), end + 20.0))
    return Spell("surface_wear", day, end), ("drying_out", False)


def _strip(history: History, day: float, reason: str) -> None:
    """Take off whatever is on the wall."""
    history.coats = [
        replace(coat, end=min(coat.end, day), off=day, reason=reason) if coat.off > day else coat
        for coat in history.coats
    ]


def _wait(rng: np.random.Generator, rate: float, shape: float) -> float:
    """A Weibull wait in years with mean near ``1 / rate``."""
    return float(rng.weibull(shape) / rate) if rate > 0 else np.inf
