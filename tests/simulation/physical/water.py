"""The water balance of every section, in steps of three days, all sections at once.

Water is held in two stores: the wall behind the coat (``wall``) and the face of the coat (``face``), both in
kg/m². Liquid comes from the ground and from leaks; vapour goes through the coat by the difference in vapour
pressure; a coat that carries liquid brings it to its face, where it dries; what the wall can't hold drains.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .climate import STEP, Climate, FloatArray, saturation_pressure

#: Permeability of still air, kg/(m s Pa) (ISO 13788), times the seconds of a day.
DELTA_DAY = 2.0e-10 * 86400
#: Still-air equivalent of the room-side surface film, m (EN 15026 gives a coefficient of about 2.5e-8 s/m).
FILM = 0.008
#: The same for the patches on which a leak or a capillary coat is wet: less air reaches them. A guess.
FACE_FILM = 0.02
#: Share of a finish that lies in front of the water at a face; most of it comes through the finish. A guess.
FINISH_SHARE = 0.1
#: Bare masonry dries from a front a little behind its face, m. A guess.
BARE_SD = 0.06
#: Liquid that a full wall sends through a pure lime coat, kg/m² a day. A guess.
CAPILLARY = 0.25
#: Fill below which a wall sends no liquid outward, and below which its air is no longer near saturation.
CAPILLARY_FROM, SORPTION = 0.15, 0.07
#: Share of the face's capacity above which it dries as a wet surface does.
WET_FACE = 0.25
#: Pa by which the room's vapour pressure wanders within a step.
PRESSURE_WANDER = 40.0


@dataclass(slots=True)
class CoatState:
    """What the coats in place do, shape (sections,)."""

    sd: FloatArray
    finish_sd: FloatArray
    carries: FloatArray
    face_capacity: FloatArray
    loosens: FloatArray
    wears: FloatArray
    free: npt.NDArray[np.bool_]
    covered: npt.NDArray[np.bool_]
    drain: FloatArray

    @classmethod
    def bare(cls, n: int) -> CoatState:
        """No coat anywhere."""
        return cls(
            sd=np.full(n, BARE_SD),
            finish_sd=np.zeros(n),
            carries=np.ones(n),
            face_capacity=np.full(n, 1.0),
            loosens=np.zeros(n),
            wears=np.ones(n),
            free=np.zeros(n, dtype=bool),
            covered=np.zeros(n, dtype=bool),
            drain=np.zeros(n),
        )


@dataclass(slots=True)
class Leaks:
    """Leaks in force, shape (sections,): size in kg/m² a day once grown, ``through`` the share that comes
    straight to the face by cracks and joints, ``rainy`` the share that follows the rain."""

    size: FloatArray
    since: FloatArray
    ramp: FloatArray
    rainy: FloatArray
    through: FloatArray

    def flow(self, step: int, rain: FloatArray) -> FloatArray:
        """kg/m² a day at a step; ``rain`` in mm a day, of which 2.4 is the mean."""
        grown = np.clip((step - self.since) / np.maximum(self.ramp, 1.0), 0.0, 1.0)
        return self.size * grown * (1 - self.rainy + self.rainy * rain / 2.4)


@dataclass(slots=True)
class Water:
    """The stores and the running totals that must balance, kg/m², shape (sections,)."""

    wall: FloatArray
    face: FloatArray
    #: The part of both stores that came with mortar, a flood, or a sealed wall that was opened.
    excess: FloatArray
    came: FloatArray
    went: FloatArray

    @property
    def held(self) -> FloatArray:
        return self.wall + self.face

    def pour(self, section: int, to_wall: float, to_face: float = 0.0) -> None:
        """Add water from outside the balance: mixing water, a flood."""
        self.wall[section] += to_wall
        self.face[section] += to_face
        self.came[section] += to_wall + to_face
        self.excess[section] += max(to_wall, 0.0) + to_face


@dataclass(frozen=True, slots=True)
class Walls:
    """Constants of the sections, shape (sections,)."""

    supply: FloatArray
    capacity: FloatArray
    face_cold: FloatArray
    wall_cold: FloatArray
    drain: FloatArray
    wet_weight: FloatArray


@dataclass(frozen=True, slots=True)
class Flows:
    """One step's flows, kg/m² a day: ``out`` leaves the wall through the coat, ``seep`` comes to the face as
    liquid. ``sweat`` is the share of the step in which the face is below the dew point; the rest are shares
    of capacity."""

    out: FloatArray
    seep: FloatArray
    sweat: FloatArray
    fill: FloatArray
    face: FloatArray


def advance(
    water: Water,
    walls: Walls,
    coat: CoatState,
    leaks: Leaks,
    climate: Climate,
    step: int,
    hollow: FloatArray,
    lost: FloatArray,
) -> Flows:
    """One step of the balance; changes ``water`` and returns what flowed."""
    room_t, room_p, ground_t = climate.room_t[step], climate.room_p[step], climate.ground_t[step]
    fill = water.wall / walls.capacity
    wet_face = water.face / coat.face_capacity
    room_left = 1 - fill**6
    leak = leaks.flow(step, climate.rain[step])
    season = 1 + walls.wet_weight * (climate.wet[step] - 1)
    supplied = (walls.supply * np.maximum(season, 0.0) + leak * (1 - leaks.through)) * room_left

    wall_p = saturation_pressure(room_t - walls.wall_cold * (room_t - ground_t)) * (
        1 - np.exp(-fill / SORPTION)
    )
    face_p = saturation_pressure(room_t - walls.face_cold * (room_t - ground_t))
    passes = (1 - lost) / (coat.sd + FILM) + lost / (BARE_SD + FILM)
    vapour = np.minimum(DELTA_DAY * passes * (wall_p - room_p), 0.3 * water.wall / STEP)
    conducts = (1 - lost) * coat.carries * (1 - hollow) + lost
    pull = np.clip((fill - CAPILLARY_FROM) / (1 - CAPILLARY_FROM), 0.0, 1.0) ** 2
    carried = np.minimum(CAPILLARY * conducts * pull, 0.3 * water.wall / STEP)
    drained = np.maximum((coat.drain + walls.drain) * (fill - 0.7), 0.0) * walls.capacity

    damp = DELTA_DAY / FILM * np.maximum(room_p - face_p, 0.0)
    to_face = carried + leak * leaks.through + damp
    film = FACE_FILM + FINISH_SHARE * np.minimum(coat.finish_sd, 0.5) * (1 - lost)
    dries = DELTA_DAY / film * np.maximum(face_p - room_p, 0.0) * np.minimum(wet_face / WET_FACE, 1.0)
    dries = np.minimum(dries, 0.8 * (water.face / STEP + to_face))
    drips = np.maximum(water.face / STEP + to_face - dries - coat.face_capacity / STEP, 0.0)

    water.wall += STEP * (supplied - vapour - carried - drained)
    water.face += STEP * (to_face - dries - drips)
    water.came += STEP * (supplied + leak * leaks.through + damp + np.maximum(-vapour, 0.0))
    went = STEP * (np.maximum(vapour, 0.0) + drained + dries + drips)
    water.went += went
    water.excess *= 1 - went / (water.held + went)
    sweat = 1 / (1 + np.exp((face_p - room_p) / PRESSURE_WANDER))
    seep = carried + leak * leaks.through
    return Flows(vapour + carried, seep, sweat, water.wall / walls.capacity, water.face / coat.face_capacity)
