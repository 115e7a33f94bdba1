"""What a data logger's raw series says: daily and weekly values, dew-point margin, hours wet.

A logged value holds from its moment until the next one, but not over a gap: after one it holds for the
series' usual interval. Means are weighted by how long each value held, so that a logger whose interval was
changed is not counted twice where it wrote more often. What was not covered is said and never filled in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inspections.analysis import psychrometrics
from inspections.analysis.records import FloatArray

#: A step of more than this many usual intervals is a gap: half an interval is let pass as jitter. Air by a
#: wall is logged hourly, so that an hour is usual whatever the logger's interval. Both common practice.
LONGEST_STEP, LEAST_USUAL_HOURS = 1.5, 1.0
#: A day's or week's value stands for it where this share of it was covered. Directive 2008/50/EC, annex XI,
#: asks three quarters of the hours for a day's value of air quality (from memory); here, common practice.
LEAST_COVERAGE = 0.75
#: Dew-point margin at which a face begins to sweat, K: by definition of the dew point.
SWEATS_UNDER = 0.0

DAY, WEEK = 1, 7
HOURS_A_DAY = 24.0
#: 1970-01-01, day 0, was a Thursday: three days after the Monday that begins a week (ISO 8601).
_DAYS_AFTER_MONDAY = 3


@dataclass(frozen=True, slots=True)
class Log:
    """A logged series as arrays of length n, ascending in time.

    ``hour``: hours since 1970-01-01 UTC; ``day``: the number of the local day since 1970-01-01; ``value``: in
    the quantity's canonical unit.
    """

    hour: FloatArray
    day: FloatArray
    value: FloatArray

    def __len__(self) -> int:
        return len(self.hour)

    def where(self, mask: npt.NDArray[np.bool_]) -> Log:
        """The values that ``mask`` (bool, shape (n,)) keeps."""
        return Log(self.hour[mask], self.day[mask], self.value[mask])

    def within(self, low: float, high: float) -> Log:
        """The values from ``low`` to ``high``: a logger's mark for a failed sensor lies beyond its range."""
        return self.where((self.value >= low) & (self.value <= high))


@dataclass(frozen=True, slots=True)
class Periods:
    """A log day by day or week by week, as arrays of length m; only periods that hold a value.

    ``start``: number of the first local day (weeks begin on Monday); ``mean``: weighted by time; ``low`` and
    ``high``: least and greatest value; ``n``: values; ``hours``: covered by them; ``coverage``: those as a
    share of 24 a day, at most 1 (the day that summer time shortens reaches 23/24).
    """

    start: FloatArray
    mean: FloatArray
    low: FloatArray
    high: FloatArray
    n: npt.NDArray[np.int64]
    hours: FloatArray
    coverage: FloatArray

    def __len__(self) -> int:
        return len(self.start)


@dataclass(frozen=True, slots=True)
class WetHours:
    """Hours under a dew-point margin and hours covered, day by day or week by week; arrays of length m."""

    start: FloatArray
    wet: FloatArray
    covered: FloatArray


def usual_interval(log: Log) -> float:
    """Hours between values: the median step; 0 for fewer than two values."""
    return float(np.median(np.diff(log.hour))) if len(log) > 1 else 0.0


def held(log: Log) -> FloatArray:
    """How long each value held, hours, shape (n,)."""
    usual = usual_interval(log)
    step = np.append(np.diff(log.hour), usual)
    return np.where(step > _longest_step(log), usual, step)


def gaps(log: Log) -> int:
    """How many steps of the series are too long for a value to hold over."""
    return int(np.sum(np.diff(log.hour) > _longest_step(log)))


def _longest_step(log: Log) -> float:
    return LONGEST_STEP * max(usual_interval(log), LEAST_USUAL_HOURS)


def daily(log: Log) -> Periods:
    """Mean, range and coverage of each local day."""
    return _reduced(log, DAY)


def weekly(log: Log) -> Periods:
    """Mean, range and coverage of each week from Monday to Sunday (ISO 8601)."""
    return _reduced(log, WEEK)


def value_at(log: Log, hour: FloatArray) -> FloatArray:
    """The value that held at each of ``hour`` (m,); NaN in gaps and outside the series."""
    if not len(log):
        return np.full(len(hour), np.nan)
    before = np.searchsorted(log.hour, hour, side="right") - 1
    last = np.maximum(before, 0)
    # The end is computed from the next moment and may miss it by rounding.
    holds = (before >= 0) & ((hour < (log.hour + held(log))[last]) | (hour == log.hour[last]))
    return np.where(holds, log.value[last], np.nan)


def dew_point_margins(air_temperature: Log, air_humidity: Log, surface_temperature: Log) -> Log:
    """Surface temperature less the air's dew point, K, at each moment of the air's temperature.

    The others count as they held at that moment; moments at which one was not known are left out. Dew point:
    ASHRAE Handbook of Fundamentals (2017), ch. 1, eq. 5 and 6 (:func:`psychrometrics.dew_point`).
    """
    humidity = value_at(air_humidity, air_temperature.hour)
    surface = value_at(surface_temperature, air_temperature.hour)
    margin = psychrometrics.dew_point_margin(air_temperature.value, humidity, surface)
    found = Log(air_temperature.hour, air_temperature.day, margin)
    return found.where(~np.isnan(margin))


def wet_hours(margins: Log, limit: float = SWEATS_UNDER, period: int = DAY) -> WetHours:
    """Hours of each day (or week, ``period`` 7) during which the margin was under ``limit`` K.

    Beside them the hours that were covered: 0 of 3 hours is not a dry day.
    """
    start, which = _periods(margins, period)
    hours = held(margins)
    wet = np.where(margins.value < limit, hours, 0.0)
    return WetHours(start, _sum(which, wet, start), _sum(which, hours, start))


def _reduced(log: Log, period: int) -> Periods:
    start, which = _periods(log, period)
    hours = held(log)
    low, high = np.full(len(start), np.inf), np.full(len(start), -np.inf)
    np.minimum.at(low, which, log.value)
    np.maximum.at(high, which, log.value)
    covered = _sum(which, hours, start)
    # A series of one value has no interval: its value is the mean, its coverage 0.
    weight = np.where(covered[which] > 0, hours, 1.0)
    mean = _sum(which, weight * log.value, start) / _sum(which, weight, start)
    return Periods(
        start=start,
        mean=mean,
        low=low,
        high=high,
        n=np.bincount(which, minlength=len(start)),
        hours=covered,
        coverage=np.minimum(covered / (HOURS_A_DAY * period), 1.0),
    )


def _periods(log: Log, period: int) -> tuple[FloatArray, npt.NDArray[np.intp]]:
    """First day of each period (m,), and to which of them each value belongs (n,)."""
    day = log.day - (log.day + _DAYS_AFTER_MONDAY) % WEEK if period == WEEK else log.day
    start, which = np.unique(day, return_inverse=True)
    return start, which


def _sum(which: npt.NDArray[np.intp], amount: FloatArray, start: FloatArray) -> FloatArray:
    return np.bincount(which, weights=amount, minlength=len(start)).astype(float)
