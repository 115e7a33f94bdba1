"""The rounds: who comes when, with which instruments, and what is written down."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.simulation.book import Book, Row, iso_day
from tests.simulation.holdout.places import MONTH, Array, Place, saturation, settle
from tests.simulation.holdout.walls import Wall, build, months_of, onset, truths

YEAR = 365.2425
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
HABITS: dict[int, float] = {2: 0.84, 1: 0.02, 4: 0.11, 3: 0.03}


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
    tongue: float  # repeatability factor of taps and tape


def simulate(seed: int, *, houses: int = 10, years: int = 14) -> Book:
    """A book of ``houses`` houses (2 to 4 sections each on average) over ``years`` years, and its truth."""
    rng = np.random.default_rng([seed, 0x407D])
    place = settle(rng, houses, years)
    wall = build(rng, place)
    names = truths(wall)
    book = Book()
    counter = 0
    for house in range(houses):
        visit = _plan(rng, place, house)
        _write_house(rng, book, place, visit)
        for i in np.flatnonzero(place.of == house):
            counter += 1
            code = f"W{counter:02d}"
            _write_section(rng, book, wall, visit, int(i), code)
            _read(rng, book, wall, visit, int(i), code)
            _tell(rng, book, wall, names, visit, int(i), code)
    return book


# Who comes when ------------------------


def _plan(rng: np.random.Generator, place: Place, house: int) -> Round:
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
    return Round(
        house=house,
        code=code,
        kit=KITS[kit][1],
        days=days,
        month=(days - place.first_day) / MONTH,
        stamps=stamps,
        who=crew[person],
        bias=leaning[person],
        meters=meters,
        meter=meter,
        heights=HEIGHTS[int(rng.choice(len(HEIGHTS), p=[0.5, 0.25, 0.15, 0.1]))],
        imperial=bool(place.imperial[house]),
        ceiling=float(rng.choice([95.0, 97.0, 100.0])),
        deep_from=int(rng.integers(1, len(days) // 2 + 1)) if rng.random() < 0.15 else 0,
        tongue=float(rng.uniform(0.08, 0.22)),
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
        code, scale, top, rng.uniform(0.0, 0.35), rng.normal(1.0, 0.03), resolution, rng.uniform(0.3, 0.6)
    )


# Facts ------------------------


def _write_house(rng: np.random.Generator, book: Book, place: Place, visit: Round) -> None:
    zone, country = ("America/New_York", "US") if visit.imperial else ("Europe/Vienna", "AT")
    book.add(
        "buildings",
        code=visit.code,
        name=f"Invented house {visit.house + 1}",
        street=f"{int(rng.integers(1, 90))} Made-up Lane",
        locality="Nowhere-on-Paper",
        country=country,
        timezone=zone,
        year_built=int(rng.integers(1860, 1931)) if rng.random() < 0.85 else "",
    )
    for meter in visit.meters:
        book.add(
            "instruments",
            code=meter.code,
            kind="moisture_meter",
            scale=meter.scale,
            minimum=0,
            maximum=meter.top,
            resolution=meter.resolution,
            repeatability=round(meter.noise * meter.top / 100, 2),
        )
    hygro, thermo = _air_codes(visit)
    book.add("instruments", code=hygro, kind="hygrometer", scale="percent_rh", minimum=0, maximum=100,
             resolution=1, repeatability=2)  # fmt: skip
    scale = "degF" if visit.imperial else "degC"
    book.add("instruments", code=thermo, kind="thermometer", scale=scale, minimum=-20, maximum=140,
             resolution=0.1, repeatability=0.3)  # fmt: skip
    if "wall_air" in visit.kit:
        book.add("instruments", code=f"{visit.code}-P", kind="hygrometer", scale="percent_rh", minimum=5,
                 maximum=visit.ceiling, resolution=0.1, repeatability=1.5)  # fmt: skip
    for house, month in place.flood:
        if house == visit.house and month >= place.bought[house]:
            day = iso_day(place.day(month + 0.3))
            book.add(
                "events",
                building=visit.code,
                section="",
                happened_on=day,
                kind="flood",
                note="cellar under water",
            )


def _air_codes(visit: Round) -> tuple[str, str]:
    return f"{visit.code}-H", f"{visit.code}-T"


def _write_section(rng: np.random.Generator, book: Book, wall: Wall, visit: Round, i: int, code: str) -> None:
    substrate = str(
        rng.choice(
            ["rubble_stone", "coursed_stone", "brick", "mixed", "unknown"], p=[0.4, 0.15, 0.3, 0.08, 0.07]
        )
    )
    mortar = str(
        rng.choice(
            ["lime", "clay", "natural_cement", "cement_lime", "unknown"], p=[0.6, 0.1, 0.08, 0.1, 0.12]
        )
    )
    adjoins = str(wall.adjoins[i])
    row: Row = {
        "building": visit.code,
        "code": code,
        "wall": str(rng.choice(["north", "east", "south", "west"])),
        "start_m": 0,
        "length_m": wall.length[i],
        "height_m": wall.height[i],
        "below_grade_m": wall.below[i] if rng.random() < 0.9 else "",
        "substrate": substrate,
        "bedding_mortar": mortar,
        "adjoins": adjoins,
        "beyond": str(rng.choice(["heated", "unheated", "vacant", "unknown"]))
        if adjoins == "party_wall"
        else "",
    }
    book.add("sections", **row)
    place = visit.code, code
    for layer in wall.layers[i]:
        _write_layer(rng, book, wall.place, place, layer.begun, layer.ended, layer.row)
    for event in wall.events[i]:
        event = dict(event)
        day = iso_day(wall.place.day(event.pop("month") + rng.uniform(0, 0.9)))  # type: ignore[operator]
        book.add("events", building=place[0], section=place[1], happened_on=day, **event)


def _write_layer(
    rng: np.random.Generator,
    book: Book,
    place: Place,
    where: tuple[str, str],
    begun: int,
    ended: float,
    row: Row,
) -> None:
    day = place.day(begun + 0.02)
    told = dict(row, building=where[0], section=where[1], applied_on=iso_day(day), face="room")
    if "found" in row and rng.random() < 0.6:
        told["applied_on"] = iso_day(day + rng.uniform(0, 0.3) * (place.day(begun + 1) - day))
        told["applied_earliest"] = iso_day(day - rng.uniform(1, 8) * YEAR)
    if np.isfinite(ended):
        told["removed_on"] = iso_day(place.day(ended))
        told["removal_reason"] = row["removal_reason"]
    else:
        told.pop("removal_reason", None)
    book.add("treatments", **told)


# Readings ------------------------


def _read(rng: np.random.Generator, book: Book, wall: Wall, visit: Round, i: int, code: str) -> None:
    month = np.clip(visit.month, 0, wall.place.months - 1)
    come = np.flatnonzero(rng.random(len(month)) > 0.03)
    sheet = _Sheet(rng, book, visit, code)
    air = _air(rng, wall, visit, month)
    face = _face(rng, wall, visit, i, month, air)
    deep = _deep(rng, wall, visit, i, month)
    store = _at(wall.store[:, i], month)
    height_m2 = float(wall.length[i] * wall.height[i])
    whole = np.minimum(month.astype(np.int64), wall.place.months - 1)
    spall = _areas(rng, wall.fallen[whole, i] * height_m2, visit.tongue)
    hollow = _areas(rng, wall.hollow[whole, i] * height_m2, visit.tongue * 1.5)
    probe = 100 - 45 * np.exp(-store / 0.10) + rng.normal(0, 1.5, len(month)) + rng.normal(0, 1.0)
    salt = _areas(rng, np.clip(0.25 * (wall.salt[whole, i] - 0.1), 0, 0.8) * height_m2, 0.3)
    surface = _at(wall.surface[:, i], month) + (air[0] - _at(wall.place.room[:, visit.house], month)) * 0.7
    for v in come:
        sheet.turn(int(v))
        sheet.moisture("surface_moisture", face[v], 0)
        if "deep" in visit.kit and v >= visit.deep_from:
            sheet.moisture("deep_moisture", deep[v], 120)
        sheet.air(air[0][v], air[1][v])
        sheet.area("spall_area", spall[v])
        if "sounding" in visit.kit and rng.random() < 0.93:
            sheet.area("hollow_area", hollow[v])
        if "wall_air" in visit.kit:
            sheet.probe(probe[v])
        if "surface" in visit.kit:
            sheet.warmth("surface_temperature", surface[v] + rng.normal(0, 0.4))
        if "salts" in visit.kit and rng.random() < 0.6:
            sheet.area("salt_area", salt[v])
    _drilled(rng, sheet, wall, i, whole, come)


def _drilled(
    rng: np.random.Generator,
    sheet: _Sheet,
    wall: Wall,
    i: int,
    whole: npt.NDArray[np.int64],
    come: npt.NDArray[np.int64],
) -> None:
    """Now and then dust is drilled, and mortar probed where the coat is off."""
    if "salts" not in sheet.visit.kit:
        return
    for v in come[rng.random(len(come)) < 0.08]:
        sheet.turn(int(v))
        sheet.put(
            "hygroscopic_moisture",
            round(float(0.6 + 2.2 * wall.salt[whole[v], i] + rng.normal(0, 0.2)), 1),
            "percent_mass",
            600,
            20,
        )
    soft = 30 * np.cumsum(np.clip(wall.store[:, i] - 0.45, 0, 1)) / 120
    for v in come[(wall.fallen[whole[come], i] > 0.02) & (rng.random(len(come)) < 0.5)]:
        sheet.turn(int(v))
        depth = max(0.0, soft[whole[v]] * rng.lognormal(0, 0.25) + rng.normal(2, 1))
        unit, value = ("in", round(depth / 25.4, 1)) if sheet.visit.imperial else ("mm", round(depth))
        sheet.put("mortar_soft_depth", value, unit, 600, "")


def _at(series: Array, month: Array) -> Array:
    return np.interp(month, np.arange(len(series)) + 0.5, series)


def _air(rng: np.random.Generator, wall: Wall, visit: Round, month: Array) -> tuple[Array, Array]:
    """Room temperature and humidity as the hygrometer shows them, the same for all sections of a visit."""
    day = np.random.default_rng([visit.house, int(visit.days[0]), len(month)])
    room = _at(wall.place.room[:, visit.house], month) + day.normal(0, 0.5, len(month))
    vapour = _at(wall.place.vapour[:, visit.house], month) * day.lognormal(0, 0.03, len(month))
    humidity = np.clip(100 * vapour / saturation(room) + day.normal(0, 1.2, len(month)), 15, 100)
    return room, humidity


def _face(
    rng: np.random.Generator, wall: Wall, visit: Round, i: int, month: Array, air: tuple[Array, Array]
) -> Array:
    """Face moisture by visit and height, as shown by the meter."""
    rise = np.exp(-np.array(visit.heights) / rng.uniform(900, 2600))
    rise /= rise.mean()
    spot = rng.uniform(0.3, 1.6, len(rise))
    swing = rng.lognormal(np.log(0.80), 0.10)
    humid = (
        swing
        * (1 + 0.6 * _at(wall.salt[:, i], month))
        * (0.8 * _damp(wall, visit, month) + 0.2 * air[1] - 60)
    )
    store = _at(wall.store[:, i], month)
    behind = rng.lognormal(0, 0.08) * (6 * store + 75 * np.maximum(store - 0.40, 0))
    liquid = 34 * (1 - np.exp(-_at(wall.to_face[:, i], month) / 14))
    sweat = 22 * (1 - np.exp(-_at(wall.dew[:, i], month) / 140))
    mixing = 5.0 * _at(wall.coat_water[:, i], month)
    warm = wall.surface[:, i]
    thermal = rng.lognormal(np.log(2.8), 0.10) * (
        _at(warm, month) - warm.mean()
    )  # a warmer wall conducts better
    base = rng.uniform(30, 38)
    common = base + thermal + humid + mixing + 0.6 * sweat
    foot = 1 + 0.6 * (np.array(visit.heights) < 500)
    truth = common[:, None] + behind[:, None] * rise + liquid[:, None] * spot + 0.4 * sweat[:, None] * foot
    truth = truth + rng.normal(0, 1.5, len(rise)) + rng.normal(0, 0.5, truth.shape)
    return _shown(rng, visit, np.clip(truth, 1, 130))


def _damp(wall: Wall, visit: Round, month: Array) -> Array:
    room = wall.place.room[:, visit.house]
    return _at(100 * wall.place.vapour[:, visit.house] / saturation(room), month)


def _deep(rng: np.random.Generator, wall: Wall, visit: Round, i: int, month: Array) -> Array:
    rise = np.exp(-np.array(visit.heights) / rng.uniform(900, 2600))
    rise /= rise.mean()
    store = 0.85 * _at(wall.store[:, i], month) + 0.15 * _at(wall.outer[:, i], month)
    truth = rng.normal(18, 4) + 58 * rng.lognormal(0, 0.1) * store[:, None] * rise
    truth = truth + 6 * _at(wall.salt[:, i], month)[:, None] + rng.normal(0, 1.6, truth.shape)
    return _shown(rng, visit, np.clip(truth, 1, 130))


def _shown(rng: np.random.Generator, visit: Round, truth: Array) -> Array:
    out = np.empty_like(truth)
    for k, meter in enumerate(visit.meters):
        mine = visit.meter == k
        out[mine] = meter.read(truth[mine], visit.bias[mine, None], rng)
    return out


def _areas(rng: np.random.Generator, area: Array, spread: float) -> Array:
    return np.maximum(area * rng.lognormal(0, spread, area.shape), 0)


@dataclass(slots=True)
class _Sheet:
    """One section's pages: turns to a visit and writes rows of it."""

    rng: np.random.Generator
    book: Book
    visit: Round
    code: str
    v: int = 0

    def turn(self, visit: int) -> None:
        self.v = visit

    def put(
        self,
        quantity: str,
        value: float,
        unit: str,
        height: object = "",
        depth: object = "",
        instrument: str = "",
        qualifier: str = "",
    ) -> None:
        self.book.tables["readings"].append(
            {
                "building": self.visit.code,
                "section": self.code,
                "taken_at": self.visit.stamps[self.v],
                "quantity": quantity,
                "value": value,
                "unit": unit,
                "qualifier": qualifier,
                "height_mm": height,
                "depth_mm": depth,
                "instrument": instrument,
                "inspector": str(self.visit.who[self.v]),
                "replicate": 1,
            }
        )

    def moisture(self, quantity: str, values: Array, depth: int) -> None:
        meter = self.visit.meters[self.visit.meter[self.v]]
        for height, value in zip(self.visit.heights, values.tolist(), strict=True):
            if self.rng.random() < 0.04:
                continue
            if self.rng.random() < 0.001:
                value *= float(self.rng.choice([0.1, 10.0]))
            qualifier = ">" if value == meter.top else ""
            self.put(quantity, round(value, 1), meter.scale, height, depth, meter.code, qualifier)

    def air(self, celsius: float, humidity: float) -> None:
        hygro, _ = _air_codes(self.visit)
        self.put("air_humidity", round(float(humidity)), "percent_rh", 1200, "", hygro)
        self.warmth("air_temperature", celsius)

    def warmth(self, quantity: str, celsius: float) -> None:
        _, thermo = _air_codes(self.visit)
        if self.visit.imperial:
            self.put(quantity, round(float(celsius) * 1.8 + 32, 1), "degF", 1200, "", thermo)
        else:
            self.put(quantity, round(float(celsius), 1), "degC", 1200, "", thermo)

    def area(self, quantity: str, square_metres: float) -> None:
        if self.visit.imperial:
            self.put(quantity, round(float(square_metres) / 0.3048**2, 1), "ft2")
        else:
            self.put(quantity, round(float(square_metres), 2 if square_metres < 0.1 else 1), "m2")

    def probe(self, humidity: float) -> None:
        top = self.visit.ceiling
        over = humidity >= top
        value = top if over else round(float(np.clip(humidity, 5, 100)), 1)
        self.put(
            "in_wall_humidity",
            value,
            "percent_rh",
            self.visit.heights[0],
            100,
            f"{self.visit.code}-P",
            ">" if over else "",
        )


# The truth ------------------------


def _tell(
    rng: np.random.Generator,
    book: Book,
    wall: Wall,
    names: npt.NDArray[np.str_],
    visit: Round,
    i: int,
    code: str,
) -> None:
    place = wall.place
    bought = wall.month_of(i)
    start, end = place.day(bought), place.day(place.months) - 1
    days = np.sort(rng.uniform(start + (end - start) / 3, end, int(rng.integers(3, 6))))
    for day, m in zip(days, months_of(days, place), strict=True):
        book.truth.append(
            {
                "building": visit.code,
                "section": code,
                "date": iso_day(day),
                "truth": str(names[m, i]),
                "lost_fraction": round(float(wall.fallen[m, i] + wall.patched[m, i]), 4),
                "hollow_fraction": round(float(wall.hollow[m, i]), 4),
                "store": round(float(wall.store[m, i]), 3),
                "onset": iso_day(place.day(onset(names[:, i], int(m), bought))),
            }
        )
