"""What a stack of coats lets a wall give off, and what water pressure does to it.

A coat on an inside face is judged by its drying resistance, never by the criterion for rain on an outside
face (Kuenzel's product of water uptake and sd): the water comes from behind.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inspections.analysis.psychrometrics import ROOM_FILM_SD, drying_flux
from inspections.analysis.records import FloatArray

#: Relative humidity of the air in a wet wall's pores, percent: over 97 even in walls that read as merely
#: damp, so that it ranks no walls (Kelvin's equation).
WET_WALL_HUMIDITY = 100.0
#: Pressure of a metre's head of water, kPa: 1000 kg/m3 times 9.81 m/s2.
PRESSURE_PER_METRE = 9.81


@dataclass(frozen=True, slots=True)
class Capacity:
    """Vapour, g/m2 a day, that coats let out of a wet wall; ``share`` is the part of a bare wall's.

    ``visits`` climates of the room went into it. Below zero the room's air would wet the wall.
    """

    typical: float
    low: float
    high: float
    share: float
    visits: int


def drying_capacity(
    stack: tuple[float, float, float],
    wall_t: FloatArray,
    room_t: FloatArray,
    room_rh: FloatArray,
    film_sd_m: float = ROOM_FILM_SD,
) -> Capacity | None:
    """Capacity of a ``stack`` (typical, low, high sd, m) over the room's visits (n,); None without one.

    ``wall_t``: temperature of the wall's wet face behind the coats, degC, for which the face's may
    stand, since coats of mortar hold back next to no heat. The typical number is the visits' mean
    through the typical sd; low and high are the means through the tightest and the most open stack, so
    that they hold the coats' uncertainty and not the weather's. Liquid that a capillary coat carries to
    its face comes on top.
    """
    known = ~(np.isnan(wall_t) | np.isnan(room_t) | np.isnan(room_rh))
    if not known.any():
        return None
    wall, room, damp = wall_t[known, None], room_t[known, None], room_rh[known, None]
    flux = drying_flux(wall, WET_WALL_HUMIDITY, room, damp, np.array(stack), film_sd_m)
    typical, most_open, tightest = flux.mean(axis=0).tolist()
    low, high = sorted((most_open, tightest))
    return Capacity(typical, low, high, film_sd_m / (film_sd_m + stack[0]), int(known.sum()))


def water_pressure(head_m: float) -> float:
    """Pressure, kPa, of water that stands ``head_m`` metres over a place; it pushes an inside coat off."""
    return PRESSURE_PER_METRE * max(head_m, 0.0)


def thrust(head_m: float) -> float:
    """Force of standing water on a metre of wall's length, kN: half the pressure at its foot times the head.

    It acts at a third of the head. Earth comes on top; a wall that moves is an engineer's.
    """
    return water_pressure(head_m) * max(head_m, 0.0) / 2
