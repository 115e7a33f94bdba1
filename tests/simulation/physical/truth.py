"""What is true of each section at each step: one of the six classes, from the hidden states alone."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from tests.simulation.book import CLASSES, Row, iso_day

from .climate import STEP, FloatArray
from .life import History
from .plan import Plan

IntArray = npt.NDArray[np.intp]

#: A wall holds water once it has been this full on average over two years, and is so still.
FULL, STILL_FULL = 0.5, 0.45
#: kg/m² a day that a coat lets through at most, over a year, if it is said to hold water back: 25 g;
#: and its face is no wetter than this, since what shows there is entry.
LITTLE, FACE_DRY = 0.025, 0.35
#: Entry: mean liquid to the face over half a year, kg/m² a day, and mean wetness of the face.
SEEPING, FACE_WET = 0.012, 0.15
#: Condensation: share of the year in which the face sweats.
SWEATING = 0.12
#: Drying out: share of the wall's capacity still to be given off.
TO_GIVE_OFF = 0.12
#: Wear: share of the coat worn or loosened without water in three years, and lost or hollow so far.
WORN, WORN_SO_FAR = 0.03, 0.04
#: A coat of which more has fallen holds nothing back.
GONE = 0.6

YEAR_STEPS, HALF_YEAR_STEPS = 122, 61


def trailing_mean(values: FloatArray, window: int) -> FloatArray:
    """Mean over the last ``window`` steps along axis 0, or as many as there are."""
    total = np.cumsum(values, axis=0)
    total[window:] -= total[:-window].copy()
    count = np.minimum(np.arange(1, len(values) + 1), window)
    return total / count[:, None]


def classify(history: History) -> IntArray:
    """Index into :data:`CLASSES` of each section at each step, shape (steps, sections)."""
    h = history
    covered = h.covered > 0
    passed, seeping = trailing_mean(h.out, YEAR_STEPS), trailing_mean(h.seep, HALF_YEAR_STEPS)
    full = (trailing_mean(h.fill, 2 * YEAR_STEPS) >= FULL) & (h.fill >= STILL_FULL)
    holds = covered & (h.drained == 0) & (h.lost < GONE) & (passed < LITTLE)
    face = trailing_mean(h.face, HALF_YEAR_STEPS)
    entry = (seeping >= SEEPING) & (face >= FACE_WET)
    sweats = trailing_mean(h.sweat, YEAR_STEPS) >= SWEATING
    drying = h.excess >= TO_GIVE_OFF
    worn = h.worn.copy()
    worn[3 * YEAR_STEPS :] -= h.worn[: -3 * YEAR_STEPS]
    wears = (worn >= WORN) & (h.lost + h.hollow >= WORN_SO_FAR)
    conditions = [full & holds & ((face < FACE_DRY) | (seeping < SEEPING)), drying, entry, sweats, wears]
    names = ["trapped_water", "drying_out", "water_entry", "condensation", "surface_wear"]
    return np.select(conditions, [CLASSES.index(name) for name in names], CLASSES.index("stable"))


def onsets(labels: IntArray) -> IntArray:
    """The step at which each label's unbroken run began; 0 where it has held from the first step."""
    steps = np.arange(len(labels))[:, None]
    changed = np.vstack([np.zeros((1, labels.shape[1]), dtype=bool), labels[1:] != labels[:-1]])
    return np.maximum.accumulate(np.where(changed, steps, 0), axis=0)


def truth_rows(plan: Plan, history: History, labels: IntArray, start_day: int, days: list[int]) -> list[Row]:
    """Rows of ``truth.csv`` at the end of each of ``days`` (days since 1970-01-01)."""
    began = onsets(labels)
    rows: list[Row] = []
    for day in days:
        step = min(int((day - start_day) // STEP), len(labels) - 1)
        for i, section in enumerate(plan.sections):
            first = int(began[step, i])
            rows.append(
                {
                    "building": plan.houses[section.house].code,
                    "section": section.code,
                    "date": iso_day(day),
                    "truth": CLASSES[labels[step, i]],
                    "lost_fraction": round(float(history.lost[step, i]), 5),
                    "hollow_fraction": round(float(history.hollow[step, i]), 5),
                    "store": round(float(history.fill[step, i]), 4),
                    "onset": iso_day(start_day + first * STEP) if first else "",
                }
            )
    return rows
