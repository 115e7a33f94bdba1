"""What is so, at the end of a day: see the package's docstring for the definitions."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np

from inspections.analysis.records import YEAR, FloatArray
from tests.simulation.book import CLASSES, Row, day_number, iso_day
from tests.simulation.phenomenal.house import STEP, House
from tests.simulation.phenomenal.latent import Latent
from tests.simulation.phenomenal.regimes import History

#: Held wetness (0 to 1) from which a wall behind a dense coat counts as holding trapped water.
HELD_LIMIT = 0.55

#: Share fallen from which a coat holds nothing back.
GONE = 0.6

#: Leak wetness of the face from which it is water entry.
ENTRY_LIMIT = 0.25

#: Water above the wall's own level from which a falling level is drying out.
DRYING_LIMIT = 0.2

#: Days in the last year under the dew point that make condensation.
CONDENSATION_DAYS = 20.0

#: Share of the area that a spell of wear must have taken.
WEAR_LIMIT = 0.005

#: Years from the first visit to the first date of truth: less holds too little to judge by.
FIRST_TRUTH = 3.0


def class_path(house: House, history: History, latent: Latent) -> np.ndarray:
    """The index in ``CLASSES`` of the truth on every step of the grid, shape (n,)."""
    traps = np.array([*(coat.system.traps for coat in history.coats), False])[latent.coat_number]
    window = round(YEAR / STEP)
    wetted = np.convolve(latent.margin < 0, np.ones(window))[: len(house.grid)] * STEP
    filling = np.zeros(len(house.grid), dtype=bool)
    for spell in history.spells:
        if spell.regime == "trapped_water":
            filling |= (house.grid >= spell.start) & (house.grid < spell.end)
    excess = latent.drying + np.where(filling, 0, np.maximum(latent.held - latent.base, 0))
    conditions = {
        "trapped_water": traps & (latent.held >= HELD_LIMIT) & (latent.lost < GONE),
        "water_entry": latent.leak >= ENTRY_LIMIT,
        "drying_out": excess >= DRYING_LIMIT,
        "condensation": wetted >= CONDENSATION_DAYS,
        "surface_wear": latent.wearing >= WEAR_LIMIT,
    }
    return np.select(
        list(conditions.values()), [CLASSES.index(name) for name in conditions], CLASSES.index("stable")
    )


def truth_rows(
    house: House, section: str, history: History, latent: Latent, days: Sequence[int] | None = None
) -> list[Row]:
    """One row at each 31 October from three years after the first visit to the last visit's year.

    Where ``days`` are given, one on each of those from the first visit to the last instead.
    """
    classes = class_path(house, history, latent)
    changed = np.flatnonzero(np.diff(classes, prepend=-1))
    rows: list[Row] = []
    asked = as_of_days(house.visits)
    if days is not None:
        asked = [float(day) for day in days if house.visits[0] <= day <= house.visits[-1]]
    for day in asked:
        i = int(np.searchsorted(house.grid, day + 1)) - 1
        began = house.grid[changed[np.searchsorted(changed, i, side="right") - 1]]
        rows.append(
            {
                "building": house.code,
                "section": section,
                "date": iso_day(day),
                "truth": CLASSES[classes[i]],
                "lost_fraction": round(float(latent.lost[i]), 5),
                "hollow_fraction": round(float(latent.hollow[i]), 5),
                "store": round(float(latent.held[i]), 4),
                "onset": iso_day(began) if began > house.grid[0] else "",
            }
        )
    return rows


def as_of_days(visits: FloatArray) -> list[float]:
    """Days since 1970-01-01 of the dates of truth."""
    first, last = (
        dt.date.fromisoformat(iso_day(day)).year for day in (visits[0] + FIRST_TRUTH * YEAR, visits[-1])
    )
    days = [float(day_number(dt.date(year, 10, 31))) for year in range(first, last + 1)]
    return [day for day in days if visits[0] + FIRST_TRUTH * YEAR <= day]


def end_of_record(visits: FloatArray) -> float:
    """The end of the last day that anything is known or said of."""
    return float(max([np.floor(visits[-1]), *as_of_days(visits)])) + 1.0
