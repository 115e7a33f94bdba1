"""How damp a wall was before its coat was put on, beside the other walls of its house.

A meter's number on masonry tells nothing across meters, houses or days. What can be told is which of a
house's walls read wetter than its others on one day, with one meter, at one height: a rank. Ranks become
normal scores (Blom 1958, Statistical Estimates and Transformed Beta-Variables, ch. 6; from memory), which
any change of the meter's scale that keeps wetter above drier leaves as they are. A reading beyond the scale's
end ranks beyond it, and is set to no value.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from inspections.analysis.failures import Coats
from inspections.analysis.lifetimes import IntArray
from inspections.analysis.records import YEAR, FloatArray

#: Years before the coat of which readings count, and the fewest walls of a house that can be ranked. Ours.
BEFORE, LEAST_WALLS = 5.0, 3


@dataclass(frozen=True, slots=True)
class Damp:
    """Moisture readings (r,): the section's and house's number, the day, and what is comparable.

    ``place`` numbers meter, quantity and height together; ``beyond`` is 1 for a reading beyond the upper end
    of its scale, -1 beyond the lower, else 0.
    """

    section: IntArray
    house: IntArray
    day: FloatArray
    place: IntArray
    value: FloatArray
    beyond: FloatArray


def dampness_before(damp: Damp, coats: Coats) -> FloatArray:
    """Mean normal score of each coat's wall (n,) in the years before it was put on; NaN where not known.

    Nought is the middle of the house's walls, positive wetter. Of coats that were found nothing is known.
    """
    known = np.full(len(coats), np.nan)
    if not len(damp.value):
        return known
    section, day, score = _scores(damp)
    if not len(score):
        return known
    order = np.lexsort((day, section))
    section, day, score = section[order], day[order], score[order]
    origin = min(float(day.min()), float(coats.begun.min(initial=0.0))) - BEFORE * YEAR - 1
    span = max(float(day.max()), float(coats.begun.max(initial=0.0))) - origin + 1
    key = section * span + (day - origin)
    total = np.r_[0.0, np.cumsum(score)]
    until = np.searchsorted(key, coats.section * span + (coats.begun - origin), side="right")
    since = np.searchsorted(key, coats.section * span + (coats.begun - BEFORE * YEAR - origin), side="left")
    count = until - since
    told = (count > 0) & ~coats.found
    known[told] = (total[until] - total[since])[told] / count[told]
    return known


def _scores(damp: Damp) -> tuple[IntArray, FloatArray, FloatArray]:
    """Section, day and normal score of each wall on each day and place where enough walls were read."""
    # Several readings of a wall at one place on one day are one: their mean, beyond if the most are.
    keys = np.column_stack([damp.house, damp.day, damp.place, damp.section]).astype(np.int64)
    cells, cell = np.unique(keys, axis=0, return_inverse=True)
    cell = cell.reshape(-1)
    count = np.bincount(cell)
    value = np.bincount(cell, weights=damp.value) / count
    beyond = np.round(np.bincount(cell, weights=damp.beyond) / count)
    _, look = np.unique(cells[:, :3], axis=0, return_inverse=True)
    look = look.reshape(-1)
    # By look, then from dry to wet; equal readings, and all beyond one end, share a rank.
    held = np.where(beyond == 0, value, 0.0)
    order = np.lexsort((held, beyond, look))
    ranked = np.column_stack([look, beyond, held])[order]
    new = np.r_[True, (np.diff(ranked, axis=0) != 0).any(axis=1)]
    tie = np.cumsum(new) - 1
    place = np.arange(len(order))
    middle = np.bincount(tie, weights=place) / np.bincount(tie)
    starts = np.searchsorted(ranked[:, 0], np.arange(int(look.max()) + 1))
    walls = np.bincount(look)
    rank = np.empty(len(order))
    rank[order] = middle[tie] - starts[ranked[:, 0].astype(np.int64)] + 1
    score = ndtri((rank - 0.375) / (walls[look] + 0.25))
    enough = walls[look] >= LEAST_WALLS
    return cells[enough, 3], cells[enough, 1].astype(float), score[enough]
