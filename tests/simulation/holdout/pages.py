"""What is written down: a book's facts, readings and truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.simulation.book import Book, Row, iso_day
from tests.simulation.holdout.places import YEAR, Array, Place, at, saturation, settle
from tests.simulation.holdout.visits import Round, plan_round
from tests.simulation.holdout.walls import Wall, build, months_of, onset, truths


def simulate(
    seed: int, *, houses: int = 10, years: int = 14, truth_days: Sequence[int] | None = None
) -> Book:
    """A book of ``houses`` houses (2 to 4 sections each on average) over ``years`` years, and its truth.

    ``truth_days`` asks for the truth on other days than its own (days since 1970-01-01).
    """
    rng = np.random.default_rng([seed, 0x407D])
    place = settle(rng, houses, years)
    wall = build(rng, place)
    names = truths(wall)
    book = Book()
    counter = 0
    for house in range(houses):
        visit = plan_round(rng, place, house)
        _write_house(rng, book, place, visit)
        for i in np.flatnonzero(place.of == house):
            counter += 1
            code = f"W{counter:02d}"
            _write_section(rng, book, wall, visit, int(i), code)
            _read(rng, book, wall, visit, int(i), code)
            _tell(rng, book, wall, names, visit, int(i), code, truth_days)
    return book


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
    face = _face(rng, wall, visit, i, month)
    deep = _deep(rng, wall, visit, i, month)
    store = at(wall.store[:, i], month)
    height_m2 = float(wall.length[i] * wall.height[i])
    whole = np.minimum(month.astype(np.int64), wall.place.months - 1)
    spall = _areas(rng, wall.fallen[whole, i] * height_m2, visit.spread)
    hollow = _areas(rng, wall.hollow[whole, i] * height_m2, visit.spread * 1.5)
    probe = 100 - 45 * np.exp(-store / 0.10) + rng.normal(0, 1.5, len(month)) + rng.normal(0, 1.0)
    salt = _areas(rng, np.clip(0.25 * (wall.salt[whole, i] - 0.1), 0, 0.8) * height_m2, 0.3)
    surface = at(wall.surface[:, i], month) + (visit.room - at(wall.place.room[:, visit.house], month)) * 0.7
    for v in come:
        sheet.turn(int(v))
        sheet.moisture("surface_moisture", face[v], 0)
        if "deep" in visit.kit and v >= visit.deep_from:
            sheet.moisture("deep_moisture", deep[v], 120)
        sheet.air(visit.room[v], visit.humidity[v])
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


def _face(rng: np.random.Generator, wall: Wall, visit: Round, i: int, month: Array) -> Array:
    """Face moisture by visit and height, as shown by the meter."""
    rise = np.exp(-np.array(visit.heights) / rng.uniform(900, 2600))
    rise /= rise.mean()
    spot = rng.uniform(0.3, 1.6, len(rise))
    season = _season(rng, wall, visit, i, month)
    store = at(wall.store[:, i], month)
    behind = rng.lognormal(0, 0.08) * (6 * store + 56 * np.maximum(store - 0.40, 0))
    liquid = 34 * (1 - np.exp(-at(wall.to_face[:, i], month) / 14))
    sweat = 28 * (1 - np.exp(-at(wall.film[:, i], month) / 150))
    mixing = 6.0 * at(wall.coat_water[:, i], month)
    common = rng.uniform(38, 46) + season + mixing + 0.6 * sweat
    foot = 1 + 0.6 * (np.array(visit.heights) < 500)
    truth = common[:, None] + behind[:, None] * rise + liquid[:, None] * spot + 0.4 * sweat[:, None] * foot
    truth = truth + rng.normal(0, 1.5, len(rise)) + rng.normal(0, 0.5, truth.shape)
    return _shown(rng, visit, np.clip(truth, 1, 150))


def _season(rng: np.random.Generator, wall: Wall, visit: Round, i: int, month: Array) -> Array:
    """What the room's humidity and the wall's warmth add to the face; both level off at the ends."""
    room = wall.place.room[:, visit.house]
    damp = at(100 * wall.place.vapour[:, visit.house] / saturation(room), month)
    thirst = rng.lognormal(np.log(0.80), 0.10) * (1 + 0.6 * at(wall.salt[:, i], month))
    humid = thirst * (0.8 * damp + 0.2 * visit.humidity - 60)
    warm = wall.surface[:, i]
    thermal = rng.lognormal(np.log(2.8), 0.10) * (at(warm, month) - warm.mean())
    usual = np.median(humid)
    return 0.5 * usual + 20 * np.tanh((humid + thermal - usual) / 20)


def _deep(rng: np.random.Generator, wall: Wall, visit: Round, i: int, month: Array) -> Array:
    rise = np.exp(-np.array(visit.heights) / rng.uniform(900, 2600))
    rise /= rise.mean()
    store = 0.85 * at(wall.store[:, i], month) + 0.15 * at(wall.outer[:, i], month)
    truth = rng.normal(18, 2.5) + 58 * rng.lognormal(0, 0.06) * store[:, None] * rise
    truth = truth + 6 * at(wall.salt[:, i], month)[:, None] + rng.normal(0, 1.6, truth.shape)
    return _shown(rng, visit, np.clip(truth, 1, 150))


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
            if self.rng.random() < 0.0004:
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
    asked: Sequence[int] | None,
) -> None:
    place = wall.place
    bought = wall.month_of(i)
    start, end = place.day(bought), place.day(place.months) - 1
    days = np.sort(rng.uniform(start + (end - start) / 3, end, int(rng.integers(3, 6))))
    if asked is not None:
        days = np.array([day for day in asked if start <= day <= end], dtype=float)
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
