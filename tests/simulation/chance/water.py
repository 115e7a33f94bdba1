"""What works on each section from outside: arriving water, floods, the room's vapour and the face's dew."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inspections.analysis.records import YEAR, FloatArray
from tests.simulation.chance.places import Fault, House, Walls
from tests.simulation.chance.weather import Climate, Rng, saturation

#: Days in a step of the walls.
STEP = 5


@dataclass(frozen=True, slots=True)
class Flood:
    """A flood or a failed sump of one house on one day; ``wets`` (S,) is the share each wall is filled."""

    house: int
    day: float
    kind: str
    wets: FloatArray


@dataclass(frozen=True, slots=True)
class Forces:
    """Means over steps (K, S): water in g/m² a day, pressures in Pa; ``dew`` in hours of dew a day, 0 to 24.

    ``quick`` is the part of ``arrives`` that came within days. ``day`` (K,) is each step's first day.
    """

    day: FloatArray
    arrives: FloatArray
    quick: FloatArray
    back: FloatArray
    air: FloatArray
    room: FloatArray
    dew: FloatArray
    winter: FloatArray


def stepped(daily: FloatArray) -> FloatArray:
    """Means over the steps of daily columns."""
    steps = len(daily) // STEP
    return daily[: steps * STEP].reshape(steps, STEP, -1).mean(axis=1)


def draw_floods(rng: Rng, houses: list[House], walls: Walls, first: int, days: int) -> list[Flood]:
    """Floods and failed sumps, about one in forty years of a house."""
    found = []
    for house in range(len(houses)):
        low = (walls.house == house) & ((walls.below > 0.3) | (rng.random(len(walls)) < 0.3))
        for _ in range(rng.poisson(0.025 * days / YEAR)):
            wets = np.where(low, rng.uniform(0.15, 0.7) * rng.uniform(0.5, 1.2, len(walls)), 0.0)
            kind = str(rng.choice(("flood", "sump_failure"), p=(0.7, 0.3)))
            found.append(Flood(house, first + float(rng.uniform(0, days)), kind, wets))
    return sorted(found, key=lambda flood: flood.day)


def forces(climate: Climate, walls: Walls, faults: Sequence[Fault], first: int) -> Forces:
    """The forces on all walls, from the climate of their houses and from the leaks."""
    of = walls.house
    usual = climate.water.mean(axis=1)[:, None, :]
    parts = [stepped(part)[:, of] for part in climate.water / usual]
    parts.append(stepped(climate.ground)[:, of])
    day = first + STEP * np.arange(len(parts[0]), dtype=float)
    each = [walls.arrives * walls.shares[:, i] * part for i, part in enumerate(parts)]
    arrives, quick = each[0] + each[1] + each[2] + each[3], each[0].copy()
    for fault in faults:
        open_now = (day >= fault.begin) & (day < fault.end)
        s = fault.section
        if fault.rain:
            fast = fault.much * (0.6 * parts[0][open_now, s] + 0.4 * parts[1][open_now, s])
            quick[open_now, s] += fast
        else:
            fast = np.full(open_now.sum(), fault.much)
            quick[open_now, s] += 0.5 * fast
        arrives[open_now, s] += fast
    face = face_temperature(climate, walls)
    over = climate.room_vapour[:, of] - saturation(face)
    dew = 24 * np.clip((over + 20) / 150, 0, 1)
    back = 0.4 * climate.room[:, of] + 0.6 * climate.soil[:, of]
    return Forces(
        day=day,
        arrives=arrives,
        quick=quick,
        back=saturation(stepped(back)),
        air=stepped(climate.room_vapour)[:, of],
        room=saturation(stepped(climate.room))[:, of],
        dew=stepped(dew),
        winter=(stepped(climate.outdoor) < 1.0).astype(float)[:, of],
    )


def face_temperature(climate: Climate, walls: Walls) -> FloatArray:
    """Temperature of each face by the day: (days, S)."""
    room = climate.room[:, walls.house]
    return room - walls.chill * (room - climate.soil[:, walls.house])
