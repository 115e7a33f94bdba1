"""Weather, ground and room air of each house, on the simulator's time grid.

The weather is an invented temperate one: a yearly wave, AR(1) spells and gamma rain.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from inspections.analysis.records import YEAR

FloatArray = npt.NDArray[np.float64]

#: Days in one step of the simulation.
STEP = 3.0


@dataclass(frozen=True, slots=True)
class Climate:
    """Arrays of shape (steps, houses): °C, Pa, mm a day; ``wet`` is wetness of the ground, mean 1."""

    outdoor_t: FloatArray
    outdoor_p: FloatArray
    rain: FloatArray
    wet: FloatArray
    ground_t: FloatArray
    room_t: FloatArray
    room_p: FloatArray

    def of(self, house: npt.NDArray[np.intp]) -> Climate:
        """The same, a column for each entry of ``house``."""
        return Climate(*(getattr(self, item.name)[:, house] for item in fields(self)))


@dataclass(frozen=True, slots=True)
class RoomHabits:
    """How each house's basement is kept, shape (houses,). Steps are indices, ``steps`` for never."""

    heated: npt.NDArray[np.bool_]
    dehumidifier_from: npt.NDArray[np.int64]
    heating_changes_at: npt.NDArray[np.int64]
    vapour_gain: FloatArray


def saturation_pressure(celsius: FloatArray) -> FloatArray:
    """Saturation vapour pressure over water in Pa from °C (ISO 13788:2012, annex E)."""
    return 610.5 * np.exp(17.269 * celsius / (237.3 + celsius))


def dew_point(pressure: FloatArray) -> FloatArray:
    """Dew point in °C of a vapour pressure in Pa: the inverse of :func:`saturation_pressure`."""
    ratio = np.log(np.maximum(pressure, 1.0) / 610.5)
    return 237.3 * ratio / (17.269 - ratio)


def spells(rng: np.random.Generator, shape: tuple[int, int], days: float) -> FloatArray:
    """AR(1) noise of unit variance along axis 0 that forgets in ``days``."""
    keep = np.exp(-STEP / days)
    noise = rng.standard_normal(shape)
    noise[0] /= np.sqrt(1 - keep**2)
    return np.asarray(lfilter([np.sqrt(1 - keep**2)], [1.0, -keep], noise, axis=0))


def smooth(values: FloatArray, days: float) -> FloatArray:
    """Exponential forgetting along axis 0, started at the mean."""
    keep = np.exp(-STEP / days)
    mean = values.mean(axis=0)
    return np.asarray(lfilter([1 - keep], [1.0, -keep], values - mean, axis=0)) + mean


def draw_habits(rng: np.random.Generator, steps: int, houses: int, unheated_share: float) -> RoomHabits:
    """How the basements are kept: some get a dehumidifier, some a change of heating, within the record."""

    def sometime(share: float) -> npt.NDArray[np.int64]:
        return np.where(rng.random(houses) < share, rng.integers(0, steps, houses), steps)

    early = rng.random(houses) < 0.2
    return RoomHabits(
        heated=rng.random(houses) >= unheated_share,
        dehumidifier_from=np.where(early, 0, sometime(0.15)),
        heating_changes_at=sometime(0.12),
        vapour_gain=rng.uniform(80.0, 350.0, houses),
    )


def draw_climate(rng: np.random.Generator, time: FloatArray, habits: RoomHabits) -> Climate:
    """The climates of every house of one town: one weather, kept differently indoors."""
    steps, houses = len(time), len(habits.heated)
    mean, swing = rng.uniform(7.0, 12.5), rng.uniform(8.0, 12.5)
    phase = 2 * np.pi * (time / YEAR - 0.55)[:, None]  # warmest in the last third of July
    outdoor_t = mean + swing * np.cos(phase) + 2.5 * spells(rng, (steps, 1), 6.0)
    outdoor_rh = np.clip(0.78 - 0.06 * np.cos(phase) + 0.07 * spells(rng, (steps, 1), 6.0), 0.35, 1.0)
    outdoor_p = outdoor_rh * saturation_pressure(outdoor_t)
    wet_season = 1 + 0.4 * np.cos(2 * np.pi * (time / YEAR - rng.uniform(-0.1, 0.35)))[:, None]
    rain = 2.4 * wet_season * rng.gamma(0.45, 1 / 0.45, (steps, 1))
    wet = 0.5 * smooth(rain, 12.0) + 0.5 * smooth(rain, 75.0)
    ground_t = mean + 1.0 + 0.45 * swing * np.cos(phase - 2 * np.pi * 55 / YEAR)
    room_t, room_p = _room(rng, time, habits, outdoor_t, outdoor_p, ground_t)

    def broad(values: FloatArray) -> FloatArray:
        return np.broadcast_to(values, (steps, houses))

    return Climate(
        broad(outdoor_t),
        broad(outdoor_p),
        broad(rain),
        broad(wet / wet.mean()),
        broad(ground_t),
        room_t,
        room_p,
    )


def _room(
    rng: np.random.Generator,
    time: FloatArray,
    habits: RoomHabits,
    outdoor_t: FloatArray,
    outdoor_p: FloatArray,
    ground_t: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Room temperature and vapour pressure, (steps, houses)."""
    steps, houses = len(time), len(habits.heated)
    index = np.arange(steps)[:, None]
    heated = habits.heated ^ (index >= habits.heating_changes_at)
    set_point = rng.uniform(15.5, 20.0, houses)
    follow = rng.uniform(0.3, 0.6, houses)
    free = follow * outdoor_t + (1 - follow) * ground_t + rng.uniform(0.0, 3.0, houses)
    room_t = np.where(heated, np.maximum(free, set_point), free) + 0.6 * spells(rng, (steps, houses), 10.0)
    gain = habits.vapour_gain * (1 + 0.3 * spells(rng, (steps, houses), 20.0))
    saturated = saturation_pressure(room_t)
    room_p = np.minimum(outdoor_p + np.maximum(gain, 0.0), 0.88 * saturated)
    dried = index >= habits.dehumidifier_from
    limit = rng.uniform(0.5, 0.65, houses) * saturated
    return room_t, np.where(dried, np.minimum(room_p, limit), room_p)
