"""A portfolio from its seed: the walls' course, the surveyors' rounds, the owner's ledger and the truth."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np

from inspections.analysis.records import YEAR
from tests.simulation.book import CLASSES, Book, day_number, iso_day
from tests.simulation.chance.course import Course, live
from tests.simulation.chance.ledger import write_coats, write_happenings, write_places
from tests.simulation.chance.places import House, Walls, draw_faults, draw_houses, draw_walls
from tests.simulation.chance.rounds import Scene, go_round
from tests.simulation.chance.truth import onsets, truths
from tests.simulation.chance.water import STEP, draw_floods, face_temperature, forces
from tests.simulation.chance.weather import draw_climate

#: The last day that a house may be under care, and years that the walls live before care begins.
END, BEFORE = day_number(dt.date(2025, 6, 30)), 5


def simulate(
    seed: int, houses: int = 12, *, years: int | None = None, truth_days: Sequence[int] | None = None
) -> Book:
    """An invented portfolio of ``houses`` houses, the same for a seed.

    ``years`` under care are 8 to 25, by house, unless given; ``truth_days`` (days since 1970-01-01) asks for
    the truth on other days than its own.
    """
    rng = np.random.default_rng([seed, 0xC7A2CE])
    plan = draw_houses(rng, houses, END, years)
    walls = draw_walls(rng, plan)
    first = min(house.begin for house in plan) - round(BEFORE * YEAR)
    days = END + STEP - first
    climate = draw_climate(rng, first, days, houses)
    faults = draw_faults(rng, walls, first, days)
    floods = draw_floods(rng, plan, walls, first, days)
    course = live(rng, plan, walls, forces(climate, walls, faults, first), floods, faults)
    book = Book()
    write_places(rng, book, plan, walls)
    write_coats(rng, book, plan, walls, course)
    write_happenings(rng, book, plan, walls, course, climate, floods)
    go_round(rng, book, plan, Scene(walls, course, climate, face_temperature(climate, walls), first))
    tell_truth(rng, book, plan, walls, course, truth_days)
    return book


def tell_truth(
    rng: np.random.Generator,
    book: Book,
    houses: list[House],
    walls: Walls,
    course: Course,
    asked: Sequence[int] | None,
) -> None:
    """Rows of truth on three to five days of each house in the later two thirds of its record."""
    truth = truths(course, walls.holds)
    for i, house in enumerate(houses):
        third = house.begin + (house.end - house.begin) // 3
        own = np.sort(rng.choice(np.arange(third, house.end), int(rng.integers(3, 6)), replace=False))
        days = own if asked is None else [day for day in asked if house.begin <= day <= house.end]
        first = int((house.begin - course.day[0]) // STEP)
        runs = onsets(truth[first:]) + first
        for s in np.flatnonzero(walls.house == i):
            for day in days:
                k = int((day - course.day[0]) // STEP)
                book.truth.append(
                    {
                        "building": house.code,
                        "section": str(walls.code[s]),
                        "date": iso_day(float(day)),
                        "truth": CLASSES[truth[k, s]],
                        "lost_fraction": round(min(1.0, course.fallen[k, s] + course.mended[k, s]), 4),
                        "hollow_fraction": round(float(course.hollow[k, s]), 4),
                        "store": round(float(course.behind[k, s]), 3),
                        "onset": iso_day(max(float(house.begin), course.day[runs[k - first, s]])),
                    }
                )
