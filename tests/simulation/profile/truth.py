"""The truth of every wall, fortnight by fortnight, from the state alone, by the rules of the package."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.ndimage import minimum_filter1d

from tests.simulation.book import CLASSES, iso_day
from tests.simulation.profile.climate import Climate
from tests.simulation.profile.life import EVERY, Life
from tests.simulation.profile.places import HEIGHTS, Plan

FloatArray = npt.NDArray[np.float64]

#: Kept states in a year, a quarter and three years.
YEAR, QUARTER, THREE_YEARS = 52 // EVERY, 13 // EVERY, 156 // EVERY

#: Fullness behind the coat, share of the offered water that passes, and share of the wall: trapped water.
FULL, PASSES, HELD = 0.5, 0.6, 0.25
#: Liquid at the face in kg/m² a day, and the share of the height that shows it: water entry.
SHOWS, SHOWN = 0.012, 0.2
#: Fresh water left in kg/m², and given off in a quarter: drying out.
FRESH, GIVEN = 1.0, 0.35
#: Condensate in kg/m² a day, weeks of a year with it, and share of the height: condensation.
DEW, DEW_WEEKS, DEWED = 0.03, 8, 0.25
#: Share of the coat that came loose from a dry wall in three years: surface wear.
WORN = 0.04

#: Interruptions of a truth up to this many kept states don't begin it anew.
GAP = 26 // EVERY


def _sum(values: FloatArray, length: int) -> FloatArray:
    """Sums over the last ``length`` kept states (fewer at the beginning)."""
    total = np.cumsum(values, axis=0, dtype=float)
    total[length:] -= total[:-length].copy()
    return total


def _least(values: FloatArray, length: int) -> FloatArray:
    """Smallest of the last ``length`` kept states."""
    return np.asarray(minimum_filter1d(values, length, axis=0, origin=(length - 1) // 2, mode="nearest"))


def _grown(values: FloatArray, number: FloatArray, length: int) -> FloatArray:
    """Growth over ``length`` kept states, from nought where the coat is younger."""
    before = np.zeros_like(values)
    before[length:] = np.where(number[length:] == number[:-length], values[:-length], 0)
    return np.asarray(values - before)


def signs(climate: Climate, life: Life) -> dict[str, FloatArray]:
    """The quantities that the rules look at, each (K, S)."""
    cells, walls = life.cells, life.walls
    held = (_least(cells["near"], YEAR) >= FULL) & (
        _sum(cells["passed"], YEAR) < PASSES * _sum(cells["offered"], YEAR)
    )
    hides = (1 - cells["gone"]) * ((walls["covered"] > 0) & (walls["drain"] == 0))[:, :, None]
    shows = _sum(cells["liquid"], QUARTER) / QUARTER >= SHOWS
    dewed = _sum(climate.dew[::EVERY][: len(life.week)] >= DEW, YEAR) * EVERY >= DEW_WEEKS
    fresh = walls["fresh"] + walls["coat_water"]
    given = np.zeros_like(fresh)
    given[QUARTER:] = fresh[:-QUARTER] - fresh[QUARTER:]
    return {
        "held": (held * hides).mean(axis=2),
        "shows": shows.mean(axis=2),
        "dewed": dewed.mean(axis=2),
        "fresh": fresh,
        "given": given,
        "worn": _grown(walls["dry_loss"], walls["number"], THREE_YEARS),
    }


def classify(sign: dict[str, FloatArray]) -> npt.NDArray[np.int64]:
    """Index into ``CLASSES`` by fortnight and wall, (K, S)."""
    rules = (
        ("water_entry", sign["shows"] >= SHOWN),
        ("trapped_water", sign["held"] >= HELD),
        ("drying_out", (sign["fresh"] >= FRESH) & (sign["given"] >= GIVEN)),
        ("condensation", sign["dewed"] >= DEWED),
        ("surface_wear", sign["worn"] >= WORN),
    )
    return np.select(
        [holds for _, holds in rules],
        [CLASSES.index(name) for name, _ in rules],
        CLASSES.index("stable"),
    )


def onset(course: npt.NDArray[np.int64], k: int, first: int) -> int:
    """Kept state at which the present truth began, not before ``first``; short interruptions don't count."""
    same = np.flatnonzero(course[first : k + 1] == course[k]) + first
    breaks = np.flatnonzero(np.diff(same) > GAP + 1)
    return int(same[breaks[-1] + 1] if len(breaks) else same[0])


def tell(
    rng: np.random.Generator, plan: Plan, climate: Climate, life: Life, days: list[int] | None = None
) -> list[dict[str, object]]:
    """Rows of truth: three to five dates of each house in the later two thirds, or the ``days`` asked for."""
    course = classify(signs(climate, life))
    rows: list[dict[str, object]] = []
    for h, house in enumerate(plan.houses):
        if days is None:
            count = int(rng.integers(3, 6))
            span = house.last - house.first
            cuts = house.first + span * (
                1 / 3 + 2 / 3 * (np.arange(count) + rng.uniform(0.2, 1, count)) / count
            )
            at = [plan.day(int(week)) for week in cuts]
        else:
            at = [float(day) for day in days if plan.day(house.first) < day <= plan.day(house.last)]
        for i, wall in enumerate(plan.walls):
            if wall.house != h:
                continue
            for day in at:
                k = min(life.at((day - plan.origin) / 7), len(life.week) - 1)
                gone = float(life.cells["gone"][k, i].mean()) * float(life.walls["covered"][k, i])
                start = onset(course[:, i], k, life.at(house.first))
                rows.append(
                    {
                        "building": house.code,
                        "section": wall.code,
                        "date": iso_day(day),
                        "truth": CLASSES[course[k, i]],
                        "lost_fraction": round(min(1.0, gone + float(life.walls["mended"][k, i])), 4),
                        "hollow_fraction": round(float(life.cells["loose"][k, i].sum()) / HEIGHTS, 4),
                        "store": round(float(life.cells["near"][k, i].mean()), 3),
                        "onset": iso_day(plan.day(life.week[start])),
                    }
                )
    return rows
