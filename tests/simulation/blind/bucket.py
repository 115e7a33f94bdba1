"""What happens there: room climate, one bucket of water per section, its face, and the loss of its coat."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inspections.analysis.records import YEAR
from tests.simulation.blind.plan import PAST_YEARS, STEP_DAYS, STEPS_A_YEAR, FloatArray, Plan

BoolArray = npt.NDArray[np.bool_]

#: Vapour that passes 1 m of still air, kg/(m² a Pa): 2.0e-10 kg/(m s Pa) of ISO 13788 (from memory) a year.
VAPOUR_A_YEAR = 2.0e-10 * YEAR * 86400
#: Still air that stands for the room's film, m (from memory).
FILM_M = 0.008
#: Liquid that a full wall gives to the face of a lime coat, kg/m² a year (a choice).
CAPILLARY_A_YEAR = 7.0
#: How much more a soaked wall draws from the ground than a dry one: its pores have joined (a choice).
SOAKED = 1.5
#: A coat that passes less than this, kg/m² a year, comes off a wall that is full (a choice).
COMES_OFF_BELOW = 9.0
#: Share of a coat that comes loose in a year before a full wall, of what hangs loose that falls in a year,
#: and depth of bedding mortar in mm that goes soft in a year (choices).
HOLLOW_A_YEAR = 0.02
FALL_A_YEAR = 0.12
SOFT_A_YEAR = 1.5
#: Hottest day of the year, how many days the ground lags behind it, and the day of the fullest ground.
HOTTEST = 200.0
GROUND_LAG = 50.0
WETTEST = 60.0


@dataclass(slots=True)
class Climate:
    """Arrays by house and fortnight: degC, Pa and the share of the usual rain."""

    day: FloatArray
    room_t: FloatArray
    room_p: FloatArray
    ground_t: FloatArray
    rain: FloatArray


@dataclass(slots=True)
class Course:
    """Arrays by section and fortnight. Shares of the capacity or of the coated area, but for the degC."""

    store: FloatArray
    sd: FloatArray
    capillary: FloatArray
    drained: BoolArray
    fresh: FloatArray
    film: FloatArray
    leaking: BoolArray
    inflow: FloatArray
    passes: FloatArray
    surface_t: FloatArray
    hollow_water: FloatArray
    hollow_wear: FloatArray
    fallen: FloatArray
    soft_mm: FloatArray


def saturation(t: FloatArray) -> FloatArray:
    """Saturation pressure over water in Pa at degC, ISO 13788 (from memory)."""
    return 610.5 * np.exp(17.269 * t / (237.3 + t))


def weather(rng: np.random.Generator, plan: Plan) -> Climate:
    """The room, the ground and the rain of each house."""
    steps = int((PAST_YEARS + plan.years) * STEPS_A_YEAR) + 2
    day: FloatArray = (
        plan.first + (np.arange(steps, dtype=np.float64) - PAST_YEARS * STEPS_A_YEAR) * STEP_DAYS
    )
    houses = plan.houses
    wave = np.cos(2 * np.pi * (day - 3 - HOTTEST) / YEAR)
    lagged = np.cos(2 * np.pi * (day - 3 - HOTTEST - GROUND_LAG) / YEAR)
    mean, swing = _column([h.t_mean for h in houses]), _column([h.t_swing for h in houses])
    outdoor = mean + swing * wave + rng.normal(0, 1.5, (len(houses), steps))
    heated = _column([h.heated for h in houses]) > 0
    room_t = np.where(heated, np.maximum(18 + 0.08 * (outdoor - 10), 0.75 * outdoor + 4), 0.55 * outdoor + 7)
    outdoor_p = (0.76 - 0.08 * wave) * saturation(outdoor)
    room_p = outdoor_p + _column([h.room_load_pa for h in houses]) + rng.normal(0, 40, outdoor.shape)
    dried = day >= _column([h.dry_from for h in houses])
    room_p = np.minimum(room_p, np.where(dried, 0.58, 0.82) * saturation(room_t))
    ground_t = mean + 1.5 + 0.42 * swing * lagged
    return Climate(day, room_t, np.maximum(room_p, 250), ground_t, _rain(rng, day, len(houses)))


def _rain(rng: np.random.Generator, day: FloatArray, houses: int) -> FloatArray:
    """A share of the usual, common to a region, with wet and dry years and a little of the house's own."""
    slow = np.zeros(len(day))
    kick = rng.normal(0, 1, len(day))
    for i in range(1, len(day)):
        slow[i] = 0.95 * slow[i - 1] + 0.31 * kick[i]
    own = rng.normal(0, 0.2, (houses, len(day)))
    return np.exp(0.13 * slow + own)


def run(rng: np.random.Generator, plan: Plan, climate: Climate) -> Course:
    """Fill and empty every bucket, and let the coats come off."""
    course = _prepare(plan, climate)
    _fill(plan, climate, course)
    _damage(rng, plan, climate, course)
    return course


def _prepare(plan: Plan, climate: Climate) -> Course:
    walls, day = plan.walls, climate.day
    house = [wall.house for wall in walls]
    shape = (len(walls), len(day))
    sd, capillary, fresh = np.full(shape, 0.02), np.ones(shape), np.zeros(shape)
    drained = np.zeros(shape, bool)
    for i, wall in enumerate(walls):
        for layer in wall.layers:
            on = (day >= layer.applied) & (day < layer.removed)
            sd[i, on] += layer.sd_m
            capillary[i, on] *= layer.capillary
            drained[i, on] |= layer.drains_to in {"drain", "sump"}
            if layer.kind == "parge_coat":
                lasts = YEAR * (1.2 if layer.capillary > 0.5 else 0.6)
                fresh[i, on] += np.exp(-(day[on] - layer.applied) / lasts)
    coldness = _column([wall.coldness for wall in walls])
    room_t, room_p, ground_t = climate.room_t[house], climate.room_p[house], climate.ground_t[house]
    surface_t = room_t - coldness * (room_t - ground_t)
    film = np.clip((room_p / saturation(surface_t) - 0.95) / 0.15, 0, 1)
    season = 1 + _column([w.season for w in walls]) * np.cos(2 * np.pi * (day - WETTEST) / YEAR)
    leaking = (day >= _column([w.leak_on for w in walls])) & (day < _column([w.leak_off for w in walls]))
    inflow = climate.rain[house] * (
        _column([w.supply for w in walls]) * season + leaking * _column([w.leak for w in walls])
    )
    wall_t = 0.5 * (surface_t + ground_t)
    usual = np.maximum(saturation(wall_t) * 0.98 - room_p, 0).mean(axis=1, keepdims=True)
    passes = VAPOUR_A_YEAR * usual / (sd + FILM_M) + CAPILLARY_A_YEAR * capillary
    nothing = (np.zeros(shape) for _ in range(5))
    return Course(
        next(nothing), sd, capillary, drained, fresh, film, leaking, inflow, passes, surface_t, *nothing
    )


def _fill(plan: Plan, climate: Climate, course: Course) -> None:
    walls, day = plan.walls, climate.day
    house = [wall.house for wall in walls]
    capacity = np.array([wall.capacity for wall in walls])
    wall_t = 0.5 * (course.surface_t + climate.ground_t[house])
    wall_p, room_p = saturation(wall_t), climate.room_p[house]
    conductance = VAPOUR_A_YEAR / (course.sd + FILM_M)
    stripped = _near(day, [wall.layers[0].applied for wall in walls])
    flooded = _near(day, [plan.houses[wall.house].flood_on for wall in walls])
    flooded &= _column([wall.below_grade_m for wall in walls]) > 0
    start = np.array([wall.store_at_coating for wall in walls])
    store = np.full(len(walls), 0.1)
    for i in range(len(day)):
        humidity = 0.72 + 0.27 * np.minimum(1, store / 0.25)
        vapour = np.maximum(conductance[:, i] * (humidity * wall_p[:, i] - room_p[:, i]), 0)
        liquid = CAPILLARY_A_YEAR * course.capillary[:, i] * store * 1.3
        drains = np.where(course.drained[:, i], 12.0, 0.3) * np.maximum(store - 0.5, 0) * 4
        soaked = 1 + SOAKED * np.clip((store - 0.33) / 0.2, 0, 1)
        flow = (
            course.inflow[:, i] * soaked * np.sqrt(1 - store)
            - np.minimum(vapour, 40 * store)
            - liquid
            - drains
        )
        store = np.clip(store + flow / capacity / STEPS_A_YEAR, 0.01, 0.99)
        store = np.where(stripped[:, i], np.maximum(store, start), store)
        store = np.where(flooded[:, i], np.minimum(store + 0.4, 0.9), store)
        course.store[:, i] = store


def _damage(rng: np.random.Generator, plan: Plan, climate: Climate, course: Course) -> None:
    """Hollow areas grow where the store has been full for a while, or by wear; what is hollow falls."""
    walls, day = plan.walls, climate.day
    patience = rng.uniform(0.0, 0.8, len(walls))
    rate = HOLLOW_A_YEAR * np.exp(rng.normal(0, 0.5, len(walls)))
    fall = FALL_A_YEAR * np.exp(rng.normal(0, 0.4, len(walls)))
    wear_on = np.array([wall.wear_on for wall in walls])
    wear = np.array([wall.wear_rate for wall in walls])
    renewed = np.zeros(course.store.shape, bool)
    for i, wall in enumerate(walls):
        renewed[i] = _near(day, [layer.applied for layer in wall.layers]).any(axis=0)
    full_for = np.zeros(len(walls))
    water, worn, fallen, soft = (np.zeros(len(walls)) for _ in range(4))
    closed = (course.passes < COMES_OFF_BELOW) & ~course.drained
    for i in range(PAST_YEARS * STEPS_A_YEAR - STEPS_A_YEAR, len(day)):
        over = course.store[:, i] - plan.limit
        full = over > 0
        full_for = np.where(full, full_for + 1 / STEPS_A_YEAR, np.maximum(full_for - 2 / STEPS_A_YEAR, 0))
        drive = (full_for > patience) * full * closed[:, i] * (1 + 2 * over)
        left = np.maximum(1 - water - worn - fallen, 0)
        water_new = rate * drive * left / STEPS_A_YEAR
        wear_new = np.where(day[i] >= wear_on, wear, 0) * left / STEPS_A_YEAR
        loose_water, loose_wear = fall * water / STEPS_A_YEAR, 2 * fall * worn / STEPS_A_YEAR
        water, worn = water + water_new - loose_water, worn + wear_new - loose_wear
        fallen = fallen + loose_water + loose_wear
        new = renewed[:, i]
        water, worn, fallen = (np.where(new, 0.0, part) for part in (water, worn, fallen))
        soft += np.where(full, SOFT_A_YEAR / STEPS_A_YEAR, 0)
        course.hollow_water[:, i], course.hollow_wear[:, i] = water, worn
        course.fallen[:, i], course.soft_mm[:, i] = fallen, soft


def _near(day: FloatArray, when: list[float]) -> BoolArray:
    """True in the fortnight in which each thing happens."""
    since = day - _column(when)
    return (since >= 0) & (since < STEP_DAYS)


def _column(values: list[float] | list[bool]) -> FloatArray:
    return np.array(values, dtype=np.float64)[:, None]
