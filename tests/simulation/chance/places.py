"""Houses and their walls: what is drawn once and never changes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inspections.analysis.records import YEAR, FloatArray
from tests.simulation.chance.weather import Rng, spells

ADJOINS = ("soil", "street", "garden", "party_wall", "interior")
#: Water in g/m² a day that comes to the back of a wall in the mean, by what it adjoins (median).
ARRIVES = {"soil": 5.8, "street": 4.5, "garden": 6.0, "party_wall": 1.4, "interior": 0.35}
#: Shares of substrates, with the water that a square metre can hold (kg) and the liquid it carries.
SUBSTRATES = {
    "rubble_stone": (0.32, 46.0, 45.0),
    "coursed_stone": (0.18, 35.0, 30.0),
    "brick": (0.28, 48.0, 80.0),
    "concrete_block": (0.08, 25.0, 40.0),
    "mixed": (0.10, 42.0, 50.0),
    "unknown": (0.04, 42.0, 50.0),
}
MORTARS = ("lime", "clay", "natural_cement", "cement_lime", "unknown")
KITS = ("full", "deep", "humidity", "hammer", "least")


@dataclass(frozen=True, slots=True)
class House:
    """A house under care from ``begin`` to ``end`` (days since 1970-01-01), and its people's ways."""

    code: str
    begin: int
    end: int
    built: int
    kit: str
    dense: float
    tolerance: float
    active: float
    wordy: float
    often: float
    local_air: bool


@dataclass(frozen=True, slots=True)
class Walls:
    """The sections of all houses as parallel arrays of length S (``shares`` is (S, 4)).

    ``shares`` divide the arriving water over the three reservoirs and the ground water. ``salt`` is 0 to 1,
    ``chill`` how far the face lies from the room's to the ground's temperature, ``tilt`` how much wetter the
    foot is than the top.
    """

    house: np.ndarray
    code: np.ndarray
    wall: np.ndarray
    adjoins: np.ndarray
    beyond: np.ndarray
    substrate: np.ndarray
    mortar: np.ndarray
    start: FloatArray
    length: FloatArray
    height: FloatArray
    below: FloatArray
    arrives: FloatArray
    shares: FloatArray
    holds: FloatArray
    carries: FloatArray
    drains: FloatArray
    seeps: FloatArray
    salt: FloatArray
    wear: FloatArray
    frost: FloatArray
    chill: FloatArray
    tilt: FloatArray
    softens: FloatArray
    shows: FloatArray

    @property
    def area(self) -> FloatArray:
        """Square metres."""
        return self.length * self.height

    def __len__(self) -> int:
        return len(self.house)


def draw_houses(rng: Rng, houses: int, end: int, years: int | None) -> list[House]:
    """Houses in care for 8 to 25 years, or for ``years``, up to ``end`` or a little before."""
    found = []
    for i in range(houses):
        care = years if years is not None else int(rng.integers(8, 26))
        last = end - int(rng.integers(0, 120))
        found.append(
            House(
                code=f"C{i + 1:03d}",
                begin=last - round(care * YEAR),
                end=last,
                built=int(rng.integers(1850, 1946)),
                kit=str(rng.choice(KITS, p=(0.22, 0.2, 0.14, 0.22, 0.22))),
                dense=float(rng.beta(1.2, 1.2)),
                tolerance=float(rng.uniform(0.06, 0.4)),
                active=float(rng.gamma(2.0, 0.5)),
                wordy=float(rng.beta(2, 1.3)),
                often=float(rng.choice((0.5, 1.0, 0.25), p=(0.55, 0.35, 0.1))),
                local_air=bool(rng.random() < 0.6),
            )
        )
    return found


def draw_walls(rng: Rng, houses: list[House]) -> Walls:
    """Four to six sections a house, on three or four walls, with a shared lot for each house."""
    rows = []
    for i, house in enumerate(houses):
        lot, salted = rng.normal(0, 0.45), rng.normal(0, 0.6)
        stone = rng.choice(list(SUBSTRATES), p=[share for share, *_ in SUBSTRATES.values()])
        mortar = rng.choice(MORTARS, p=(0.55, 0.1, 0.1, 0.15, 0.1))
        walls: dict[str, float] = {}
        for number in range(int(rng.integers(4, 7))):
            wall = str(rng.choice(("north", "east", "south", "west")[: 3 + house.built % 2]))
            row = _draw_wall(rng, lot, salted, str(stone))
            row |= {"house": i, "code": f"W{number + 1}", "wall": wall, "mortar": mortar}
            row["start"] = walls.get(wall, 0.0)
            walls[wall] = round(float(row["start"]) + float(row["length"]), 2)
            rows.append(row)
    columns = {name: np.array([row[name] for row in rows]) for name in rows[0]}
    return Walls(**columns)


def _draw_wall(rng: Rng, lot: float, salted: float, stone: str) -> dict[str, object]:
    adjoins = str(rng.choice(ADJOINS, p=(0.33, 0.22, 0.2, 0.17, 0.08)))
    outer = adjoins in ADJOINS[:3]
    height = float(rng.uniform(1.9, 2.7))
    _, holds, carries = SUBSTRATES[stone]
    return {
        "adjoins": adjoins,
        "beyond": "unknown" if outer else str(rng.choice(("heated", "unheated", "vacant", "unknown"))),
        "substrate": stone,
        "length": round(float(rng.uniform(1.8, 6.0)), 2),
        "height": round(height, 2),
        "below": round(height * float(rng.beta(4, 1.5)) if outer else 0.0, 2),
        "arrives": ARRIVES[adjoins] * float(np.exp(0.7 * lot + rng.normal(0, 0.75))),
        "shares": rng.dirichlet((0.6, 1.2, 1.6, 1.8)),
        "holds": holds * float(rng.lognormal(0, 0.3)),
        "carries": carries * float(rng.lognormal(0, 0.4)),
        "drains": float(rng.lognormal(np.log(3.5), 0.9)),
        "seeps": float(rng.beta(0.7, 6)),
        "salt": float(1 / (1 + np.exp(-(salted + rng.normal(-3.2, 1.9))))),
        "wear": float(rng.gamma(0.3, 1 / 0.3)),
        "frost": float(rng.beta(1, 3)) if outer else 0.0,
        "chill": float(np.clip(rng.normal(0.3 if outer else 0.14, 0.08), 0.03, 0.55)),
        "tilt": float(rng.normal(0.35, 0.3)),
        "softens": float(rng.lognormal(np.log(1.2), 0.6)),
        "shows": float(rng.beta(3, 3)),
    }


@dataclass(frozen=True, slots=True)
class Fault:
    """Water let in at a section from ``begin`` to ``end``, then mended (where the end lies in the record).

    ``much`` is in g/m² a day where ``rain`` is false (a pipe), else a multiple of what the two quick
    reservoirs bring in the mean.
    """

    section: int
    begin: float
    end: float
    much: float
    rain: bool
    told: bool


def draw_faults(rng: Rng, walls: Walls, first: int, days: int) -> list[Fault]:
    """Leaks of single sections, and gutters that fail for two or three of a house at once."""
    faults = []
    for section in range(len(walls)):
        outer = walls.adjoins[section] in ADJOINS[:3]
        for begin, end in spells(rng, days, 0.03 if outer else 0.015, 2.5):
            rain = bool(outer and rng.random() < 0.6)
            much = rng.lognormal(np.log(5.0 if rain else 14.0), 0.6)
            faults.append(Fault(section, first + begin, first + end, much, rain, bool(rng.random() < 0.6)))
    for house in np.unique(walls.house):
        own = np.flatnonzero((walls.house == house) & np.isin(walls.adjoins, ADJOINS[:3]))
        for begin, end in spells(rng, days, 0.04, 2.0):
            told = bool(rng.random() < 0.6)
            for section in rng.permutation(own)[: rng.integers(1, 4)]:
                much = rng.lognormal(np.log(4.0), 0.5)
                faults.append(Fault(int(section), first + begin, first + end, much, True, told))
    return faults
