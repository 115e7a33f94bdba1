"""What is written down of houses, walls, coats and happenings; not all of it is."""

from __future__ import annotations

import numpy as np

from inspections.analysis.records import YEAR
from tests.simulation.book import Book, Row, iso_day
from tests.simulation.chance.course import Course
from tests.simulation.chance.places import House, Walls
from tests.simulation.chance.water import Flood
from tests.simulation.chance.weather import Climate, Rng
from tests.simulation.chance.works import Placed

#: Chances that a happening is written down where its house writes much down.
TOLD = {"flood": 0.95, "sump_failure": 0.9, "repair": 0.9, "leak_mended": 1.0}
#: Rain in mm of one day that may be written down as heavy.
HEAVY = 45.0


def write_places(rng: Rng, book: Book, houses: list[House], walls: Walls) -> None:
    """Houses and sections."""
    country, zone = [("US", "America/New_York"), ("DE", "Europe/Berlin")][rng.integers(2)]
    for house in houses:
        built = house.built if rng.random() < 0.8 else ""
        book.add("buildings", code=house.code, name=f"Invented house {house.code}", country=country)
        book.tables["buildings"][-1] |= {"timezone": zone, "year_built": built}
    for s in range(len(walls)):
        house = houses[walls.house[s]]
        known = rng.random() < 0.9
        book.add(
            "sections",
            building=house.code,
            code=str(walls.code[s]),
            wall=str(walls.wall[s]),
            start_m=float(walls.start[s]),
            length_m=float(walls.length[s]),
            height_m=float(walls.height[s]),
            below_grade_m=float(walls.below[s]) if known else "",
            substrate=str(walls.substrate[s]),
            bedding_mortar=str(walls.mortar[s]),
            adjoins=str(walls.adjoins[s]),
            beyond=str(walls.beyond[s]),
        )


def write_coats(rng: Rng, book: Book, houses: list[House], walls: Walls, course: Course) -> None:
    """Every layer that hung while its house was under care."""
    for placed in course.ledger.placed:
        house = houses[walls.house[placed.section]]
        if placed.applied <= house.end and placed.removed >= house.begin:
            row = {"building": house.code, "section": str(walls.code[placed.section])}
            book.tables["treatments"].append(row | _coat(rng, placed, house))


def _coat(rng: Rng, placed: Placed, house: House) -> Row:
    layer, make = placed.layer, placed.layer.make
    clear = house.wordy * (0.45 if placed.found else 1.0)
    row: Row = {"layer": placed.number, "kind": make.kind, "applied_on": iso_day(placed.applied)}
    row["binder"] = make.binder if rng.random() < 0.55 + 0.45 * clear else "unknown"
    if placed.found:
        row["found"] = "yes"
        if rng.random() < 0.6:
            late = placed.applied + rng.uniform(0, 1) * (house.begin - placed.applied)
            early = placed.applied - rng.uniform(0, 6) * YEAR
            row |= {"applied_on": iso_day(late), "applied_earliest": iso_day(early)}
    if rng.random() < clear:
        row["mix"] = layer.mix
    if rng.random() < clear:
        row["thickness_mm"] = round(layer.thick * float(rng.lognormal(0, 0.1)), 2)
    if rng.random() < 0.35 * clear:
        row["mu"] = float(f"{layer.sd / layer.thick * 1000 * rng.lognormal(0, 0.25):.2g}")
    if rng.random() < 0.15 * clear:
        row["sd_m"] = float(f"{layer.sd * rng.lognormal(0, 0.2):.2g}")
    if make.strength and rng.random() < 0.3 * clear:
        row["strength_mpa"] = make.strength
    if make.drains:
        row["drains_to"] = str(rng.choice(("drain", "sump", "unknown"), p=(0.55, 0.37, 0.08)))
    elif make.kind == "lining":
        row["drains_to"] = str(rng.choice(("none", "unknown")))
    if placed.removed <= house.end:
        row |= {"removed_on": iso_day(placed.removed), "removal_reason": placed.reason}
    return row


def write_happenings(
    rng: Rng,
    book: Book,
    houses: list[House],
    walls: Walls,
    course: Course,
    climate: Climate,
    floods: list[Flood],
) -> None:
    """Repairs, leaks mended, floods, heavy rain, checks of the sources, walls opened to look."""
    found: list[tuple[int, int, float, str, float]] = [
        (item.house, item.section, item.day, item.kind, item.area) for item in course.ledger.happened
    ]
    found += [(flood.house, -1, flood.day, flood.kind, np.nan) for flood in floods]
    seen = set()
    for number, section, day, kind, area in found:
        house = houses[number]
        if not house.begin <= day <= house.end or rng.random() > TOLD[kind] * (0.5 + 0.5 * house.wordy):
            continue
        code = "" if section < 0 else str(walls.code[section])
        row: Row = {"building": house.code, "section": code, "happened_on": iso_day(day), "kind": kind}
        key = tuple(row.values())
        if key not in seen:
            seen.add(key)
            row |= {"area_m2": round(area, 2)} if area > 0 else {}
            book.tables["events"].append(row)
    first = int(course.day[0])
    for i, house in enumerate(houses):
        heavy = first + np.flatnonzero(climate.rain[:, i] > HEAVY)
        own = [
            int(day) for day in heavy if house.begin <= day <= house.end and rng.random() < 0.3 * house.wordy
        ]
        for day in own:
            book.add("events", building=house.code, section="", happened_on=iso_day(day), kind="heavy_rain")
        for kind, rate in (("source_check", 0.05), ("opening", 0.01), ("other", 0.05)):
            count = rng.poisson(rate * (house.end - house.begin) / YEAR)
            days = rng.choice(np.arange(house.begin, house.end), count, replace=False)
            for day in days:
                section = "" if kind == "other" else str(rng.choice(walls.code[walls.house == i]))
                row = {"building": house.code, "section": section, "happened_on": iso_day(day), "kind": kind}
                book.tables["events"].append(row)
