"""A whole book: houses, walls, coats and events as their owners know them, the readings, and the truth."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tests.simulation.book import Book, iso_day
from tests.simulation.profile.climate import weather
from tests.simulation.profile.life import Life, Put, live
from tests.simulation.profile.places import Plan, draw_plan
from tests.simulation.profile.surveys import write_readings
from tests.simulation.profile.truth import tell


def simulate(seed: int, houses: int = 12, *, truth_days: Sequence[int] | None = None) -> Book:
    """An invented portfolio of ``houses`` houses with 8 to 25 years of records, the same for a seed.

    ``truth_days`` asks for the truth on other days than its own (days since 1970-01-01), of the houses whose
    records hold that day.
    """
    rng = np.random.default_rng([seed, 0xC01])
    plan = draw_plan(rng, houses)
    climate = weather(rng, plan)
    life = live(rng, plan, climate)
    book = Book()
    _write_places(rng, plan, book)
    known = _Knowledge(rng, plan)
    for put in life.puts:
        known.write(put, book)
    _write_outside(rng, plan, book)
    _write_events(rng, plan, life, climate.rain, book)
    write_readings(rng, plan, climate, life, book)
    book.truth = tell(rng, plan, climate, life, None if truth_days is None else list(truth_days))
    return book


def _write_places(rng: np.random.Generator, plan: Plan, book: Book) -> None:
    for house in plan.houses:
        book.add(
            "buildings",
            code=house.code,
            name=f"Invented house {house.code}",
            country="US" if house.american else "AT",
            timezone="Etc/GMT+5" if house.american else "Etc/GMT-1",
            year_built=house.built if rng.random() < 0.9 else "",
        )
    at = 0.0
    for wall in plan.walls:
        at = 0.0 if wall.code.endswith("A") else at + wall.length
        book.add(
            "sections",
            building=plan.houses[wall.house].code,
            code=wall.code,
            wall=wall.wall,
            start_m=round(at, 1),
            length_m=wall.length,
            height_m=wall.height,
            below_grade_m=wall.below if rng.random() < 0.9 else "",
            substrate=wall.substrate,
            bedding_mortar=wall.mortar,
            adjoins=wall.adjoins,
            beyond=wall.beyond,
        )


class _Knowledge:
    """What the book knows of a coat: much of a new one, little of one that was found."""

    def __init__(self, rng: np.random.Generator, plan: Plan) -> None:
        self.rng, self.plan = rng, plan
        self.thorough = rng.beta(2, 2, len(plan.houses))
        self.memory = rng.lognormal(0, 0.25, len(plan.walls))

    def write(self, put: Put, book: Book) -> None:
        """One row of the treatments, unless the coat was off before anybody kept a book."""
        plan, rng = self.plan, self.rng
        wall = plan.walls[put.wall]
        house = plan.houses[wall.house]
        if 0 <= put.removed <= house.first or put.week > house.last:
            return
        found, know = put.week <= house.first, float(self.thorough[wall.house])
        row: dict[str, object] = {
            "building": house.code,
            "section": wall.code,
            "layer": put.layer,
            "kind": put.what.kind,
            "binder": put.what.binder if rng.random() < (0.85 if found else 0.97) else "unknown",
            "purpose": put.coat.purpose,
            "drains_to": put.coat.drain,
        }
        first, day = plan.day(house.first), plan.day(put.week) + 1
        if found:
            age = first - day
            told = first - 30 - age * self.memory[put.wall]
            row["found"] = "yes"
            row["applied_on"] = iso_day(round(told))
            if rng.random() < 0.5:
                row["applied_earliest"] = iso_day(round(told - 0.5 * age - 100))
        else:
            row["applied_on"] = iso_day(day)
        if put.removed >= 0 and put.removed <= house.last:
            row["removed_on"] = iso_day(plan.day(put.removed))
            row["removal_reason"] = put.reason if rng.random() < 0.85 else "other"
        if put.what.mix and rng.random() < know:
            row["mix"] = put.what.mix
        if put.what.thickness and rng.random() < know * (0.6 if found else 1.0):
            row["thickness_mm"] = max(1, round(put.what.thickness * rng.lognormal(0, 0.12)))
        if np.isfinite(put.what.mu) and rng.random() < 0.3 * know:
            row["mu"] = round(put.what.mu * rng.lognormal(0, 0.15), 1)
        if np.isfinite(put.what.sd) and rng.random() < (0.15 if found else 0.35) * know:
            row["sd_m"] = round(put.what.sd * rng.lognormal(0, 0.15), 3)
        if rng.random() < 0.3:
            row["area_m2"] = round(wall.length * wall.height, 1)
        book.add("treatments", **row)


def _write_outside(rng: np.random.Generator, plan: Plan, book: Book) -> None:
    for wall in plan.walls:
        house = plan.houses[wall.house]
        if wall.outside_coat < 0 or rng.random() < 0.1:
            continue
        book.add(
            "treatments",
            building=house.code,
            section=wall.code,
            layer=1,
            kind="sealer",
            binder="bitumen",
            face="outside",
            applied_on=iso_day(plan.day(wall.outside_coat) + 3),
        )


def _write_events(rng: np.random.Generator, plan: Plan, life: Life, rain, book: Book) -> None:  # type: ignore[no-untyped-def]
    seen: set[tuple[object, ...]] = set()

    def write(house: int, wall: int, week: int, kind: str, area: float = np.nan, note: str = "") -> None:
        building = plan.houses[house]
        code = plan.walls[wall].code if wall >= 0 else ""
        key = (house, code, week, kind)
        if key in seen or not building.first <= week <= building.last:
            return
        seen.add(key)
        row: dict[str, object] = {
            "building": building.code,
            "section": code,
            "happened_on": iso_day(plan.day(week) + 2),
            "kind": kind,
            "note": note,
        }
        if np.isfinite(area):
            row["area_m2"] = round(area, 2)
        book.add("events", **row)

    for event in life.events:
        write(event.house, event.wall, event.week, event.kind, event.area, event.note)
    for h in range(len(plan.houses)):
        column = rain[:, next(i for i, wall in enumerate(plan.walls) if wall.house == h)]
        for week in np.flatnonzero(column > np.quantile(column, 0.997)):
            if rng.random() < 0.3:
                write(h, -1, int(week), "heavy_rain")
    for i, wall in enumerate(plan.walls):
        for week in np.flatnonzero(rng.random(plan.weeks) < 0.03 / 52):
            write(wall.house, i, int(week), "source_check")
