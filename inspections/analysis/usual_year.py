"""A usual year, month by month, from readings at visits and from what was logged.

A month with ten days of values or more is their mean. The others follow an annual cosine, fitted by least
squares to all days: monthly means of indoor and soil climates are close to one (ISO 13788 itself takes the
ground's from one; from memory). Without values in each quarter of the year there is no usual year.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inspections.analysis.condensing import MONTH_DAYS
from inspections.analysis.records import YEAR, FloatArray

#: Fewest days with a value, of which some in each quarter; and days from which a month speaks for itself.
LEAST_DAYS, MONTH_OF_ITS_OWN = 6, 10
QUARTERS = ("winter", "spring", "summer", "autumn")
_MONTHS = 12
#: Days of the year at which each month is half over.
_MIDDLE = np.cumsum(MONTH_DAYS) - np.array(MONTH_DAYS) / 2


@dataclass(frozen=True, slots=True)
class UsualYear:
    """Means of the twelve months (12,), on how many days they rest, and the quarters that had none.

    ``months`` is None where a quarter, or enough days, are missing.
    """

    months: FloatArray | None
    days: int
    missing: tuple[str, ...]


def usual_year(time: FloatArray, value: FloatArray) -> UsualYear:
    """The usual year of values (n,) at times (n,), days since 1970-01-01; several on a day are averaged."""
    known = np.isfinite(value)
    days, which = np.unique(np.floor(time[known]), return_inverse=True)
    mean = np.bincount(which, value[known]) / np.maximum(np.bincount(which), 1) if len(days) else days
    month = _month_of(days)
    # December belongs to the winter that follows it.
    seen = set(((month + 1) % _MONTHS // 3).tolist())
    missing = tuple(name for number, name in enumerate(QUARTERS) if number not in seen)
    if missing or len(days) < LEAST_DAYS:
        return UsualYear(None, len(days), missing)
    angle = 2 * np.pi * days / YEAR
    design = np.column_stack([np.ones(len(days)), np.cos(angle), np.sin(angle)])
    found, *_ = np.linalg.lstsq(design, mean, rcond=None)
    at = 2 * np.pi * _MIDDLE / YEAR
    months = found[0] + found[1] * np.cos(at) + found[2] * np.sin(at)
    count = np.bincount(month, minlength=_MONTHS)
    own = np.bincount(month, mean, minlength=_MONTHS) / np.maximum(count, 1)
    return UsualYear(np.where(count >= MONTH_OF_ITS_OWN, own, months), len(days), ())


def _month_of(days: FloatArray) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """The month, 0 to 11, of days since 1970-01-01."""
    months = days.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)
    return np.asarray(months % _MONTHS)
