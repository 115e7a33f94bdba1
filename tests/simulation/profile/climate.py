"""Weather, soil and rooms of a portfolio, week by week, before any wall is reckoned.

Temperatures in °C, vapour pressures in Pa, rain in mm a day. All of it is the forcing of the walls: what the
soil offers at each height, what the room takes, what the room's air leaves on a cold face.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from tests.simulation.profile.places import HEIGHTS, STEP, Plan

FloatArray = npt.NDArray[np.float64]

#: Vapour transfer from air to a face, kg/m² a day for each Pa (2.3e-8 s/m of ISO 13788's order of size).
FILM = 2.3e-8 * 86400

#: Spread (Pa) of the room's vapour pressure about its weekly mean, from hour to hour and day to day.
UNREST = 110.0


@dataclass(slots=True)
class Climate:
    """Arrays by week and wall (T, S), with heights (T, S, Z) where they differ along the wall.

    ``offer`` is the cube of the soil's saturation, ``drought`` the outdoor air's deficit in Pa, ``dew`` the
    condensate in kg/m² a day, ``frost`` the degrees below nought in a cell near the ground's surface.
    """

    day: FloatArray
    rain: FloatArray
    room_t: FloatArray
    room_p: FloatArray
    drought: FloatArray
    foot: FloatArray
    face_t: FloatArray
    face_p: FloatArray
    dew: FloatArray
    offer: FloatArray
    frost: FloatArray


def saturation(temperature: FloatArray) -> FloatArray:
    """Saturation pressure of vapour in Pa over water (ISO 13788's formula) at °C."""
    return np.asarray(610.5 * np.exp(17.269 * temperature / (237.3 + temperature)))


def cell_heights(plan: Plan) -> FloatArray:
    """Middles of the cells above the floor in metres, shape (S, Z)."""
    return np.asarray((np.arange(HEIGHTS) + 0.5) / HEIGHTS * plan.of("height")[:, None])


def weather(rng: np.random.Generator, plan: Plan) -> Climate:
    """The portfolio's weather, soils and rooms."""
    houses = len(plan.houses)
    day = plan.origin + STEP * np.arange(plan.weeks, dtype=float)
    season = 2 * np.pi * ((day / 365.2425) % 1.0)
    warmest = np.cos(season - 2 * np.pi * 0.55)[:, None]

    def house(name: str) -> FloatArray:
        return np.array([getattr(item, name) for item in plan.houses], dtype=float)

    def drift(keep: float, size: float, own: float = 0.3) -> FloatArray:
        """A serially dependent unrest shared by the region, with a part of each house's own."""
        noise = rng.normal(size=(plan.weeks, 1)) + own * rng.normal(size=(plan.weeks, houses))
        return np.asarray(lfilter([size * np.sqrt(1 - keep**2)], [1, -keep], noise, axis=0))

    outdoor_t = house("warmth") + house("swing") * warmest + drift(0.6, 2.4)
    share = np.clip(house("outdoor_rh") - 0.05 * warmest + drift(0.5, 0.05), 0.4, 0.97)
    outdoor_p = share * saturation(outdoor_t)
    shower = rng.gamma(0.9, 1 / 0.9, size=(plan.weeks, 1)) * rng.lognormal(0, 0.15, (plan.weeks, houses))
    rain = house("rain") * shower * (1 + 0.15 * warmest)
    surplus = rain / house("rain") - 1 - 0.9 * warmest
    soil = 0.055 * _memory(surplus, 8) + 0.03 * _memory(surplus, 52)
    table = 0.10 * _memory(surplus, 26) + 0.05 * _memory(surplus, 120)
    room_t, room_p = _rooms(plan, house, outdoor_t, outdoor_p, warmest, drift)

    index = np.array([wall.house for wall in plan.walls])
    height, below = cell_heights(plan), plan.of("below")[:, None]
    under = below - height
    face_t = _face(plan, index, under, room_t, outdoor_t, season)
    face_p = saturation(face_t)
    excess = (room_p[:, index, None] - face_p) / UNREST
    dew = FILM * UNREST * np.logaddexp(0.0, 1.7 * excess) / 1.7
    dew[excess < -3] = 0.0
    start, size, years = np.array([wall.turn for wall in plan.walls]).T
    turn = size * np.clip((np.arange(plan.weeks)[:, None] - start) / (52 * years), 0, 1)
    wet = (plan.of("soil_wet") + turn)[:, :, None] + 0.28 * np.maximum(under, 0) + soil[:, index, None]
    shut = np.array([wall.outside_coat for wall in plan.walls])
    closed = (shut >= 0) & (np.arange(plan.weeks)[:, None] >= shut)
    wet = np.where(closed[:, :, None], 0.25 * wet, wet)
    near_grade = np.exp(-((under / 0.3) ** 2))
    return Climate(
        day=day,
        rain=rain[:, index],
        room_t=room_t[:, index],
        room_p=room_p[:, index],
        drought=np.maximum(saturation(outdoor_t) - outdoor_p, 0)[:, index],
        foot=np.clip(plan.of("foot") + 0.7 * turn + table[:, index], 0.05, 1) ** 3,
        face_t=face_t,
        face_p=face_p,
        dew=dew,
        offer=np.clip(wet, 0, 1) ** 3 * np.clip(under / 0.15 + 0.5, 0, 1),
        frost=np.maximum(-(outdoor_t[:, index, None] + 1), 0) * near_grade,
    )


def _memory(values: FloatArray, weeks: float) -> FloatArray:
    """A running mean that forgets by ``weeks``, as of a soil that fills and drains."""
    keep = np.exp(-1 / weeks)
    return np.asarray(lfilter([1 - keep], [1, -keep], values, axis=0)) * np.sqrt(weeks) ** 0.5


def _rooms(plan, house, outdoor_t, outdoor_p, warmest, drift) -> tuple[FloatArray, FloatArray]:  # type: ignore[no-untyped-def]
    week = np.arange(plan.weeks)[:, None]
    heated = house("heated").astype(bool) | ((house("heated_from") >= 0) & (week >= house("heated_from")))
    follow = np.where(heated, 0.15, 0.42)
    base = np.where(heated & ~house("heated").astype(bool), 18.0, house("room"))
    room_t = base + follow * (outdoor_t - house("warmth")) * np.where(heated & (warmest < 0), 0.3, 1.0)
    room_t = room_t + drift(0.7, 0.5)
    room_p = outdoor_p * house("airy") + (1 - house("airy")) * _memory(outdoor_p, 6) / 6**0.25
    room_p = room_p + house("gain") * (1 - 0.3 * warmest)
    room_p = np.clip(room_p, None, 0.97 * saturation(room_t))
    dryer = np.array([item.dryer for item in plan.houses]).T
    drying = (week >= dryer[0]) & (week < dryer[1]) & (dryer[0] >= 0)
    return room_t, np.where(drying, np.minimum(room_p, 0.6 * saturation(room_t)), room_p)


def _face(
    plan: Plan,
    index: npt.NDArray[np.int64],
    under: FloatArray,
    room_t: FloatArray,
    outdoor_t: FloatArray,
    season: FloatArray,
) -> FloatArray:
    """Temperature of the face: the room's, drawn towards the ground's below grade and the air's above."""
    depth = np.maximum(under, 0.0)
    warmth, swing = plan.of_house("warmth")[:, None], plan.of_house("swing")[:, None]
    lag = season[:, None, None] - 2 * np.pi * 0.55 - depth / 2.1
    ground = warmth + swing * np.exp(-depth / 2.1) * np.cos(lag)
    air = outdoor_t[:, index, None]
    behind = np.where(under > 0, ground, 0.5 * ground + 0.5 * air)
    cold = plan.of("cold")[:, None]
    return np.asarray((1 - cold) * room_t[:, index, None] + cold * behind)
