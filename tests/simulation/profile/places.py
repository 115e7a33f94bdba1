"""Invented houses and the walls in their basements: what they are of, what wets them, who comes to look."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from tests.simulation.book import day_number
from tests.simulation.profile import coats
from tests.simulation.profile.coats import System

FloatArray = npt.NDArray[np.float64]

#: Heights, depths (behind the coat, middle, outer side) and columns of a coat's grid.
HEIGHTS, DEPTHS, COLUMNS = 8, 3, 12

#: Days of a step, and years that the walls live before the longest record begins.
STEP, BEFORE = 7, 7

KITS = ("full", "no_sounding", "no_depth", "least")


@dataclass(slots=True)
class House:
    """One house; temperatures in °C, pressures in Pa, weeks on the portfolio's grid."""

    code: str
    first: int
    last: int
    american: bool
    built: int
    warmth: float
    swing: float
    outdoor_rh: float
    heated: bool
    room: float
    gain: float
    airy: float
    rain: float
    clay: float
    table: float
    salt: float
    dryer: tuple[int, int]
    heated_from: int
    taste: float
    kit: str
    gap: float
    keen: float
    diligence: float
    works_week: int
    floods: list[tuple[int, float]] = field(default_factory=list)


@dataclass(slots=True)
class Leak:
    """Water at a patch from one week to another: kg/m² a day there, its height cell, and how it comes."""

    start: int
    end: int
    rate: float
    cell: int
    rain_fed: bool
    crack: float
    noted: bool


@dataclass(slots=True)
class Wall:
    """One section: sizes in m, ``pores`` a share of volume, conductances in kg/m² a day, ``rise`` in m²/day.

    ``turn`` is when the ground began to get wetter (or drier), by how much, and over how many years.
    """

    house: int
    code: str
    wall: str
    length: float
    height: float
    below: float
    thickness: float
    substrate: str
    mortar: str
    adjoins: str
    beyond: str
    pores: float
    inner: float
    middle: float
    rise: float
    soil: float
    soil_wet: float
    foot: float
    splash: float
    cold: float
    outside_coat: int
    turn: tuple[int, float, float]
    first_coat: System
    first_week: int
    found: bool
    works: list[tuple[int, str, System | None]] = field(default_factory=list)
    leaks: list[Leak] = field(default_factory=list)


@dataclass(slots=True)
class Plan:
    """A portfolio: its houses, its walls, and the grid of weeks from ``origin`` (days since 1970-01-01)."""

    houses: list[House]
    walls: list[Wall]
    origin: int
    weeks: int

    def of(self, name: str) -> FloatArray:
        """A number of every wall, as an array."""
        return np.array([getattr(wall, name) for wall in self.walls], dtype=float)

    def of_house(self, name: str) -> FloatArray:
        """A number of every wall's house, as an array."""
        return np.array([getattr(self.houses[wall.house], name) for wall in self.walls], dtype=float)

    def day(self, week: float) -> float:
        """Days since 1970-01-01 of a week of the grid."""
        return self.origin + STEP * week


def draw_plan(rng: np.random.Generator, houses: int) -> Plan:
    """A portfolio of houses whose records run for 8 to 25 years up to about the same year."""
    end = day_number(dt.date(int(rng.integers(2016, 2026)), int(rng.integers(1, 13)), 1))
    spans = rng.uniform(8, 25, houses)
    weeks = 2 * int((spans.max() + 1 + BEFORE) * 365.25 / STEP / 2)
    plan = Plan([], [], end - weeks * STEP, weeks)
    region = {"warmth": rng.normal(10.5, 1.5), "swing": rng.normal(9.5, 1.2), "rain": rng.uniform(1.4, 2.8)}
    for number in range(houses):
        plan.houses.append(_house(rng, number, float(spans[number]), plan, region))
        for place in range(int(rng.integers(4, 7))):
            plan.walls.append(_wall(rng, number, place, plan.houses[number], plan))
    return plan


def _house(rng: np.random.Generator, number: int, span: float, plan: Plan, region: dict[str, float]) -> House:
    last = plan.weeks - 1 - int(rng.choice([0, rng.integers(0, 30)]))
    first = last - int(span * 52)
    heated = rng.random() < 0.4
    dryer, heated_from = (-1, -1), -1
    if rng.random() < 0.3:
        start = int(rng.integers(first - 200, last))
        dryer = (start, int(start + rng.choice([10_000, rng.integers(60, 400)])))
    if not heated and rng.random() < 0.15:
        heated_from = int(rng.integers(first, last))
    return House(
        code=f"P{number + 1:03d}",
        first=first,
        last=last,
        american=bool(rng.random() < 0.3),
        built=int(rng.integers(1850, 1932)),
        warmth=region["warmth"] + rng.normal(0, 0.7),
        swing=region["swing"] + rng.normal(0, 0.6),
        outdoor_rh=rng.normal(0.74, 0.035),
        heated=bool(heated),
        room=rng.normal(18.0, 1.3) if heated else rng.normal(12.5, 1.0),
        gain=rng.uniform(-40, 110),
        airy=rng.uniform(0.3, 0.95),
        rain=region["rain"] * rng.lognormal(0, 0.1),
        clay=rng.uniform(0, 1),
        table=rng.normal(0.0, 0.16),
        salt=rng.lognormal(-0.6, 0.8),
        dryer=dryer,
        heated_from=heated_from,
        taste=rng.beta(1.1, 1.5),
        kit=str(rng.choice(KITS, p=[0.35, 0.2, 0.2, 0.25])),
        gap=float(rng.choice([26, 26, 52, 40])),
        keen=rng.uniform(0.03, 0.2),
        diligence=rng.uniform(0.7, 0.97),
        works_week=int(rng.integers(8, 44)),
        floods=[
            (int(week), float(rng.uniform(0.15, 1.0)))
            for week in np.flatnonzero(rng.random(plan.weeks) < 0.011 / 52)
        ],
    )


def _wall(rng: np.random.Generator, number: int, place: int, house: House, plan: Plan) -> Wall:
    adjoins = str(
        rng.choice(["soil", "street", "garden", "party_wall", "interior"], p=[0.35, 0.2, 0.2, 0.15, 0.1])
    )
    inside = adjoins in ("party_wall", "interior")
    height = round(float(rng.uniform(1.8, 2.6)), 2)
    substrate = str(
        rng.choice(
            ["rubble_stone", "coursed_stone", "brick", "mixed", "unknown"], p=[0.4, 0.15, 0.27, 0.1, 0.08]
        )
    )
    brick = substrate == "brick"
    ease = rng.lognormal(0, 0.35) * (1.25 if brick else 0.9)
    first = house.first - int(rng.exponential(9) * 52) - 20
    if rng.random() < 0.2:
        first = int(rng.integers(house.first + 10, house.last - 150))
    wet = rng.normal(0, 0.2) + 0.1 * house.clay + house.table
    wall = Wall(
        house=number,
        code=f"P{number + 1:03d}-{chr(65 + place)}",
        wall=("north", "east", "south", "west", "middle", "north")[place],
        length=round(float(rng.uniform(2.2, 6.5)), 1),
        height=height,
        below=round(height * float(rng.uniform(0.55, 0.98)), 2),
        thickness=float(rng.uniform(0.38, 0.65)),
        substrate=substrate,
        mortar=str(
            rng.choice(
                ["lime", "clay", "natural_cement", "cement_lime", "unknown"], p=[0.58, 0.1, 0.1, 0.1, 0.12]
            )
        ),
        adjoins=adjoins,
        beyond=str(rng.choice(["heated", "unheated", "vacant", "unknown"]))
        if adjoins == "party_wall"
        else "",
        pores=float(rng.uniform(0.17, 0.26) if brick else rng.uniform(0.11, 0.19)),
        inner=float(np.clip(0.028 * ease * rng.lognormal(0, 0.3), 0.015, 0.11)),
        middle=float(np.clip(0.028 * ease * rng.lognormal(0, 0.3), 0.015, 0.11)),
        rise=float(np.clip(7e-4 * ease, 2e-4, 1.5e-3)),
        soil=0.0 if inside else float(np.clip(0.024 * rng.lognormal(0, 0.7), 0.002, 0.09)),
        soil_wet=float(np.clip(0.57 + wet, 0.1, 0.9)),
        foot=float(np.clip(0.62 + wet + rng.normal(0, 0.16) - (0.1 if inside else 0), 0.1, 1.0)),
        splash=0.0 if inside else float(rng.lognormal(-0.5, 0.9)),
        cold=float(rng.uniform(0.08, 0.38)) * (0.4 if inside else 1.0),
        outside_coat=-1,
        turn=_turn(rng, house),
        first_coat=coats.draw(rng, house.taste * 0.55),
        first_week=first,
        found=first < house.first,
    )
    if not inside and rng.random() < 0.06:
        wall.outside_coat = int(rng.integers(house.first, house.last))
    _draw_works(rng, wall, house, wet, plan)
    wall.leaks = _draw_leaks(rng, wall, inside, plan)
    return wall


def _turn(rng: np.random.Generator, house: House) -> tuple[int, float, float]:
    """Week, size and years of a lasting change: a gutter gone or mended, paving laid, a drain put in."""
    if rng.random() > 0.6:
        return 0, 0.0, 1.0
    size = rng.uniform(0.1, 0.4) if rng.random() < 0.2 else -rng.uniform(0.05, 0.3)
    span = house.last - house.first
    return int(house.first + span * rng.uniform(-0.1, 0.6)), float(size), float(rng.uniform(0.3, 5))


def _draw_works(rng: np.random.Generator, wall: Wall, house: House, wet: float, plan: Plan) -> None:
    """What owners do without being driven by a fallen coat: close a wall (rather a damp one), or renew."""
    if rng.random() < np.clip(0.05 + 0.28 * house.taste + 0.8 * max(wet, 0), 0, 0.75):
        week = int(rng.uniform(house.first - 26, house.first + 0.45 * (house.last - house.first)))
        choice = rng.random()
        if choice < 0.84:
            wall.works.append((week, "paint", None))
        elif choice < 0.97:
            coat = coats.mortar(rng, "cement")
            if rng.random() < 0.3:
                coat = coats.finish(rng, coat, str(rng.choice(["emulsion", "alkyd"])))
            wall.works.append((week, "recoat", coat))
        else:
            wall.works.append((week, "recoat", coats.lining(rng)))
    if rng.random() < 0.08:
        week = int(rng.integers(house.first, house.last))
        wall.works.append((week, "recoat", coats.draw(rng, house.taste * 0.5)))
    if rng.random() < 0.05:
        wall.works.append((int(rng.integers(house.first, house.last)), "strip", None))
    if rng.random() < 0.06:
        wall.works.append((int(rng.integers(house.first, house.last)), "repoint", None))
    wall.works.sort(key=lambda work: work[0])


def _draw_leaks(rng: np.random.Generator, wall: Wall, inside: bool, plan: Plan) -> list[Leak]:
    weeks = np.flatnonzero(rng.random(plan.weeks) < (0.004 if inside else 0.014) / 52)
    return [
        Leak(
            start=int(week),
            end=int(week + np.clip(rng.lognormal(np.log(90), 0.9), 8, 800)),
            rate=float(rng.lognormal(np.log(0.16), 0.6)),
            cell=int(rng.integers(0, HEIGHTS)),
            rain_fed=bool(rng.random() < 0.7),
            crack=float(rng.uniform(0.1, 0.6)),
            noted=bool(rng.random() < 0.75),
        )
        for week in weeks
    ]
