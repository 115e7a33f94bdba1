"""Rounds as people make them: who comes when, with what, and what they write down."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tests.simulation.book import Book, iso_day
from tests.simulation.profile.climate import Climate
from tests.simulation.profile.life import Life
from tests.simulation.profile.meters import Look, Meter, Points, deep_meter, face_meter
from tests.simulation.profile.places import HEIGHTS, House, Plan

#: Share of moisture readings written down ten times too large or too small.
SLIPS = 0.003

#: Areas in m² under which loose pieces of a coat are missed, and square feet in a square metre.
MISSED, FEET = 0.04, 1 / 0.3048**2

#: Quantities of each kit beside the face's moisture, the air and what has fallen.
KIT = {
    "full": {"deep_moisture", "in_wall_humidity", "hollow_area", "surface_temperature", "salt_area", "soft"},
    "no_sounding": {"deep_moisture", "surface_temperature"},
    "no_depth": {"hollow_area", "surface_temperature", "salt_area"},
    "least": set(),
}


@dataclass(slots=True)
class Round:
    """A house's habits and gear."""

    visits: list[int]
    heights: list[int]
    face: list[tuple[int, Meter]]
    deep: Meter
    humid: list[tuple[int, Meter]]
    inspectors: list[tuple[int, str, float]]
    says_less: bool
    per_house: bool


def write_readings(rng: np.random.Generator, plan: Plan, climate: Climate, life: Life, book: Book) -> None:
    """All readings and instruments of a portfolio."""
    thickness = _thickness(plan, life)
    for number, house in enumerate(plan.houses):
        walls = [i for i, wall in enumerate(plan.walls) if wall.house == number]
        habit = _habits(rng, house)
        points = Points(rng, plan, walls, habit.heights)
        for meter in dict.fromkeys(m.code for _, m in habit.face + habit.humid):
            _instrument(book, next(m for _, m in habit.face + habit.humid if m.code == meter))
        if "deep_moisture" in KIT[house.kit]:
            _instrument(book, habit.deep)
        for week in habit.visits:
            meter = _current(habit.face, week)
            thick = np.array([_thick_at(thickness[i], week) for i in walls])
            look = points.look(climate, life, house, week, thick, meter.sight)
            _Visit(rng, plan, life, house, habit, book, week).write(walls, look, meter)


def _current(course: list, week: int):  # type: ignore[no-untyped-def, type-arg]
    """The last entry that began by a week."""
    return [entry for entry in course if entry[0] <= week][-1][1]


def _thickness(plan: Plan, life: Life) -> list[list[tuple[int, float]]]:
    """By wall: weeks and the millimetres of coat that stood from then on."""
    courses: list[list[tuple[int, float]]] = [[] for _ in plan.walls]
    for put in life.puts:
        courses[put.wall].append((put.week, put.coat.thickness if put.coat.layers else 0.0))
        if put.removed >= 0:
            courses[put.wall].append((put.removed, 0.0))
    # What goes on in the week when the old comes off is written after it.
    return [sorted(course, key=lambda entry: (entry[0], entry[1])) for course in courses]


def _thick_at(course: list[tuple[int, float]], week: int) -> float:
    return ([0.0] + [thick for start, thick in course if start <= week])[-1]


def _habits(rng: np.random.Generator, house: House) -> Round:
    visits, week = [], house.first + int(rng.integers(0, 12))
    best = float(rng.integers(0, 52))
    while week <= house.last:
        if rng.random() < house.diligence:
            visits.append(week)
        step = house.gap * rng.lognormal(0, 0.18)
        if house.gap > 45:  # once a year, and rather in the accustomed season
            step += 0.5 * ((best - (week + step) + 26) % 52 - 26)
        week += max(4, round(step))
    heights = sorted(int(h) for h in rng.choice([200, 300, 400], 1))
    heights += [int(rng.choice([800, 900, 1000]))]
    if rng.random() < 0.75:
        heights += [int(rng.choice([1400, 1500, 1600]))]
    face = [(0, face_meter(rng, f"{house.code}-F1"))]
    while rng.random() < 0.45 and len(face) < 4:
        start = int(rng.integers(max(face[-1][0], house.first), house.last))
        face.append((start, face_meter(rng, f"{house.code}-F{len(face) + 1}", face[-1][1])))
        if rng.random() < 0.3:  # the same meter, adjusted
            face[-1] = (start, replace(face[-2][1], gain=face[-1][1].gain, bias=face[-1][1].bias))
    humid = [(0, _hygrometer(rng, f"{house.code}-H1"))]
    if rng.random() < 0.4:
        humid.append((int(rng.integers(house.first, house.last)), _hygrometer(rng, f"{house.code}-H2")))
    people = [(0, f"{house.code} surveyor 1", float(rng.lognormal(0, 0.2)))]
    for turn in range(int(rng.poisson(1.2))):
        start = int(rng.integers(max(people[-1][0], house.first), house.last))
        people.append((start, f"{house.code} surveyor {turn + 2}", float(rng.lognormal(0, 0.25))))
    return Round(
        visits, heights, face, deep_meter(rng, f"{house.code}-D1"), humid, people,
        says_less=bool(rng.random() < 0.5), per_house=bool(rng.random() < 0.2),
    )  # fmt: skip


def _hygrometer(rng: np.random.Generator, code: str) -> Meter:
    high = float(rng.choice([95.0, 98.0, 100.0]))
    return Meter(code, "hygrometer", "percent_rh", 5.0, high, 0.1, 1.0, rng.normal(0, 1.8), 1.0, 1.2, 0.0)


def _instrument(book: Book, meter: Meter) -> None:
    book.add(
        "instruments",
        code=meter.code,
        kind=meter.kind,
        scale=meter.scale,
        minimum=meter.low,
        maximum=meter.high,
        resolution=meter.step,
        repeatability=round(meter.noise * (1 if meter.kind == "hygrometer" else meter.high - meter.low), 2),
    )


class _Visit:
    """One person in one house on one day, writing."""

    def __init__(
        self,
        rng: np.random.Generator,
        plan: Plan,
        life: Life,
        house: House,
        habit: Round,
        book: Book,
        week: int,
    ) -> None:
        self.rng, self.plan, self.life, self.house, self.habit = rng, plan, life, house, habit
        self.rows = book.tables["readings"]
        self.week, self.k = week, life.at(week)
        self.kit = KIT[house.kit]
        self.day = iso_day(plan.day(week) + int(rng.integers(0, 7)))
        self.minute = int(rng.integers(8 * 60, 15 * 60))
        person = [entry for entry in habit.inspectors if entry[0] <= week][-1]
        self.inspector, self.ear = person[1], person[2]
        self.sounded = rng.random() < 0.8

    def add(
        self,
        section: str,
        quantity: str,
        value: float,
        unit: str,
        qualifier: str = "",
        meter: str = "",
        **place: int,
    ) -> None:
        """Write one reading down."""
        row: dict[str, object] = {
            "building": self.house.code,
            "section": section,
            "taken_at": f"{self.day}T{self.minute // 60:02d}:{self.minute % 60:02d}:00",
            "quantity": quantity,
            "value": value,
            "unit": unit,
            "instrument": meter,
            "inspector": self.inspector,
        }
        if qualifier:
            row["qualifier"] = qualifier
        row.update(place)
        self.rows.append(row)

    def write(self, walls: list[int], look: Look, meter: Meter) -> None:
        """Read every wall that is reached."""
        humid = _current(self.habit.humid, self.week)
        face, face_ends = meter.read(self.rng, look.wet)
        deep, deep_ends = self.habit.deep.read(self.rng, look.deep)
        inside = 100 * (0.45 + 0.55 * (1 - np.exp(-look.near / 0.07)))
        inside, inside_ends = humid.show(inside + humid.bias + self.rng.normal(0, 1.8, inside.shape))
        for n, wall in enumerate(walls):
            self.minute += int(self.rng.integers(3, 9))
            if self.rng.random() < 0.03:  # stored goods before the wall
                continue
            code = self.plan.walls[wall].code
            if not n or not self.habit.per_house:
                self._air(code, look, humid)
            for m, height in enumerate(self.habit.heights):
                if self.rng.random() < 0.06:
                    continue
                self.add(
                    code, "surface_moisture", self._slip(float(face[n, m])), meter.scale,
                    str(face_ends[n, m]), meter.code, height_mm=height,
                )  # fmt: skip
                if "surface_temperature" in self.kit and m != 1:
                    value, unit = self._degrees(float(look.face_t[n, m]))
                    self.add(code, "surface_temperature", value, unit, height_mm=height)
                if "deep_moisture" in self.kit and m < 2:
                    tool = self.habit.deep
                    self.add(
                        code, "deep_moisture", self._slip(float(deep[n, m])), tool.scale,
                        str(deep_ends[n, m]), tool.code, height_mm=height, depth_mm=80,
                    )  # fmt: skip
                if "in_wall_humidity" in self.kit and m == 0:
                    self.add(
                        code, "in_wall_humidity", float(inside[n, m]), "percent_rh", str(inside_ends[n, m]),
                        humid.code, height_mm=height, depth_mm=60,
                    )  # fmt: skip
            self._areas(wall, code)

    def _slip(self, value: float) -> float:
        if self.rng.random() < SLIPS:
            return round(value * (10 if self.rng.random() < 0.5 else 0.1), 2)
        return value

    def _degrees(self, value: float) -> tuple[float, str]:
        if self.house.american:
            return round(1.8 * value + 32), "degF"
        return round(value, 1), "degC"

    def _air(self, code: str, look: Look, humid: Meter) -> None:
        value, unit = self._degrees(look.air_t + self.rng.normal(0, 0.3))
        self.add(code, "air_temperature", value, unit, meter=humid.code)
        shown, end = humid.show(np.array(look.air_rh + humid.bias + self.rng.normal(0, humid.noise)))
        self.add(code, "air_humidity", float(shown), "percent_rh", str(end), humid.code)

    def _areas(self, wall: int, code: str) -> None:
        cells, k, rng = self.life.cells, self.k, self.rng
        if self.life.walls["covered"][k, wall]:
            size = self.plan.walls[wall].length * self.plan.walls[wall].height
            fallen = float(cells["gone"][k, wall].mean()) * size * rng.lognormal(0, 0.08)
            self._area(code, "spall_area", fallen)
            if "hollow_area" in self.kit and self.sounded:
                loose = (
                    float(cells["loose"][k, wall].sum()) / HEIGHTS * size * self.ear * rng.lognormal(0, 0.15)
                )
                limit = MISSED * rng.lognormal(0, 0.4)
                if loose >= limit:
                    self._area(code, "hollow_area", loose)
                else:
                    less = self.habit.says_less
                    self._area(code, "hollow_area", MISSED if less else 0.0, "<" if less else "")
            if "salt_area" in self.kit and rng.random() < 0.8:
                salty = np.clip((cells["salt_face"][k, wall] - 0.08) / 0.25, 0, 1).mean()
                self._area(code, "salt_area", float(salty) * size * rng.lognormal(0, 0.3))
        if "soft" in self.kit and cells["gone"][k, wall].max() > 0.08 and rng.random() < 0.5:
            where = int(np.argmax(cells["gone"][k, wall]))
            depth = max(0.0, float(cells["soft"][k, wall, where]) + 2 + rng.normal(0, 1.5))
            if self.house.american:
                self.add(code, "mortar_soft_depth", round(depth / 25.4, 2), "in")
            else:
                self.add(code, "mortar_soft_depth", round(depth), "mm")

    def _area(self, code: str, quantity: str, area: float, qualifier: str = "") -> None:
        if self.house.american:
            self.add(code, quantity, round(area * FEET, 1), "ft2", qualifier)
        else:
            self.add(code, quantity, round(area, 2), "m2", qualifier)
