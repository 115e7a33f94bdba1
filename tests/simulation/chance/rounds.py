"""The surveyors' rounds: who comes when, and what goes down on the sheet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.simulation.book import Book, Row, iso_day
from tests.simulation.chance.course import Course
from tests.simulation.chance.meters import Bag, Inspector, draw_bag, draw_inspector, ended, slip
from tests.simulation.chance.places import House, Walls
from tests.simulation.chance.water import STEP
from tests.simulation.chance.weather import Climate, Rng, saturation

HEIGHTS = (300, 900, 1500)
#: What each kit reads beside face moisture, room air and spalled area; the rest comes and goes.
KIT = {
    "full": ("deep", "probe", "hollow", "surface", "salt", "soft"),
    "deep": ("deep", "hollow"),
    "humidity": ("probe", "surface"),
    "hammer": ("hollow", "salt", "soft"),
    "least": (),
}
FOOT2, INCH = 0.3048**2, 25.4


@dataclass(slots=True)
class Scene:
    """All that a round can see."""

    walls: Walls
    course: Course
    climate: Climate
    cold: np.ndarray
    first: int


@dataclass(slots=True)
class Round:
    """One visit's sheet."""

    rng: Rng
    book: Book
    house: House
    bag: Bag
    who: Inspector
    day: int
    imperial: bool
    hour: float

    def write(self, section: str, quantity: str, value: float, unit: str = "", **more: object) -> None:
        """One reading, with the units of the house where there is a choice."""
        if self.imperial and unit in IMPERIAL:
            factor, offset, unit = IMPERIAL[unit]
            value = value * factor + offset
        minutes = round(self.hour * 60)
        row: Row = {
            "building": self.house.code,
            "section": section,
            "taken_at": f"{iso_day(float(self.day))}T{minutes // 60:02d}:{minutes % 60:02d}",
            "quantity": quantity,
            "value": slip(self.rng, round(value, 3)),
            "unit": unit,
            "inspector": self.who.name,
        }
        self.book.tables["readings"].append(row | more)


IMPERIAL = {
    "degC": (1.8, 32.0, "degF"),
    "m2": (1 / FOOT2, 0.0, "ft2"),
    "mm": (1 / INCH, 0.0, "in"),
}


def go_round(rng: Rng, book: Book, houses: list[House], scene: Scene) -> None:
    """All rounds of all houses, and the instruments they used."""
    for i, house in enumerate(houses):
        bag = draw_bag(rng, house)
        people = [draw_inspector(rng, 10 * i + n + 1) for n in range(int(rng.integers(1, 5)))]
        imperial = bool(rng.random() < 0.3)
        heights = [HEIGHTS, HEIGHTS[:2], HEIGHTS[:1]][rng.choice(3, p=(0.5, 0.3, 0.2))]
        usual, start = 0, len(book.tables["readings"])
        extra = {name for name in ("surface", "salt", "soft") if rng.random() < 0.25}
        has = set(KIT[house.kit]) | extra
        for day in _days(rng, house):
            if rng.random() < 0.06:
                usual = int(rng.integers(len(people)))
            who = people[usual if rng.random() < 0.85 else int(rng.integers(len(people)))]
            hour = float(np.clip(who.hour + rng.normal(0, 1.2), 7, 18))
            visit = Round(rng, book, house, bag, who, int(day), imperial, hour)
            _air(visit, "", scene, i)
            sounding = "hollow" in has and rng.random() < who.sounds
            for s in np.flatnonzero(scene.walls.house == i):
                if rng.random() > 0.5 * who.misses:
                    _section(visit, scene, int(s), i, heights, has, sounding)
        used = {str(row.get("instrument", "")) for row in book.tables["readings"][start:]}
        meters = {meter.code: meter for _, meter in (*bag.face, *bag.deep)}
        book.tables["instruments"] += [meters[code].row() for code in sorted(meters.keys() & used)]
        if bag.hygrometer:
            book.add("instruments", code=bag.hygrometer, kind="hygrometer")


def _days(rng: Rng, house: House) -> list[int]:
    """The days of the rounds: a habit, with late ones, missed ones and years without."""
    gap, day, found = house.often * 365.25, house.begin + rng.uniform(0, 150), list[int]()
    while day < house.end:
        if rng.random() > 0.1:
            found.append(int(day + np.clip(rng.normal(0, 0.08 * gap), -0.3 * gap, 0.3 * gap)))
        day += gap * (1 if rng.random() > 0.02 else rng.integers(2, 5))
    return sorted({day for day in found if house.begin <= day <= house.end})


def _air(visit: Round, section: str, scene: Scene, house: int) -> None:
    """Room air, once for the house or (where the habit is so) at each section."""
    if (section == "") == visit.house.local_air or visit.rng.random() < 0.04:
        return
    rng, day, bag = visit.rng, visit.day - scene.first, visit.bag
    warm = scene.climate.room[day, house]
    humid = 100 * scene.climate.room_vapour[day, house] / saturation(warm)
    tool: Row = {"instrument": bag.hygrometer} if bag.hygrometer else {}
    value, qualifier = ended(round(humid + bag.humid_bias + rng.normal(0, 2)), 5, 99)
    visit.write(section, "air_temperature", warm + bag.warm_bias + rng.normal(0, 0.3), "degC", **tool)
    visit.write(section, "air_humidity", value, "percent_rh", qualifier=qualifier, **tool)


def _section(
    visit: Round,
    scene: Scene,
    s: int,
    house: int,
    heights: tuple[int, ...],
    has: set[str],
    sounding: bool,
) -> None:
    rng, who, walls, course = visit.rng, visit.who, scene.walls, scene.course
    code, day = str(walls.code[s]), visit.day
    k = (day - scene.first) // STEP
    _air(visit, code, scene, house)
    _moisture(visit, scene, s, k, heights, deep="deep" in has)
    if "probe" in has and rng.random() > who.misses:
        inside = 100 * (1 - np.exp(-(course.behind[k, s] + 0.06 + 0.02 * course.fresh[k, s]) / 0.1))
        value, qualifier = ended(round(inside + rng.normal(0, 1.5), 1), 5, visit.bag.probe_end)
        where = {"height_mm": heights[0], "depth_mm": 100}
        visit.write(code, "in_wall_humidity", value, "percent_rh", qualifier=qualifier, **where)
    if "surface" in has and rng.random() < who.cold:
        visit.write(
            code, "surface_temperature", scene.cold[day - scene.first, s] + rng.normal(0, 0.5), "degC"
        )
    covered = course.covered[k, s] > 0
    if sounding and covered:
        _area(visit, code, "hollow_area", course.hollow[k, s] * walls.area[s], who.finds)
    if covered and rng.random() < 0.93:
        _area(visit, code, "spall_area", course.fallen[k, s] * walls.area[s], 0.3 * who.finds)
    if "salt" in has and rng.random() < 0.8:
        _area(visit, code, "salt_area", course.bloom[k, s] * walls.area[s], who.finds)
    if "soft" in has and (not covered or course.fallen[k, s] > 0.02) and rng.random() < 0.6:
        depth = max(0.0, course.soft[k, s] + rng.normal(0, 1.0))
        visit.write(code, "mortar_soft_depth", round(depth, 1), "mm")
    if rng.random() < 0.002:
        dust = max(0.1, 0.6 + 6 * walls.salt[s] + rng.normal(0, 0.4))
        visit.write(code, "hygroscopic_moisture", round(dust, 1), "percent_mass")


def _moisture(visit: Round, scene: Scene, s: int, k: int, heights: tuple[int, ...], *, deep: bool) -> None:
    """The meter at the face, and in the wall, at each height that isn't missed."""
    rng, who, walls, course = visit.rng, visit.who, scene.walls, scene.course
    day, code = visit.day - scene.first, str(walls.code[s])
    over = scene.climate.room_vapour[day, walls.house[s]] - saturation(scene.cold[day, s])
    dew = 0.4 * np.clip(over / 200, 0, 1)
    meter, probe = visit.bag.at(visit.day), visit.bag.at(visit.day, deep=True)
    felt = meter.depth * np.exp(-course.thick[k, s] / 120)
    for height in heights:
        if rng.random() < who.misses:
            continue
        lie = 1 + walls.tilt[s] * (0.5 - height / 1000 / walls.height[s])
        behind = course.behind[k, s] * lie
        own = 1 - (1 - min(1.0, course.face[k, s] * (0.5 + 0.5 * lie))) * (1 - dew)
        wetness = own + felt * max(0.0, behind - own) + who.lean + rng.normal(0, 0.025)
        value, qualifier = meter.read(rng, wetness, walls.salt[s])
        where: Row = {"height_mm": height, "instrument": meter.code, "qualifier": qualifier}
        visit.write(code, "surface_moisture", value, meter.scale, **where)
        if deep and rng.random() > who.misses:
            wetness = 0.05 + behind + 0.03 * course.fresh[k, s] + rng.normal(0, 0.04)
            value, qualifier = probe.read(rng, wetness, walls.salt[s])
            where = {"height_mm": height, "depth_mm": 80, "instrument": probe.code, "qualifier": qualifier}
            visit.write(code, "deep_moisture", value, probe.scale, **where)


def _area(visit: Round, code: str, quantity: str, true: float, limit: float) -> None:
    """An area as somebody judges it; under what they find they write none, or that it is less."""
    rng, who = visit.rng, visit.who
    judged = true * who.areas * rng.lognormal(0, 0.15)
    if true > 0 and judged >= limit:
        visit.write(code, quantity, round(judged, 2), "m2")
    elif who.zeros or quantity != "hollow_area":
        visit.write(code, quantity, 0.0, "m2")
    else:
        visit.write(code, quantity, round(limit, 2) or 0.01, "m2", qualifier="<")
