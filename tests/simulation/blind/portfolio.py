"""A seed becomes a book of records with the truth beside it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from tests.simulation.blind import bucket, rounds, truth
from tests.simulation.blind.plan import STEP_DAYS, House, Layer, Plan, Wall, draw_plan
from tests.simulation.book import CLASSES, Book, iso_day


def simulate(
    seed: int, *, houses: int = 12, years: int = 12, truth_days: Sequence[int] | None = None
) -> Book:
    """An invented portfolio of ``houses`` houses under care for ``years`` years, the same for a seed.

    ``truth_days`` asks for the truth on other days than its own (days since 1970-01-01).
    """
    rng = np.random.default_rng([seed, 0x57E7])
    plan = draw_plan(rng, houses, years)
    climate = bucket.weather(rng, plan)
    course = bucket.run(rng, plan, climate)
    book = Book()
    for house in plan.houses:
        _write_house(rng, plan, house, book)
    for wall in plan.walls:
        _write_wall(rng, plan, wall, book)
    rounds.write_rounds(rng, plan, climate, course, book)
    days = truth.as_of_days(rng, plan) if truth_days is None else truth_days
    _write_truth(days, plan, climate, course, book)
    return book


def _write_house(rng: np.random.Generator, plan: Plan, house: House, book: Book) -> None:
    number = int(house.code[1:])
    book.add(
        "buildings",
        code=house.code,
        name=f"House {number}",
        street=f"{number} Invented Row",
        locality="Sample Ferry",
        country="US",
        timezone="America/New_York",
        year_built=int(rng.integers(1850, 1925)),
    )
    if house.flood_on < plan.last:
        book.add("events", building=house.code, section="", happened_on=iso_day(house.flood_on), kind="flood")
    if house.dry_from < plan.last:
        day = iso_day(house.dry_from)
        book.add(
            "events", building=house.code, section="", happened_on=day, kind="other", note="dehumidifier"
        )


def _write_wall(rng: np.random.Generator, plan: Plan, wall: Wall, book: Book) -> None:
    house = plan.houses[wall.house]
    place = {"building": house.code, "section": wall.code}
    book.add(
        "sections",
        building=house.code,
        code=wall.code,
        wall=str(rng.choice(["N", "E", "S", "W"])),
        length_m=wall.length_m,
        height_m=wall.height_m,
        below_grade_m=wall.below_grade_m,
        substrate=wall.substrate,
        bedding_mortar=str(rng.choice(["lime", "natural_cement", "unknown"], p=[0.7, 0.15, 0.15])),
        adjoins=wall.adjoins,
    )
    for layer in wall.layers:
        if layer.applied <= plan.last:
            book.add("treatments", **place, **_layer(rng, house, wall, layer))
    if wall.leak_off < plan.last and rng.random() < 0.85:
        book.add("events", **place, happened_on=iso_day(wall.leak_off), kind="leak_mended")


def _layer(rng: np.random.Generator, house: House, wall: Wall, layer: Layer) -> dict[str, object]:
    known = rng.random() > 0.06
    row: dict[str, object] = {
        "layer": layer.layer,
        "kind": layer.kind,
        "binder": layer.binder if known else "unknown",
        "mix": "1:3" if layer.kind == "parge_coat" else "",
        "thickness_mm": layer.thickness_mm,
        "applied_on": iso_day(layer.applied),
        "found": "yes" if layer.found else "",
        "drains_to": layer.drains_to,
        "area_m2": round(wall.area_m2, 2),
    }
    if np.isfinite(layer.removed):
        row |= {"removed_on": iso_day(layer.removed), "removal_reason": layer.removal_reason}
    if house.writes_coats and known:
        row["sd_m"] = float(f"{layer.sd_m * np.exp(rng.normal(0, 0.15)):.2g}")
    return row


def _write_truth(
    days: Iterable[float], plan: Plan, climate: bucket.Climate, course: bucket.Course, book: Book
) -> None:
    true = truth.classes(plan, climate, course)
    hollow = course.hollow_water + course.hollow_wear
    for day in days:
        if not plan.first <= day <= plan.last:
            continue
        step = int((day - climate.day[0]) / STEP_DAYS)
        for i, wall in enumerate(plan.walls):
            book.truth.append(
                {
                    "building": plan.houses[wall.house].code,
                    "section": wall.code,
                    "date": iso_day(day),
                    "truth": CLASSES[true[i, step]],
                    "lost_fraction": round(float(course.fallen[i, step]), 5),
                    "hollow_fraction": round(float(hollow[i, step]), 5),
                    "store": round(float(course.store[i, step]), 4),
                    "onset": iso_day(truth.onset(climate.day, true[i], step)),
                }
            )
