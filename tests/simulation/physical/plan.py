"""What stands there at the beginning: houses, sections, their exposure and their first coats."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .coats import System, draw_outlet, draw_system
from .style import Style

STREETS = (
    "Kiln Row",
    "Tannery Lane",
    "Osier Bank",
    "Lantern Hill",
    "Cooper's Rise",
    "Weir Street",
    "Thrift Yard",
)
TOWN = "Harrow Weir"

#: Weights of what a basement wall stands against.
ADJOINS = {"soil": 0.34, "street": 0.2, "garden": 0.18, "party_wall": 0.18, "interior": 0.1}
#: Supply of liquid water relative to a soil wall's.
SUPPLY_BY_ADJOINS = {"soil": 1.0, "street": 0.7, "garden": 0.8, "party_wall": 0.25, "interior": 0.08}
#: Substrate: weight, free water that the wall behind the coat can hold (kg/m²), gain of the meter.
SUBSTRATES = {
    "rubble_stone": (0.35, (25.0, 60.0), 0.9),
    "coursed_stone": (0.1, (20.0, 45.0), 0.85),
    "brick": (0.35, (30.0, 70.0), 1.1),
    "concrete_block": (0.07, (20.0, 40.0), 1.0),
    "mixed": (0.08, (25.0, 60.0), 1.0),
    "unknown": (0.05, (25.0, 60.0), 1.0),
}
MORTARS = ("lime", "lime", "lime", "clay", "natural_cement", "cement_lime", "unknown")


@dataclass(slots=True)
class House:
    """A house and how it is gone round. ``kit`` is 0 for the least to 3 for the full."""

    code: str
    customary: bool
    country: str
    timezone: str
    street: str
    year_built: int
    kit: int
    visits_a_year: int
    has_sump: bool
    has_radon: bool


@dataclass(slots=True)
class Coating:
    """A system on a section between two steps; what the record says of it is drawn when it is written."""

    system: System | None
    start: int
    stop: int | None = None
    reason: str = ""
    found: bool = False
    drains_to: str = "unknown"
    #: Fill of the wall when it is closed, 0 for as it was.
    fill: float = 0.0


@dataclass(slots=True)
class Event:
    """Something that happened to a section, or to its house where ``section`` is negative."""

    step: int
    kind: str
    section: int
    house: int
    note: str = ""
    area_share: float = np.nan
    on_coat: bool = False


@dataclass(slots=True)
class Section:
    """A section's facts and its hidden constants; water in kg/m², rates in kg/m² a day."""

    code: str
    house: int
    wall: str
    start_m: float
    length_m: float
    height_m: float
    below_grade_m: float
    substrate: str
    bedding_mortar: str
    adjoins: str
    beyond: str
    supply: float
    capacity: float
    first_fill: float
    salt: float
    outside_coat: bool
    wear: float
    coatings: list[Coating] = field(default_factory=list)

    @property
    def area(self) -> float:
        return self.length_m * self.height_m


@dataclass(slots=True)
class Plan:
    """The portfolio before its first day."""

    houses: list[House]
    sections: list[Section]
    #: Floods that are sure to come, beside those that life draws: step and house.
    floods: list[tuple[int, int]] = field(default_factory=list)


def draw_plan(rng: np.random.Generator, style: Style, houses: int, sections_a_house: int) -> Plan:
    """Houses and sections, each with what is on it at the first step."""
    made = Plan([], [])
    for h in range(houses):
        house = _draw_house(rng, style, h)
        made.houses.append(house)
        height = round(float(rng.uniform(1.8, 2.6)), 2)
        for i in range(sections_a_house):
            section = _draw_section(rng, style, h, len(made.sections) + 1, height)
            section.wall, section.start_m = "NESW"[i % 4], round(3.0 * (i // 4), 1)
            made.sections.append(section)
    return made


def _draw_house(rng: np.random.Generator, style: Style, index: int) -> House:
    customary = bool(rng.random() < style.customary_share)
    return House(
        code=f"H{index + 1:03d}",
        customary=customary,
        country="US" if customary else "IE",
        timezone="America/New_York" if customary else "Europe/Dublin",
        street=f"{int(rng.integers(1, 120))} {STREETS[rng.integers(len(STREETS))]}",
        year_built=int(rng.integers(1840, 1926)),
        kit=int(rng.choice(4, p=np.array(style.kits) / np.sum(style.kits))),
        visits_a_year=_draw_visits(rng, style),
        has_sump=bool(rng.random() < 0.2),
        has_radon=bool(rng.random() < 0.3),
    )


def _draw_visits(rng: np.random.Generator, style: Style) -> int:
    odds = rng.random()
    if odds < style.yearly_share:
        return 1
    return int(rng.integers(3, 5)) if odds > 1 - style.often_share else 2


def _draw_section(rng: np.random.Generator, style: Style, house: int, number: int, height: float) -> Section:
    adjoins = str(rng.choice(list(ADJOINS), p=list(ADJOINS.values())))
    weights = np.array([entry[0] for entry in SUBSTRATES.values()])
    substrate = str(rng.choice(list(SUBSTRATES), p=weights / weights.sum()))
    below = 0.0 if adjoins == "interior" else float(np.clip(rng.normal(0.7 * height, 0.4), 0.2, height))
    supply = style.supply_g / 1000 * SUPPLY_BY_ADJOINS[adjoins] * (0.4 + 0.6 * below / height)
    beyond = str(rng.choice(["heated", "unheated", "vacant", "unknown"])) if adjoins == "party_wall" else ""
    if beyond == "vacant":
        supply *= 2.0
    outside_coat = adjoins == "soil" and bool(rng.random() < 0.08)
    if outside_coat:
        supply *= 0.4
    section = Section(
        code=f"S{number:04d}",
        house=house,
        wall="",
        start_m=0.0,
        length_m=round(float(rng.uniform(1.5, 5.0)), 2),
        height_m=height,
        below_grade_m=round(below, 2),
        substrate=substrate,
        bedding_mortar=str(rng.choice(MORTARS)),
        adjoins=adjoins,
        beyond=beyond,
        supply=supply * float(rng.lognormal(0.0, style.supply_spread)),
        capacity=float(rng.uniform(*SUBSTRATES[substrate][1])),
        first_fill=float(rng.uniform(0.05, 0.35)),
        salt=float(rng.lognormal(np.log(style.salt_scale), 0.8)),
        outside_coat=outside_coat,
        wear=_draw_wear(rng, style),
    )
    _draw_first_coat(rng, style, section)
    return section


def _draw_wear(rng: np.random.Generator, style: Style) -> float:
    """Share of the coat lost or loosened a year on a dry wall."""
    if rng.random() < style.wear_share:
        return float(np.exp(rng.uniform(np.log(0.012), np.log(0.05))))
    return float(np.exp(rng.uniform(np.log(0.0002), np.log(0.004))))


def _draw_first_coat(rng: np.random.Generator, style: Style, section: Section) -> None:
    """What is on the wall at first: nothing, a coat, or bare until it is coated within four years."""
    dense = bool(rng.random() < style.dense_share)
    way = rng.random()
    if way < 0.05:
        section.coatings.append(Coating(None, 0))
        section.first_fill *= 0.7
        return
    system = draw_system(rng, dense)
    coating = Coating(system, 0, drains_to=draw_outlet(rng, system))
    if dense and section.supply > 0.002:
        sealed_wet = section.supply > 0.005 and rng.random() < style.sealed_wet_share
        coating.fill = section.first_fill = float(
            rng.uniform(0.7, 0.97) if sealed_wet else rng.uniform(0.15, 0.6)
        )
    section.coatings.append(coating)
    if rng.random() < style.found_share:
        coating.found = True
    elif rng.random() < 0.35:
        coating.start = int(rng.integers(20, 4 * 122))
        section.coatings.insert(0, Coating(None, 0, coating.start))
