"""The mould index of a section over the time that was logged: behind the coat, and on the face.

:mod:`mould` for three classes of materials beside each other, since what lies on a face (dust, paper, paint)
is seldom known: the line in the middle is of lime and cement.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from inspections.analysis.logs import HOURS_A_DAY, Log, usual_interval, value_at
from inspections.analysis.mould import MEDIUM_RESISTANT, RESISTANT, SENSITIVE, Sensitivity, mould_index
from inspections.analysis.psychrometrics import saturation_pressure
from inspections.analysis.records import FloatArray

#: Classes, the most resistant first; the middle one is of lime, cement and concrete.
CLASSES: dict[str, Sensitivity] = {
    "resistant": RESISTANT,
    "medium resistant": MEDIUM_RESISTANT,
    "sensitive": SENSITIVE,
}
#: Days that must have been logged, and the share of the hours between first and last that must be known.
LEAST_DAYS, LEAST_KNOWN = 30.0, 0.5
#: A logger that writes less often than this, hours, tells nothing of nights and days.
RAREST_HOURS = 12.0
#: Where an index is told, days apart.
EVERY_DAYS = 1.0


@dataclass(frozen=True, slots=True)
class MouldRisk:
    """The index by class at ``day`` (m,), local days since 1970-01-01.

    ``behind``: of the climate within the wall; else of the face. ``known``: share of the hours that were
    logged; in the others the index stands still. ``humid``: share of the known hours at 80 % or more.
    """

    behind: bool
    day: FloatArray
    index: Mapping[str, FloatArray]
    known: float
    humid: float


def mould_behind(temperature: Log, humidity: Log) -> MouldRisk | None:
    """From a logger's temperature (degC) and relative humidity (percent) in the wall; None: too short."""
    hours = _hours(temperature, humidity)
    if hours is None:
        return None
    return _risk(hours, value_at(temperature, hours), value_at(humidity, hours), temperature, behind=True)


def mould_on_face(face: Log, air_temperature: Log, air_humidity: Log) -> MouldRisk | None:
    """From the face's temperature and the room's air: the face sees the air's vapour at its own warmth."""
    hours = _hours(face, air_temperature, air_humidity)
    if hours is None:
        return None
    own, air = value_at(face, hours), value_at(air_temperature, hours)
    vapour = saturation_pressure(air) * value_at(air_humidity, hours) / 100
    humidity = np.minimum(100 * vapour / saturation_pressure(own), 100.0)
    return _risk(hours, own, humidity, face, behind=False)


def _hours(*logs: Log) -> FloatArray | None:
    """Whole hours that all of the logs span; None where that is too short."""
    if not all(len(log) and usual_interval(log) <= RAREST_HOURS for log in logs):
        return None
    first, last = max(float(log.hour[0]) for log in logs), min(float(log.hour[-1]) for log in logs)
    if last - first < LEAST_DAYS * HOURS_A_DAY:
        return None
    return np.arange(np.ceil(first), last)


def _risk(hours: FloatArray, t: FloatArray, rh: FloatArray, log: Log, *, behind: bool) -> MouldRisk | None:
    known = np.isfinite(t) & np.isfinite(rh)
    if known.mean() < LEAST_KNOWN or known.sum() < LEAST_DAYS * HOURS_A_DAY:
        return None
    told = np.arange(int(EVERY_DAYS * HOURS_A_DAY) - 1, len(hours), int(EVERY_DAYS * HOURS_A_DAY))
    # The local day of an hour is that of the value that held.
    day = log.day[np.maximum(np.searchsorted(log.hour, hours[told], side="right") - 1, 0)]
    return MouldRisk(
        behind=behind,
        day=np.asarray(day, dtype=float),
        index={name: mould_index(t, rh, one)[told] for name, one in CLASSES.items()},
        known=float(known.mean()),
        humid=float((rh[known] >= 80.0).mean()),
    )
