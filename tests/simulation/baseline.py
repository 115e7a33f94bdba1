"""What anybody would try first: one least-squares line through a section's face readings."""

from __future__ import annotations

import numpy as np
from scipy.stats import linregress

from inspections.analysis.records import Readings


def rising_face(readings: Readings) -> float:
    """How surely the face reading rises: 1 less the line's two-sided p-value, negative where it falls.

    The readings of the scale that was used last, each less the median of its height, are averaged by day; the
    line goes through the days. 0 where there are fewer than three days or nothing varies. A value above 0.95
    is a rise at p < 0.05.
    """
    face = readings.of("surface_moisture")
    if not len(face):
        return 0.0
    face = face.where(face.unit == face.unit[-1])
    heights, place = np.unique(face.height_mm, return_inverse=True)
    medians = np.array([np.median(face.value[place == i]) for i in range(len(heights))])
    days, day = np.unique(np.floor(face.time), return_inverse=True)
    mean = np.bincount(day, face.value - medians[place]) / np.bincount(day)
    if len(days) < 3 or np.ptp(mean) == 0:
        return 0.0
    line = linregress(days, mean)
    return float(np.sign(line.slope) * (1 - line.pvalue))
