"""A physical simulator of basement walls: a water balance behind each coat, and the record it leaves.

:func:`simulate` makes a whole portfolio, its record book and its truth from one seed.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence

import numpy as np

from tests.simulation.book import Book, day_number

from .climate import STEP, draw_climate, draw_habits
from .kit import draw_kit
from .ledger import write_ledger
from .life import Life
from .meters import Reader
from .plan import Plan, draw_plan
from .rounds import draw_looks, observe
from .style import Style, draw_style
from .truth import classify, truth_rows

__all__ = ["Style", "draw_style", "live", "simulate"]

SECTIONS_A_HOUSE = 5


def simulate(
    seed: int,
    *,
    houses: int = 12,
    years: int = 12,
    sections: int = SECTIONS_A_HOUSE,
    style: Style | None = None,
    arrange: Callable[[Plan], None] | None = None,
    truth_days: Sequence[int] | None = None,
) -> Book:
    """The record book of one invented portfolio, with its truth once a year after the first few.

    ``arrange`` may change the plan before its first day: which walls there are, and what is put on them.
    ``truth_days`` asks for the truth on other days (days since 1970-01-01); the record is the same.
    """
    rng = np.random.default_rng(seed)
    style = draw_style(rng) if style is None else style
    start_day = day_number(dt.date(style.first_year, 1, 1))
    life = live(rng, style, houses=houses, sections=sections, years=years, arrange=arrange)
    book = Book()
    kits = [draw_kit(rng, style, life.plan, h, book) for h in range(houses)]
    looks = draw_looks(rng, style, life, start_day)
    time = start_day + STEP * np.arange(life.steps)
    Reader(rng, style, life, looks, observe(rng, style, life, looks, time), kits, book).read_all()
    write_ledger(rng, style, life, start_day, book)
    last = start_day + life.steps * STEP
    days = _asked(style, years) if truth_days is None else [d for d in truth_days if start_day <= d < last]
    book.truth = truth_rows(life.plan, life.history, classify(life.history), start_day, days)
    return book


def live(
    rng: np.random.Generator,
    style: Style,
    *,
    houses: int,
    sections: int,
    years: int,
    arrange: Callable[[Plan], None] | None = None,
) -> Life:
    """The hidden life of a portfolio, lived to its end."""
    start_day = day_number(dt.date(style.first_year, 1, 1))
    steps = int(years * 365.25 / STEP)
    plan = draw_plan(rng, style, houses, sections)
    if arrange is not None:
        arrange(plan)
    habits = draw_habits(rng, steps, houses, style.unheated_share)
    climate = draw_climate(rng, start_day + STEP * np.arange(steps), habits)
    house_of = np.array([section.house for section in plan.sections], dtype=np.intp)
    life = Life(rng, style, plan, climate.of(house_of), steps)
    life.run()
    return life


def _asked(style: Style, years: int) -> list[int]:
    """The dates of the truth, one a year."""
    first = min(style.first_asked, years - 1)
    dates = (
        dt.date(style.first_year + year, style.asked_month, style.asked_day) for year in range(first, years)
    )
    return [day_number(date) for date in dates]
