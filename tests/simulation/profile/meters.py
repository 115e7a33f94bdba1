"""What meters show: a face between its room and the wall behind it, read through a meter's own scale."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.simulation.profile.climate import UNREST, Climate, saturation
from tests.simulation.profile.life import Life
from tests.simulation.profile.places import COLUMNS, HEIGHTS, House, Plan

FloatArray = npt.NDArray[np.float64]


@dataclass(slots=True)
class Meter:
    """A meter as bought: its scale's ends, and how it errs; ``sight`` is the mm at which it sees a third."""

    code: str
    kind: str
    scale: str
    low: float
    high: float
    step: float
    gain: float
    bias: float
    bend: float
    noise: float
    sight: float

    def read(self, rng: np.random.Generator, share: FloatArray) -> tuple[FloatArray, npt.NDArray[np.str_]]:
        """Values and qualifiers of shares of full wetness."""
        seen = self.bias + self.gain * np.clip(share, 0, 1.2) ** self.bend
        seen = seen + self.noise * (0.5 + seen) * rng.normal(size=seen.shape)
        return self.show(self.low + (self.high - self.low) * seen)

    def show(self, value: FloatArray) -> tuple[FloatArray, npt.NDArray[np.str_]]:
        """Values on the meter's scale, with a qualifier where the scale ended."""
        qualifier = np.where(value > self.high, ">", np.where(value < self.low, "<", ""))
        value = np.clip(np.round(value / self.step) * self.step, self.low, self.high)
        return np.round(value, 3), qualifier


def face_meter(rng: np.random.Generator, code: str, like: Meter | None = None) -> Meter:
    """A hand meter for faces; a new one of the house's scale ``like`` that of the old, most of the time."""
    kinds = (("relative", 0.0, 100.0, 1.0), ("relative", 0.0, 199.0, 1.0), ("percent_wme", 6.0, 45.0, 0.1))
    scale, low, high, step = kinds[int(rng.choice(3, p=[0.45, 0.2, 0.35]))]
    pins = rng.random() < (0.8 if scale == "percent_wme" else 0.25)
    sight = rng.uniform(4, 9) if pins else rng.uniform(12, 28)
    if like is not None and rng.random() < 0.8:
        scale, low, high, step, sight = like.scale, like.low, like.high, like.step, like.sight
    return Meter(
        code, "moisture_meter", scale, low, high, step,
        gain=rng.normal(1.0, 0.08), bias=rng.normal(0.04, 0.022), bend=rng.uniform(0.75, 1.1),
        noise=rng.uniform(0.03, 0.08), sight=float(sight),
    )  # fmt: skip


def deep_meter(rng: np.random.Generator, code: str) -> Meter:
    """Long electrodes, or drilled dust weighed."""
    if rng.random() < 0.25:
        numbers = ("percent_mass", 0.2, 20.0, 0.1)
    else:
        numbers = (("relative", 0.0, 100.0, 1.0), ("percent_wme", 6.0, 60.0, 0.1))[int(rng.random() < 0.4)]
    return Meter(
        code, "moisture_meter", *numbers,
        gain=rng.normal(0.95, 0.1), bias=rng.normal(0.03, 0.03), bend=rng.uniform(0.7, 1.1),
        noise=rng.uniform(0.03, 0.08), sight=60.0,
    )  # fmt: skip


@dataclass(slots=True)
class Look:
    """One house on one day, by wall (n) and height of reading (n, m): what there is to be read."""

    air_t: float
    air_rh: float
    face_t: FloatArray
    wet: FloatArray
    near: FloatArray
    deep: FloatArray


class Points:
    """The places of a house where people read, with the small differences that stay with each place."""

    def __init__(self, rng: np.random.Generator, plan: Plan, walls: list[int], heights: list[int]) -> None:
        self.rng, self.plan, self.walls, self.heights = rng, plan, walls, heights
        shape = (len(walls), len(heights))
        tall = np.array([plan.walls[i].height for i in walls])[:, None] * 1000
        self.cell = np.clip((np.array(heights) / tall * HEIGHTS).astype(int), 0, HEIGHTS - 1)
        self.texture = rng.normal(0, 0.03, shape) + rng.normal(0, 0.03, (len(walls), 1))
        self.inside = rng.normal(0, 0.05, shape)
        self.column = rng.integers(0, COLUMNS, shape)
        self.order = rng.random(shape)

    def look(
        self, climate: Climate, life: Life, house: House, week: int, thick: FloatArray, sight: float
    ) -> Look:
        """State at a visit: air of the hour, and wetness of face (under ``sight``), skin and depth."""
        rng, k, rows = self.rng, life.at(week), np.array(self.walls)
        at = (k, rows[:, None], self.cell)
        air_t = float(climate.room_t[week, rows[0]] + rng.normal(0, 0.6))
        top = float(0.99 * saturation(np.array(air_t)))
        air_p = float(np.clip(climate.room_p[week, rows[0]] + rng.normal(0, UNREST), 250, top))
        face_t = climate.face_t[week, rows[:, None], self.cell] + rng.normal(0, 0.3, self.cell.shape)
        humid = air_p / saturation(face_t)
        film = np.clip((humid - 1) / 0.2, 0, 1) + np.clip(
            climate.dew[week, rows[:, None], self.cell] / 0.3, 0, 0.5
        )
        cells, walls = life.cells, life.walls
        gone = cells["gone"][at] > self.order
        hollow = ~gone & (cells["gone"][at] + cells["loose"][at] > self.order)
        near, salt = cells["near"][at].astype(float), cells["salt_face"][at].astype(float)
        shows = (cells["liquid"][at] / 0.02) ** 1.7
        liquid = shows / (shows + 1)
        fresh = np.clip(walls["coat_water"][k, rows] / 4, 0, 1)[:, None] * 0.85
        hides = np.where(walls["sheet"][k, rows] > 0, 0.3, 1.0)[:, None]
        through = hides * np.where(
            gone, 0.5, 0.7 * np.exp(-thick[:, None] / sight) * np.where(hollow, 0.9, 1.0)
        )
        salty = salt * (0.2 + 0.8 / (1 + np.exp(-(humid - 0.76) / 0.05)))
        # A coat is steeped from behind, a dense one over years; the more so, the less the room takes.
        steeped = (
            1.2
            * hides
            * cells["steep"][at].astype(float)
            * np.where(gone, 0.2, np.where(hollow, 0.9, 1))
            * np.clip(humid, 0, 1)
        )
        parts = (
            liquid,
            fresh,
            through * near,
            salty,
            steeped,
            np.clip(film, 0, 1) * 0.65,
            0.15 * np.clip(humid, 0, 1) ** 4,
        )
        dry = np.ones_like(near)
        for part in parts:
            dry = dry * (1 - np.clip(part, 0, 0.98))
        deep = 0.45 * near + 0.55 * cells["middle"][at] + self.inside + 0.1 * cells["salt_behind"][at]
        return Look(
            air_t,
            100 * air_p / float(saturation(np.array(air_t))),
            face_t,
            1 - dry + self.texture,
            near,
            deep,
        )
