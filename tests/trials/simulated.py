"""Invented trials of which the truth is known: fair ones, a favoured arm, a single pair, and no difference.

A house has pairs of like walls. A wall has a dampness; its readings before follow it, with a season and
error, and so does what its coat loses, with the wall's own luck. Surveys see the loss with error. Nothing
here shares code with the analysis but the shape of its input.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inspections.analysis.records import (
    YEAR,
    BuildingRecord,
    Coat,
    Instrument,
    SectionRecord,
    readings_from_columns,
)
from inspections.analysis.trial_results import Question
from inspections.analysis.trial_walls import LOSS, Place

START = 16_000.0  # a day in 2013
BEFORE_YEARS, AFTER = 2.0, 7.9
VISITS_A_YEAR = 3
AREA = 6.0
#: Loss a year, as a share of the wall: of a wall of average dampness, by dampness, and a wall's own luck.
USUAL, BY_DAMPNESS, LUCK = 0.02, 0.006, 0.004
#: What the second coat loses more, where there is a real difference.
EFFECT = 0.012
#: Spread of dampness between houses and between the two walls of a pair.
OF_HOUSES, OF_WALLS = 1.0, 0.7
#: Error of a mason's eye for it.
OF_EYE = 0.3
METER = Instrument("M1", "moisture_meter", "relative", 0.0, 100.0, 1.0, 3.0)

Row = tuple[float, str, float, str, float, float]


@dataclass(frozen=True)
class Trial:
    """An invented trial, with the truth of it."""

    question: Question
    places: list[Place]
    houses: dict[str, BuildingRecord]
    effect: float
    favoured: str | None

    @property
    def last_day(self) -> float:
        """When the answer is asked for."""
        return START + 8 * YEAR


def simulate(
    seed: int,
    *,
    pairs: int = 8,
    effect: float = 0.0,
    favoured: bool = False,
    allocated_by: str = "random",
    outcome: str = LOSS,
) -> Trial:
    """One trial of ``pairs`` of walls, two pairs to a house; the arms are ``lime`` and ``tar``.

    ``favoured``: somebody gave tar the wall of each pair that looked drier to them.
    """
    rng = np.random.default_rng([seed, pairs])
    places: list[Place] = []
    sections: dict[str, list[SectionRecord]] = {}
    for number in range(pairs):
        house = f"H{number // 2 + 1}"
        if number % 2 == 0:
            before, after = (
                _days(rng, START - BEFORE_YEARS * YEAR, BEFORE_YEARS),
                _days(rng, START + 20, AFTER),
            )
        level = rng.normal(0, OF_HOUSES)
        damp = level + rng.normal(0, OF_WALLS, 2)
        rows = [[row for day in before for row in _readings(rng, day, one, 0.0)] for one in damp]
        looks = damp + rng.normal(0, OF_EYE, 2)
        tar = int(np.argmin(looks)) if favoured else int(rng.integers(2))
        for which in range(2):
            arm = "tar" if which == tar else "lime"
            code = f"S{2 * number + which + 1}"
            rate = USUAL + BY_DAMPNESS * damp[which] + LUCK * rng.normal() + effect * (arm == "tar")
            whole = rows[which] + _after(rng, after, max(rate, 0.0), damp[which], arm)
            sections.setdefault(house, []).append(_section(code, arm, whole))
            places.append(Place(house, code, arm, allocated_by, f"pair {number + 1}"))
    houses = {
        code: BuildingRecord(code, tuple(own), instruments={"M1": METER}) for code, own in sections.items()
    }
    end = START + 8 * YEAR
    return Trial(Question("T", outcome, START, end), places, houses, effect, "tar" if favoured else None)


def _days(rng: np.random.Generator, first: float, years: float) -> np.ndarray:
    """A house's visits: all its walls are read on one day."""
    count = int(years * VISITS_A_YEAR)
    return np.floor(first + (np.arange(count) + rng.uniform(0.2, 0.8, count)) * YEAR / VISITS_A_YEAR)


def _readings(rng: np.random.Generator, day: float, damp: float, dry: float) -> list[Row]:
    season = 5 * np.cos(2 * np.pi * day / YEAR)
    face = float(np.clip(round(35 + 6 * damp - dry + season + rng.normal(0, 3)), 0, 100))
    deep = float(np.clip(round(45 + 8 * damp + season / 2 + rng.normal(0, 3)), 0, 100))
    return [
        (day + 0.4, "surface_moisture", face, "relative", 500.0, 0.0),
        (day + 0.4, "deep_moisture", deep, "relative", 500.0, 60.0),
    ]


def _after(rng: np.random.Generator, days: np.ndarray, rate: float, damp: float, arm: str) -> list[Row]:
    rows = []
    for day in days:
        rows += _readings(rng, day, damp, 12.0 if arm == "tar" else 2.0)
        lost = rate * (day - START) / YEAR
        seen = max(lost * rng.normal(1, 0.08) + rng.normal(0, 0.003), 0.0) * AREA
        rows.append((day + 0.4, "hollow_area", round(0.7 * seen, 2), "m2", np.nan, np.nan))
        rows.append((day + 0.4, "spall_area", round(0.3 * seen, 2), "m2", np.nan, np.nan))
    return rows


def _section(code: str, arm: str, rows: list[Row]) -> SectionRecord:
    time, quantity, value, unit, height, depth = zip(*rows, strict=True)
    moist = ["M1" if name.endswith("moisture") else "" for name in quantity]
    columns = {
        "time": time,
        "quantity": quantity,
        "value": value,
        "low": value,
        "high": value,
        "unit": unit,
        "height_mm": height,
        "depth_mm": depth,
        "instrument": moist,
        "point": [""] * len(rows),
        "inspector": ["AB"] * len(rows),
    }
    coat = Coat(1, "parge_coat", START, binder="bitumen" if arm == "tar" else "lime_putty", thickness_mm=20)
    return SectionRecord(
        code,
        length_m=3.0,
        height_m=2.0,
        below_grade_m=1.2,
        coats=(coat,),
        readings=readings_from_columns(columns),  # type: ignore[arg-type]
    )
