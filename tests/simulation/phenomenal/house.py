"""A house: its room air, its rain, its visits, what is measured there and with what."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from inspections.analysis.records import YEAR, FloatArray
from tests.simulation.book import day_number

#: Step of the grid that the latent paths live on, days.
STEP = 10.0

#: Time before the first visit for which latent paths are drawn, years.
LEAD = 1.5

#: Zones of the record's local times; the towns in them are invented.
TIMEZONES = ("America/New_York", "America/Chicago", "Europe/Berlin", "Europe/London")

LEAST_KIT = frozenset({"surface_moisture", "air_temperature", "air_humidity", "spall_area"})
#: What a fuller kit adds, with the chance that a house has it.
EXTRAS = (
    ("surface_temperature", 0.65),
    ("hollow_area", 0.7),
    ("deep_moisture", 0.6),
    ("in_wall_humidity", 0.45),
    ("salt_area", 0.45),
    ("outdoor_temperature", 0.25),
    ("outdoor_humidity", 0.25),
    ("hygroscopic_moisture", 0.12),
)
FULL_KIT = LEAST_KIT | {
    "surface_temperature",
    "hollow_area",
    "deep_moisture",
    "in_wall_humidity",
    "salt_area",
}


@dataclass(frozen=True, slots=True)
class Climate:
    """Room and outdoor air on the grid, the days of heavy rain, and when (inf: never) other things befell."""

    room_temperature: FloatArray
    room_humidity: FloatArray
    outdoor_temperature: FloatArray
    outdoor_humidity: FloatArray
    rain_days: FloatArray
    flood_day: float
    floor_sealed: float


@dataclass(frozen=True, slots=True)
class Meter:
    """One instrument as it really behaves on this house's walls, in units of its own scale."""

    code: str
    kind: str
    scale: str
    maximum: float
    resolution: float
    offset: float
    gain: float
    drift: FloatArray
    first_day: float


@dataclass(frozen=True, slots=True)
class Inspector:
    """A person: a lean on the meter (share of full scale), and how much of an area is found and drawn."""

    name: str
    lean: float
    thoroughness: float


@dataclass(frozen=True, slots=True)
class House:
    """Everything that the sections of one house share. ``grid`` and ``visits`` are days since 1970-01-01."""

    code: str
    timezone: str
    year_built: int
    grid: FloatArray
    visits: FloatArray
    inspectors: tuple[Inspector, ...]
    inspector_of_visit: FloatArray
    kit: frozenset[str]
    missing: float
    air_on_section: bool
    heights_mm: tuple[int, ...]
    replicates: int
    area_limit: float
    area_step: float
    imperial: bool
    noise: float
    climate: Climate
    surface_meters: tuple[Meter, ...]
    deep_meters: tuple[Meter, ...]
    hygrometer: Meter

    def at(self, path: FloatArray, days: FloatArray) -> FloatArray:
        """A latent path on the grid, at any days."""
        return np.interp(days, self.grid, path)


def draw_house(rng: np.random.Generator, code: str, years: float) -> House:
    """A house that is visited for about ``years`` (never under six nor over fifteen)."""
    span = float(np.clip(years * rng.uniform(0.7, 1.25), 6, 15))
    first = day_number(dt.date(int(rng.integers(2003, 2011)), 1, 1)) + float(rng.integers(0, 365))
    visits = _visits(rng, first, span)
    grid = np.arange(visits[0] - LEAD * YEAR, visits[-1] + 1.2 * YEAR, STEP)
    team = tuple(
        Inspector(name, rng.normal(0, 0.006), rng.lognormal(-0.1, 0.18))
        for name in rng.permutation(["A. Marl", "B. Tuff", "C. Flint", "D. Clunch"])[: rng.integers(1, 4)]
    )
    turn = np.where(rng.random(len(visits)) < 0.75, 0, rng.integers(0, len(team), len(visits)))
    scale = rng.choice(["relative", "percent_wme"], p=[0.8, 0.2])
    return House(
        code=code,
        timezone=TIMEZONES[rng.integers(len(TIMEZONES))],
        year_built=int(rng.integers(1840, 1926)),
        grid=grid,
        visits=visits,
        inspectors=team,
        inspector_of_visit=turn,
        kit=_kit(rng),
        missing=rng.uniform(0.02, 0.15),
        air_on_section=rng.random() < 0.4,
        heights_mm=((200, 900, 1600), (300, 1200), (600,))[rng.choice(3, p=[0.45, 0.35, 0.2])],
        replicates=2 if rng.random() < 0.08 else 1,
        area_limit=float(rng.choice([0.01, 0.02, 0.05])),
        area_step=float(rng.choice([0.01, 0.02, 0.05])),
        imperial=rng.random() < 0.3,
        noise=rng.lognormal(np.log(0.016), 0.3),
        climate=_climate(rng, grid),
        surface_meters=_meters(rng, f"{code}-F", str(scale), grid, visits),
        deep_meters=_meters(rng, f"{code}-D", "relative", grid, visits),
        hygrometer=Meter(
            f"{code}-H", "hygrometer", "percent_rh", 98.0, 0.1, rng.normal(0, 1.5), 1, 0 * grid, -np.inf
        ),
    )


def _kit(rng: np.random.Generator) -> frozenset[str]:
    choice = rng.random()
    if choice < 0.2:
        return LEAST_KIT
    if choice < 0.45:
        return FULL_KIT
    return LEAST_KIT | {name for name, chance in EXTRAS if rng.random() < chance}


def _visits(rng: np.random.Generator, first: float, span: float) -> FloatArray:
    """Days with the hour of the visit: twice a year, once a year, or as it came; at least two days apart."""
    pattern = rng.choice(["half_yearly", "yearly", "irregular"], p=[0.76, 0.1, 0.14])
    if pattern == "irregular":
        gaps = rng.gamma(1.6, rng.uniform(0.25, 0.45), size=int(6 * span))
        days = first + YEAR * np.cumsum(np.concatenate([[0], gaps]))
    else:
        year = np.arange(int(span) + 2)
        january = first - (first % YEAR)
        months = [1.8, 8.0] if pattern == "half_yearly" else [rng.uniform(1, 10)]
        days = np.sort(np.concatenate([january + YEAR * (year + month / 12) for month in months]))
        days = np.sort(days + rng.normal(0, rng.uniform(4, 14), len(days)))
        days = days[rng.random(len(days)) > 0.06]
    days = np.floor(days)
    days = days[(days >= first) & (days <= first + span * YEAR)]
    days = days[np.concatenate([[True], np.diff(days) >= 2])]
    return days + np.round(rng.uniform(8, 17, len(days)) * 12) / 288


def _climate(rng: np.random.Generator, grid: FloatArray) -> Climate:
    """Cosines of the year with red noise; a dehumidifier that stops raises the room's humidity for good."""
    summer = np.cos(2 * np.pi * (grid / YEAR - rng.normal(0.55, 0.03)))
    outdoor = rng.uniform(7, 13) + rng.uniform(8, 13) * summer + _red(rng, grid, 2.0, 20)
    room = rng.uniform(13, 19) + rng.uniform(1.5, 5) * summer + _red(rng, grid, 0.8, 30)
    humidity = rng.uniform(46, 60) + rng.uniform(6, 14) * summer + _red(rng, grid, 4.0, 25)
    if rng.random() < 0.2:
        stops = rng.uniform(grid[0] + 2 * YEAR, grid[-1])
        humidity = humidity + rng.uniform(6, 16) * np.clip((grid - stops) / (0.3 * YEAR), 0, 1)
    spell = grid[-1] - grid[0]
    rain = np.sort(rng.uniform(grid[0], grid[-1], rng.poisson(9 * spell / YEAR)))
    flood = rng.uniform(grid[0] + LEAD * YEAR, grid[-1]) if rng.random() < 0.08 else np.inf
    return Climate(
        room,
        np.clip(humidity, 20, 96),
        outdoor,
        np.clip(75 - 6 * summer + _red(rng, grid, 9, 10), 25, 100),
        rain,
        flood,
        rng.uniform(grid[0] + LEAD * YEAR, grid[-1]) if rng.random() < 0.15 else np.inf,
    )


def _meters(
    rng: np.random.Generator, stem: str, scale: str, grid: FloatArray, visits: FloatArray
) -> tuple[Meter, ...]:
    """One meter, or two or three with the days on which they took over; the second may have another scale."""
    count = 1 + (rng.random() < 0.26) + (rng.random() < 0.06)
    changes = np.sort(rng.uniform(visits[1], visits[-2], count - 1))
    meters: list[Meter] = []
    gain = rng.lognormal(0, 0.2)
    for number, first_day in enumerate([-np.inf, *changes]):
        if number and rng.random() < 0.15:
            scale = "percent_wme" if scale == "relative" else "relative"
        if number == 0 or scale != meters[-1].scale or rng.random() < 0.05:
            full = float(rng.choice([100, 199, 999], p=[0.6, 0.25, 0.15])) if scale == "relative" else 60.0
        step = 1.0 if full > 100 or rng.random() < 0.3 else 0.1
        walk = np.cumsum(rng.normal(0, np.sqrt(STEP / YEAR), len(grid)))
        meters.append(
            Meter(
                code=f"{stem}{number + 1}",
                kind="moisture_meter",
                scale=scale,
                maximum=full,
                resolution=step,
                offset=full * rng.normal(0, 0.009),
                gain=full * gain * rng.lognormal(0, 0.07),
                drift=full * rng.uniform(0.0002, 0.002) * walk,
                first_day=float(first_day),
            )
        )
    return tuple(meters)


def _red(rng: np.random.Generator, grid: FloatArray, sd: float, memory_days: float) -> FloatArray:
    """Gaussian noise with an exponential memory, on the grid."""
    keep = np.exp(-STEP / memory_days)
    noise = rng.normal(0, sd * np.sqrt(1 - keep**2), len(grid))
    path = np.empty(len(grid))
    level = rng.normal(0, sd)
    for i, shock in enumerate(noise):
        level = keep * level + shock
        path[i] = level
    return path
