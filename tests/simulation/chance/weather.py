"""Weather, ground water and rooms: chance processes in continuous time, told day by day.

Storms are a marked point process whose rate follows the season and wet and dry spells; snow is kept until it
thaws (a reflected sum, so without a loop); what reaches the ground runs through three linear reservoirs of a
house, whose exact solution between storms is a geometric filter. Temperatures, vapour and ground water are
Ornstein-Uhlenbeck processes about their seasons. A room's heating, dehumidifier and emptiness are telegraphs:
on for a random time, off for a random time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from inspections.analysis.records import YEAR, FloatArray

Rng = np.random.Generator
#: Mean times in days in the three reservoirs of a house: least and most.
RESERVOIRS = ((1.5, 9.0), (20.0, 110.0), (250.0, 1400.0))


@dataclass(frozen=True, slots=True)
class Climate:
    """Daily columns (days, houses), but ``water`` (3, days, houses): in mm a day, out of each reservoir."""

    outdoor: FloatArray
    vapour: FloatArray
    soil: FloatArray
    rain: FloatArray
    water: FloatArray
    ground: FloatArray
    room: FloatArray
    room_vapour: FloatArray
    vacant: FloatArray


def saturation(celsius: FloatArray) -> FloatArray:
    """Saturation pressure in Pa over water (Magnus; constants of Alduchov and Eskridge 1996, from memory)."""
    return 610.94 * np.exp(17.625 * celsius / (celsius + 243.04))


def wandering(rng: Rng, days: int, columns: int, tau: float, sd: float) -> FloatArray:
    """A stationary Ornstein-Uhlenbeck process by the day, exact at any step: (days, columns)."""
    keep = np.exp(-1 / tau)
    shock = rng.normal(0, sd * np.sqrt(1 - keep**2), (days, columns))
    shock[0] = rng.normal(0, sd, columns)
    return lfilter([1.0], [1.0, -keep], shock, axis=0)


def reservoir(inflow: FloatArray, tau: FloatArray) -> FloatArray:
    """What runs out of one linear reservoir for each column, warm from the start."""
    out = np.empty_like(inflow)
    for i, keep in enumerate(np.exp(-1 / np.asarray(tau))):
        start = inflow[:, i].mean() * keep
        out[:, i] = lfilter([1 - keep], [1.0, -keep], inflow[:, i], zi=[start])[0]
    return out


def spells(rng: Rng, span: float, rate: float, mean: float) -> list[tuple[float, float]]:
    """Beginnings and ends (days) of a telegraph over ``span`` days: ``rate`` a year, ``mean`` years long."""
    found, now = [], rng.exponential(YEAR / rate)
    while now < span:
        end = now + rng.gamma(1.3, mean * YEAR / 1.3)
        found.append((float(now), float(end)))
        now = end + rng.exponential(YEAR / rate)
    return found


def telegraph(rng: Rng, days: int, columns: int, rate: float, mean: float) -> FloatArray:
    """1 within a spell, else 0: (days, columns)."""
    on = np.zeros((days, columns))
    for column in range(columns):
        for begin, end in spells(rng, days, rate, mean):
            on[int(begin) : int(end) + 1, column] = 1.0
    return on


def draw_climate(rng: Rng, first: int, days: int, houses: int) -> Climate:
    """The climate of ``houses`` houses in one or two regions, from day ``first`` (since 1970-01-01) on."""
    angle = 2 * np.pi * ((first + np.arange(days)) % YEAR) / YEAR
    region = rng.integers(rng.integers(1, 3), size=houses)
    summer = -np.cos(angle - 2 * np.pi * 20 / YEAR)[:, None]
    mean, swing = rng.uniform(8, 12, 2)[region], rng.uniform(8.5, 12.5, 2)[region]
    air = wandering(rng, days, 2, 4, 3.0) + wandering(rng, days, 2, 200, 0.9)
    outdoor = mean + swing * summer + air[:, region]
    damp = 0.77 - 0.05 * summer + wandering(rng, days, 2, 6, 0.08)[:, region]
    vapour = np.clip(damp, 0.35, 0.99) * saturation(outdoor)
    late = -np.cos(angle - 2 * np.pi * 55 / YEAR)[:, None]
    soil = mean + rng.uniform(0.8, 2.0, houses) + rng.uniform(0.3, 0.5, houses) * swing * late
    rain = _storms(rng, summer[:, 0], region)
    falls = np.where(outdoor < 0.5, rain, 0.0)
    wet = rain - falls + _thaw(falls, np.clip(outdoor - 0.5, 0, None) * 3.0)
    taus = [np.exp(rng.uniform(*np.log(ends), houses)) for ends in RESERVOIRS]
    water = np.stack([reservoir(wet, tau) for tau in taus])
    spring = np.cos(angle - 2 * np.pi * 95 / YEAR)[:, None]
    level = wandering(rng, days, houses, 3 * YEAR, 0.3) + rng.uniform(0.05, 0.4, houses) * spring
    room, inside, vacant = _rooms(rng, outdoor, vapour, soil)
    return Climate(outdoor, vapour, soil, rain, water, np.exp(level), room, inside, vacant)


def _storms(rng: Rng, summer: FloatArray, region: np.ndarray) -> FloatArray:
    """Rain and snow in mm by day and house; a storm of the region reaches most of its houses."""
    days, rain = len(summer), np.zeros((len(summer), len(region)))
    for i in np.unique(region):
        wet = np.exp(wandering(rng, days, 1, 70, 0.5)[:, 0] - 0.125)
        rate = 0.24 * wet * (1 + 0.2 * summer)
        day = np.repeat(np.arange(days), rng.poisson(rate))
        depth = rng.gamma(0.7, 9.5, len(day)) * (1 + 0.3 * summer[day])
        for house in np.flatnonzero(region == i):
            own = depth * rng.lognormal(0, 0.25, len(day)) * (rng.random(len(day)) < 0.9)
            rain[:, house] = np.bincount(day, own, days)
    return rain


def _thaw(falls: FloatArray, could: FloatArray) -> FloatArray:
    """What melts by the day of snow that ``falls`` where ``could`` melt: the reflected sum of both."""
    balance = np.cumsum(falls - could, axis=0)
    lying = balance - np.minimum(np.minimum.accumulate(balance, axis=0), 0.0)
    return falls - np.diff(lying, axis=0, prepend=0.0)


def _rooms(
    rng: Rng, outdoor: FloatArray, vapour: FloatArray, soil: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Air temperature and vapour pressure of each house's cellar, and whether it stands empty."""
    days, houses = outdoor.shape
    heated = np.repeat((rng.random(houses) < 0.55)[None], days, axis=0).astype(float)
    for house in range(houses):
        for begin, end in spells(rng, days, 0.06, 2.0):
            heated[int(begin) : int(end) + 1, house] = 1.0 - heated[0, house]
    empty = telegraph(rng, days, houses, 0.04, 1.0)
    dry = telegraph(rng, days, houses, 0.06, 2.5) * (rng.random(houses) < 0.5)
    slow = reservoir(outdoor, np.full(houses, 15.0))
    free = rng.uniform(0.3, 0.6, houses) * (slow - soil) + soil + rng.uniform(0.5, 2.5, houses)
    target = rng.uniform(16, 21, houses)
    warmed = np.clip(target - free, 0, None) * heated * (1 - empty)
    room = free + reservoir(warmed, np.full(houses, 4.0)) + wandering(rng, days, houses, 8, 0.7)
    living = rng.lognormal(np.log(170), 0.6, houses) * (1 - 0.7 * empty)
    inside = reservoir(vapour, rng.uniform(1, 6, houses)) + living + wandering(rng, days, houses, 5, 60.0)
    full = saturation(room)
    ceiling = np.where(dry > 0, rng.uniform(0.5, 0.65, houses), 0.96) * full
    return room, np.clip(inside, 0.25 * full, ceiling), empty
