"""What stands there: houses, sections of wall and the coats on them, drawn at random from a seed."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from inspections.analysis.records import YEAR
from tests.simulation.book import day_number

FloatArray = npt.NDArray[np.float64]

STEPS_A_YEAR = 26
STEP_DAYS = YEAR / STEPS_A_YEAR
#: Years that the bucket runs before the first visit, so that coats that were found have a past.
PAST_YEARS = 15


@dataclass(slots=True)
class Layer:
    """One layer of a coat. ``capillary`` is the share of liquid it carries beside a lime coat's 1."""

    kind: str
    binder: str
    thickness_mm: float
    sd_m: float
    capillary: float
    applied: float
    removed: float = np.inf
    removal_reason: str = ""
    found: bool = False
    drains_to: str = ""
    layer: int = 1


@dataclass(slots=True)
class House:
    """A house, its room climate, who inspects it and with what. Times in days since 1970-01-01."""

    code: str
    t_mean: float
    t_swing: float
    heated: bool
    room_load_pa: float
    dry_from: float
    kit: str
    imperial: bool
    instruments: list[str]
    changed_on: float
    visit_phase: float
    flood_on: float
    writes_coats: bool


@dataclass(slots=True)
class Wall:
    """A section, its water and its habits. Supplies in kg/m² a year, capacity in kg/m²."""

    house: int
    code: str
    role: str
    adjoins: str
    length_m: float
    height_m: float
    below_grade_m: float
    substrate: str
    supply: float
    season: float
    face_swing: float
    face_peak: float
    capacity: float
    coldness: float
    salt: float
    wear_rate: float
    wear_on: float
    leak: float = 0.0
    leak_on: float = np.inf
    leak_off: float = np.inf
    leak_height: int = 0
    store_at_coating: float = 0.05
    layers: list[Layer] = field(default_factory=list)

    @property
    def area_m2(self) -> float:
        return self.length_m * self.height_m


@dataclass(slots=True)
class Plan:
    """A whole book before anything has happened. ``first`` to ``last`` is the time under care."""

    houses: list[House]
    walls: list[Wall]
    first: float
    last: float
    yearly: bool
    limit: float

    @property
    def years(self) -> float:
        return (self.last - self.first) / YEAR


#: Instruments that hold all the kits: what each kit reads beside face moisture, room air and spalled area.
KITS: dict[str, frozenset[str]] = {
    "full": frozenset({"deep", "in_wall", "hollow", "surface_temperature", "salt", "mortar"}),
    "deep": frozenset({"deep", "hollow", "surface_temperature"}),
    "in_wall": frozenset({"in_wall", "hollow", "surface_temperature"}),
    "hammer": frozenset({"hollow"}),
    "least": frozenset(),
}
KIT_SHARES = (0.30, 0.18, 0.10, 0.17, 0.25)

#: Day of the year when a face reads wettest, and its spread: with the room's air, or with the ground.
SUMMER_PEAK = (240.0, 20.0)
WINTER_PEAK = (60.0, 20.0)

ROLES = {
    "ordinary": 0.33,
    "sealed": 0.115,
    "sealed_wet": 0.010,
    "dense_dry": 0.105,
    "drained": 0.04,
    "leak": 0.08,
    "soaked_open": 0.03,
    "cold_face": 0.07,
    "salty": 0.05,
    "worn": 0.08,
    "new_lime": 0.09,
}

#: Roles that stand against the ground outside.
FED = frozenset({"sealed", "sealed_wet", "drained", "soaked_open"})

#: adjoins: (share, median supply in kg/m² a year). Choices, to give coats from lime to cement a fair chance.
EXPOSURES = {
    "soil": (0.50, 3.0),
    "street": (0.17, 2.3),
    "garden": (0.17, 2.7),
    "party_wall": (0.08, 0.7),
    "interior": (0.08, 0.3),
}

#: binder: (mu low, mu high, capillary share); ranges after common practice (lime 6-12, cement 20-60).
PARGES = {
    "lime_putty": (6, 12, 1.0),
    "NHL 2": (8, 14, 0.9),
    "NHL 3.5": (8, 16, 0.8),
    "NHL 5": (10, 20, 0.6),
    "cement_lime": (14, 26, 0.3),
    "portland_cement": (25, 65, 0.06),
}
#: Finish over a parge: (kind, sd in m, share of the liquid it still lets through).
FINISHES = {
    "limewash": ("limewash", 0.02, 1.0),
    "silicate": ("paint", 0.2, 0.6),
    "acrylic": ("paint", 0.6, 0.2),
    "alkyd": ("paint", 3.0, 0.03),
    "epoxy": ("paint", 12.0, 0.0),
    "bitumen": ("sealer", 30.0, 0.0),
}


def draw_plan(rng: np.random.Generator, houses: int, years: int) -> Plan:
    """Draw a portfolio; the seed also moves the habits that all its houses share."""
    first = float(day_number(dt.date(2009, 1, 1)) + rng.integers(0, 1500))
    plan = Plan([], [], first, first + years * YEAR, bool(rng.random() < 0.15), rng.uniform(0.58, 0.65))
    wetness = np.exp(rng.normal(0, 0.15))
    kits = rng.permutation(rng.choice(list(KITS), houses, p=KIT_SHARES))
    for number in range(houses):
        plan.houses.append(_house(rng, number, str(kits[number]), plan))
        for place in range(rng.integers(6, 11)):
            plan.walls.append(_wall(rng, number, place, wetness, plan))
    return plan


def _house(rng: np.random.Generator, number: int, kit: str, plan: Plan) -> House:
    span = plan.last - plan.first
    changes, dries, floods = rng.random(3) < (0.2, 0.2, 0.15)
    when = plan.first + span * rng.uniform(0.2, 0.85, 3)
    meters = [f"M{number + 1:02d}A", f"M{number + 1:02d}B"] if changes else [f"M{number + 1:02d}A"]
    return House(
        code=f"B{number + 1:03d}",
        t_mean=rng.uniform(8.5, 12.5),
        t_swing=rng.uniform(8, 12),
        heated=bool(rng.random() < 0.5),
        room_load_pa=rng.uniform(40, 260),
        dry_from=float(when[1]) if dries else np.inf,
        kit=kit,
        imperial=bool(rng.random() < 0.2),
        instruments=meters,
        changed_on=float(when[0]) if changes else np.inf,
        visit_phase=float(rng.uniform(0.08, 0.26)),
        flood_on=float(when[2]) if floods else np.inf,
        writes_coats=bool(rng.random() < 0.6),
    )


def _wall(rng: np.random.Generator, house: int, place: int, wetness: float, plan: Plan) -> Wall:
    role = str(rng.choice(list(ROLES), p=list(ROLES.values())))
    outside = tuple(EXPOSURES)[:3] if role in FED else EXPOSURES
    shares = np.array([EXPOSURES[name][0] for name in outside])
    adjoins = str(rng.choice(list(outside), p=shares / shares.sum()))
    height = rng.uniform(1.8, 2.4)
    wall = Wall(
        house=house,
        code=f"W{place + 1:02d}",
        role=role,
        adjoins=adjoins,
        length_m=round(rng.uniform(1.5, 4.5), 1),
        height_m=round(height, 1),
        below_grade_m=0.0 if adjoins == "interior" else round(min(height, rng.uniform(1.0, 2.6)), 1),
        substrate=str(
            rng.choice(["rubble_stone", "coursed_stone", "brick", "mixed"], p=[0.4, 0.2, 0.3, 0.1])
        ),
        supply=wetness * EXPOSURES[adjoins][1] * np.exp(rng.normal(0, 0.5)),
        season=rng.uniform(0.2, 0.6),
        face_swing=rng.uniform(0.14, 0.22),
        face_peak=rng.normal(*(SUMMER_PEAK if rng.random() < 0.6 else WINTER_PEAK)),
        capacity=rng.uniform(25, 55),
        coldness=rng.uniform(0.15, 0.45),
        salt=rng.exponential(0.03),
        wear_rate=rng.exponential(0.0006),
        wear_on=plan.first,
    )
    _settle_role(rng, wall, plan)
    _coat(rng, wall, plan)
    return wall


def _settle_role(rng: np.random.Generator, wall: Wall, plan: Plan) -> None:
    span = plan.last - plan.first
    if wall.role in {"sealed", "sealed_wet", "drained"}:
        wall.supply = max(wall.supply, rng.uniform(1.8, 5.0))
    elif wall.role == "dense_dry":
        wall.supply = rng.uniform(0.02, 0.25)
    elif wall.role == "soaked_open":
        wall.supply = rng.uniform(5, 14)
    elif wall.role == "leak":
        wall.leak = rng.uniform(5, 18)
        wall.leak_on = plan.first + span * rng.uniform(0.05, 0.9)
        wall.leak_off = wall.leak_on + YEAR * rng.choice([rng.uniform(0.7, 5.0), 99.0], p=[0.7, 0.3])
        wall.leak_height = int(rng.integers(0, 3))
    elif wall.role == "cold_face":
        wall.coldness = rng.uniform(0.65, 0.95)
        wall.supply *= 0.4
    elif wall.role == "salty":
        wall.salt = rng.uniform(0.25, 0.6)
        wall.supply *= 0.5
    elif wall.role == "worn":
        wall.wear_rate = rng.lognormal(np.log(0.012), 0.5)
        wall.wear_on = plan.first + span * rng.uniform(-0.1, 0.7)
        wall.supply *= 0.4


def _coat(rng: np.random.Generator, wall: Wall, plan: Plan) -> None:
    """Put the coats on: most soon after the house came under care, some found, some renewed later."""
    span = plan.last - plan.first
    found = bool(rng.random() < 0.12) and wall.role not in {"sealed", "sealed_wet"}
    applied = plan.first + (-YEAR * rng.uniform(1, 8) if found else span * rng.uniform(-0.02, 0.2))
    if wall.role == "drained":
        lining = Layer("lining", "polyethylene", 8.0, rng.uniform(50, 200), 0.0, applied)
        lining.drains_to = str(rng.choice(["drain", "sump"]))
        wall.layers = [lining]
    else:
        wall.layers = _parge_and_finish(rng, wall, applied)
    for layer in wall.layers:
        layer.found = found
    open_coat = bool(np.prod([layer.capillary for layer in wall.layers]) > 0.2)
    if wall.role == "sealed_wet":
        wall.store_at_coating = rng.uniform(0.65, 0.85)
    elif wall.role == "soaked_open":
        wall.store_at_coating = rng.uniform(0.4, 0.65)
    elif wall.role != "dense_dry":
        wall.store_at_coating = rng.uniform(0.15, 0.5) if open_coat else rng.uniform(0.03, 0.15)
    renewed = wall.role == "new_lime" or (wall.role in {"sealed", "leak", "ordinary"} and rng.random() < 0.08)
    if renewed:
        on = plan.first + span * rng.uniform(0.25, 0.97)
        if on > applied + YEAR:
            for layer in wall.layers:
                layer.removed, layer.removal_reason = on, "planned"
            wall.layers += [_parge(rng, str(rng.choice(["lime_putty", "NHL 2", "NHL 3.5"])), on)]


def _parge_and_finish(rng: np.random.Generator, wall: Wall, applied: float) -> list[Layer]:
    if wall.role in {"sealed", "sealed_wet", "dense_dry"}:
        binder = str(rng.choice(["portland_cement", "cement_lime"], p=[0.85, 0.15]))
        finish = str(
            rng.choice(["", "acrylic", "alkyd", "epoxy", "bitumen"], p=[0.15, 0.15, 0.35, 0.2, 0.15])
        )
    elif wall.role == "soaked_open":
        binder = str(rng.choice(["lime_putty", "NHL 2", "NHL 3.5"]))
        finish = str(rng.choice(["", "limewash"]))
    else:
        binder = str(rng.choice(list(PARGES), p=[0.2, 0.15, 0.25, 0.1, 0.12, 0.18]))
        finish = str(
            rng.choice(["", "limewash", "silicate", "acrylic", "alkyd"], p=[0.4, 0.3, 0.1, 0.15, 0.05])
        )
    layers = [_parge(rng, binder, applied)]
    if finish:
        kind, sd, capillary = FINISHES[finish]
        sd *= float(np.exp(rng.normal(0, 0.3)))
        dried = applied + rng.uniform(20, 60)
        layers.append(Layer(kind, _binder_of(finish), 0.3, sd, capillary, dried, layer=2))
    return layers


def _binder_of(finish: str) -> str:
    return "CL 90" if finish == "limewash" else finish


def _parge(rng: np.random.Generator, binder: str, applied: float) -> Layer:
    low, high, capillary = PARGES[binder]
    thickness = rng.uniform(14, 28)
    sd = rng.uniform(low, high) * thickness / 1000
    return Layer("parge_coat", binder, round(thickness), sd, capillary, applied)
