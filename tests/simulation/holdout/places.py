"""The houses of a book: how large, how warm, when bought, and the weather over them all."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.simulation.book import day_number

Array = npt.NDArray[np.float64]
Index = npt.NDArray[np.int64]

YEAR = 365.2425  # days
MONTH = YEAR / 12
SPIN_UP = 180  # months that the walls stand before the book opens


def saturation(celsius: Array) -> Array:
    """Saturation vapour pressure in Pa over water (ISO 13788's formula for 0 °C and above)."""
    return 610.5 * np.exp(17.269 * celsius / (237.3 + celsius))


def at(series: Array, month: Array) -> Array:
    """A monthly series, whose values stand at mid-month, read at fractional months."""
    return np.interp(month, np.arange(len(series)) + 0.5, series)


@dataclass(slots=True)
class Place:
    """Weather and houses. Series have shape (months, houses); ``of`` gives each section's house."""

    first_day: float
    months: int
    opening: int  # the month in which the book opens
    sizes: Index
    of: Index
    bought: Index  # month
    heated: npt.NDArray[np.bool_]
    imperial: npt.NDArray[np.bool_]
    room: Array  # °C
    vapour: Array  # Pa
    soil: Array  # °C, shape (months, 1)
    wetness: Array  # of the ground, about 1, shape (months,)
    flood: list[tuple[int, int]]  # house, month

    def day(self, month: float) -> float:
        """The day number of a (fractional) month."""
        return self.first_day + month * MONTH


def settle(rng: np.random.Generator, houses: int, years: int) -> Place:
    """Draw a book's houses and weather."""
    opening = SPIN_UP + int(rng.integers(0, 12))
    months = opening + 12 * years
    start = day_number(dt.date(int(rng.integers(1999, 2011)), 1, 1)) - SPIN_UP * MONTH
    total = round(houses * rng.uniform(2.1, 3.9))
    share = rng.dirichlet(np.full(houses, 0.55))
    sizes = 1 + rng.multinomial(total - houses, share)
    bought = opening + np.where(rng.random(houses) < 0.85, 0, rng.uniform(0, 0.25 * 12 * years, houses))
    heated = rng.random(houses) < 0.55
    month = np.arange(float(months))
    outdoor, vapour_out = _outdoors(rng, month)
    room = _room(rng, month, heated, outdoor)
    vapour = _vapour(rng, month, heated, room, vapour_out)
    mean = outdoor.mean()
    soil = (mean + 1.2 + 4.2 * np.cos(2 * np.pi * (month - 8.6) / 12))[:, None]
    wetness = 1 + 0.30 * np.cos(2 * np.pi * (month - 1.5) / 12) + _ar(rng, months, 0.6, 0.06)
    floods = np.argwhere(rng.random((houses, months)) < 0.005 / 12)
    flood = [(int(h), int(m)) for h, m in floods if m >= SPIN_UP - 12]
    of = np.repeat(np.arange(houses), sizes)
    imperial = rng.random(houses) < 0.35
    bought = bought.astype(np.int64)
    return Place(
        start, months, opening, sizes, of, bought, heated, imperial, room, vapour, soil, wetness, flood
    )


def _ar(rng: np.random.Generator, n: int, memory: float, sd: float) -> Array:
    """A stationary first-order autoregression of standard deviation ``sd``."""
    shock = rng.normal(0, sd * np.sqrt(1 - memory**2), n)
    out = np.empty(n)
    level = rng.normal(0, sd)
    for i in range(n):
        level = memory * level + shock[i]
        out[i] = level
    return out


def _outdoors(rng: np.random.Generator, month: Array) -> tuple[Array, Array]:
    mean, swing = rng.uniform(8.5, 11.5), rng.uniform(8.5, 11.0)
    celsius = mean + swing * np.cos(2 * np.pi * (month - 6.6) / 12) + _ar(rng, len(month), 0.3, 0.6)
    humidity = 0.775 + 0.03 * np.cos(2 * np.pi * month / 12) + _ar(rng, len(month), 0.2, 0.010)
    return celsius, humidity * saturation(celsius)


def _room(rng: np.random.Generator, month: Array, heated: npt.NDArray[np.bool_], outdoor: Array) -> Array:
    n = len(heated)
    mean = np.where(heated, rng.uniform(17.0, 20.0, n), rng.uniform(9.8, 13.2, n))
    swing = np.where(heated, rng.uniform(0.8, 2.5, n), rng.uniform(3.0, 5.0, n))
    wave = np.cos(2 * np.pi * (month - 7.2) / 12)[:, None]
    anomaly = (outdoor - _by_month(outdoor))[:, None]
    return mean + swing * wave + 0.15 * anomaly


def _by_month(series: Array) -> Array:
    """The mean of a monthly series' calendar month, repeated."""
    of = np.arange(len(series)) % 12
    return (np.bincount(of, series) / np.bincount(of))[of]


def _vapour(
    rng: np.random.Generator, month: Array, heated: npt.NDArray[np.bool_], room: Array, outdoor: Array
) -> Array:
    n = len(heated)
    excess = np.where(heated, rng.uniform(60, 260, n), rng.uniform(10, 90, n))
    aired = np.where(heated, rng.uniform(0.75, 0.95, n), rng.uniform(0.90, 1.10, n))
    summer = 0.5 + 0.5 * np.cos(2 * np.pi * (month - 6.8) / 12)[:, None]
    inside = outdoor[:, None] * (1 - summer * (1 - aired)) + excess * (1 - 0.6 * summer)
    dry_from = np.where(rng.random(n) < 0.08, rng.integers(SPIN_UP, len(month), n), len(month) + 1)
    ceiling = np.where(month[:, None] >= dry_from, 0.58, 0.97)
    return np.minimum(inside, ceiling * saturation(room))
