"""The rounds: who comes when, and with which instruments."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.simulation.book import iso_day
from tests.simulation.holdout.places import MONTH, YEAR, Array, Place, at, saturation

HEIGHTS = ((300, 900, 1500), (200, 800, 1400), (150, 1000), (300, 700, 1200, 1700))

#: What each kit holds beside face moisture, room air and spalled area, and how often a house has it.
KITS: dict[str, tuple[float, frozenset[str]]] = {
    "full": (0.27, frozenset({"deep", "wall_air", "sounding", "surface", "salts"})),
    "deep": (0.20, frozenset({"deep", "sounding", "surface"})),
    "hole": (0.13, frozenset({"wall_air", "sounding"})),
    "tap": (0.18, frozenset({"sounding"})),
    "least": (0.22, frozenset()),
}
#: Visits a year and their share of houses; a half-yearly visitor comes at the ends of winter and summer.
HABITS: dict[int, float] = {2: 0.88, 1: 0.02, 4: 0.08, 3: 0.02}


@dataclass(slots=True)
class Meter:
    """A moisture meter: its own scale, bent towards its end, and a step when it was replaced."""

    code: str
    scale: str
    top: float
    bend: float
    gain: float
    resolution: float
    noise: float

    def read(self, truth: Array, bias: Array, rng: np.random.Generator) -> Array:
        """What the meter shows of a moisture on the common scale of 0 to 100."""
        bent = self.gain * truth / (1 + self.bend * truth / 100)
        seen = bent * bias + rng.normal(0, self.noise, truth.shape)
        return np.clip(np.round(seen * self.top / 100 / self.resolution) * self.resolution, 0, self.top)


@dataclass(slots=True)
class Round:
    """A house's visits: days, and who came with which meters."""

    house: int
    code: str
    kit: frozenset[str]
    days: Array
    month: Array  # fractional
    stamps: list[str]
    who: npt.NDArray[np.str_]
    bias: Array  # of the one who came, about 1
    meters: tuple[Meter, ...]
    meter: npt.NDArray[np.int64]  # which of the meters came along
    heights: tuple[int, ...]
    imperial: bool
    ceiling: float  # % RH of the probe
    deep_from: int  # first visit with the deep pins
    spread: float  # of a taped area, as a standard deviation of its logarithm
    room: Array  # °C as the hygrometer shows it
    humidity: Array  # % likewise


def plan_round(rng: np.random.Generator, place: Place, house: int) -> Round:
    days = _visit_days(rng, place, house)
    code = f"K{house + 1:02d}"
    kits = list(KITS)
    kit = kits[int(rng.choice(len(kits), p=[share for share, _ in KITS.values()]))]
    crew = rng.choice(["ada", "ben", "cleo", "dov", "edda"], int(rng.integers(1, 4)), replace=False)
    habit = rng.dirichlet(np.full(len(crew), 0.8))
    person = rng.choice(len(crew), len(days), p=habit)
    leaning = rng.normal(1, 0.008, len(crew))
    meters, meter = _meters(rng, code, len(days))
    hours = rng.integers(8, 18, len(days))
    stamps = [
        f"{iso_day(day)}T{hour:02d}:{rng.choice([0, 15, 30, 45]):02d}"
        for day, hour in zip(days, hours, strict=True)
    ]
    month = (days - place.first_day) / MONTH
    room, humidity = _air(rng, place, house, month)
    return Round(
        house=house,
        code=code,
        kit=KITS[kit][1],
        days=days,
        month=month,
        stamps=stamps,
        who=crew[person],
        bias=leaning[person],
        meters=meters,
        meter=meter,
        heights=HEIGHTS[int(rng.choice(len(HEIGHTS), p=[0.5, 0.25, 0.15, 0.1]))],
        imperial=bool(place.imperial[house]),
        ceiling=float(rng.choice([95.0, 97.0, 100.0])),
        deep_from=int(rng.integers(1, len(days) // 2 + 1)) if rng.random() < 0.15 else 0,
        spread=float(rng.uniform(0.08, 0.22)),
        room=room,
        humidity=humidity,
    )


def _visit_days(rng: np.random.Generator, place: Place, house: int) -> Array:
    habits = list(HABITS)
    yearly = int(rng.choice(habits, p=list(HABITS.values())))
    start, end = place.day(float(place.bought[house])) + 3, place.day(place.months) - 2
    anchor = np.ceil((start - place.first_day) / YEAR) * YEAR + place.first_day + rng.normal(80, 18)
    switch = rng.uniform(start, end) if yearly == 4 else np.inf
    days = [np.floor(start + rng.uniform(0, 20))]
    day = anchor - YEAR
    while day < end:
        step = YEAR / (2 if yearly == 4 and day < switch else yearly)
        come = np.floor(day + rng.normal(0, 11))
        if days[-1] + 25 < come < end and rng.random() > 0.05:
            days.append(come)
        day += step
    return np.array(days)


def _meters(
    rng: np.random.Generator, code: str, visits: int
) -> tuple[tuple[Meter, ...], npt.NDArray[np.int64]]:
    first = _meter(rng, f"{code}-M1", str(rng.choice(["relative", "relative", "percent_wme"])))
    meter = np.zeros(visits, dtype=np.int64)
    if rng.random() > 0.10 or visits < 4:
        return (first,), meter
    scale = (
        first.scale if rng.random() < 0.75 else ("percent_wme" if first.scale == "relative" else "relative")
    )
    second = _meter(rng, f"{code}-M2", scale)
    meter[int(rng.integers(2, visits)) :] = 1
    return (first, second), meter


def _meter(rng: np.random.Generator, code: str, scale: str) -> Meter:
    top, resolution = (float(rng.choice([100.0, 199.0])), float(rng.choice([0.1, 0.5, 1.0])))
    if scale == "percent_wme":
        top, resolution = 60.0, float(rng.choice([0.1, 0.5]))
    return Meter(
        code, scale, top, rng.uniform(0.0, 0.25), rng.normal(1.0, 0.02), resolution, rng.uniform(0.3, 0.6)
    )


def _air(rng: np.random.Generator, place: Place, house: int, month: Array) -> tuple[Array, Array]:
    """Room temperature and humidity on each visit, the same for all sections of the house."""
    room = at(place.room[:, house], month) + rng.normal(0, 0.5, len(month))
    vapour = at(place.vapour[:, house], month) * rng.lognormal(0, 0.03, len(month))
    humidity = 100 * vapour / saturation(room) + rng.normal(0, 1.2, len(month))
    return room, np.clip(humidity, 15, 100)
