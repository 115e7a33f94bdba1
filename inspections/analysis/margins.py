"""How near a section's face came to sweating, visit by visit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inspections.analysis.psychrometrics import dew_point_margin
from inspections.analysis.records import YEAR, FloatArray, Readings, TextArray

#: Share of the step from outside to room air that an inside face keeps (ISO 13788: f_Rsi = 1 - U R_si): solid
#: masonry of half a metre, U near 1.5 W/(m2 K), with R_si 0.13 m2 K/W. Common practice.
FACE_TEMPERATURE_FACTOR = 0.8
#: Temperature beyond the wall where nothing was read, degC: mean of the year, half its swing, and the warmest
#: day of the year, as in soil a metre down in a temperate climate. Common practice.
GROUND_MEAN, GROUND_SWING, GROUND_WARMEST_DAY = 10.0, 6.0, 230.0
#: Visits of the section's own whose drop from air to face stands in for a missing one.
LEAST_OWN_VISITS = 4

MEASURED = ""
FROM_OWN_VISITS = "surface temperature from this section's usual drop below the air"
FROM_OUTDOORS = "surface temperature from room and outdoor air"
FROM_GROUND = "surface temperature from room air and the usual temperature of the ground"


@dataclass(frozen=True, slots=True)
class Margins:
    """Dew-point margins, K, on ``time`` (n,): surface temperature less the dew point of the room's air.

    ``assumed`` says what stood in for an unread surface temperature; empty where it was read.
    """

    time: FloatArray
    margin: FloatArray
    air_temperature: FloatArray
    air_humidity: FloatArray
    surface_temperature: FloatArray
    assumed: TextArray

    def __len__(self) -> int:
        return len(self.time)


def dew_point_margins(section_readings: Readings, building_readings: Readings) -> Margins:
    """Margins on each day that both temperature and humidity of the room's air were read.

    The room's air is that of the section's own readings where it has any that day, else of the house; of
    several readings a day the median. An unread surface temperature is taken from the section's usual drop
    below the air (median over at least four visits), else from the outdoor temperature of that day or that of
    the ground by the temperature factor of ISO 13788; ``assumed`` names which.
    """
    temperature, humidity = (
        {**_daily(building_readings, name), **_daily(section_readings, name)}
        for name in ("air_temperature", "air_humidity")
    )
    time = np.array(sorted(temperature.keys() & humidity.keys()), dtype=float)
    air, damp = _on(temperature, time), _on(humidity, time)
    surface = _on(_daily(section_readings, "surface_temperature"), time)
    outdoors = {
        **_daily(building_readings, "outdoor_temperature"),
        **_daily(section_readings, "outdoor_temperature"),
    }
    face, assumed = _assume(time, air, surface, _on(outdoors, time))
    return Margins(time, dew_point_margin(air, damp, face), air, damp, face, assumed)


def _daily(readings: Readings, quantity: str) -> dict[float, float]:
    own = readings.of(quantity)
    # A reading off the scale has no value that a dew point could be had from.
    own = own.where(own.low == own.high)
    days, first, count = np.unique(np.floor(own.time), return_index=True, return_counts=True)
    value = own.value[first]
    for i in np.flatnonzero(count > 1):
        value[i] = np.median(own.value[first[i] : first[i] + count[i]])
    return dict(zip(days.tolist(), value.tolist(), strict=True))


def _on(by_day: dict[float, float], time: FloatArray) -> FloatArray:
    return np.array([by_day.get(float(day), np.nan) for day in time], dtype=float)


def _assume(
    time: FloatArray, air: FloatArray, surface: FloatArray, outdoors: FloatArray
) -> tuple[FloatArray, TextArray]:
    read = ~np.isnan(surface)
    if read.sum() >= LEAST_OWN_VISITS:
        stand_in = air - np.median((air - surface)[read])
        words = np.full(len(time), FROM_OWN_VISITS)
    else:
        season = np.cos(2 * np.pi * (time - GROUND_WARMEST_DAY) / YEAR)
        beyond = np.where(np.isnan(outdoors), GROUND_MEAN + GROUND_SWING * season, outdoors)
        stand_in = beyond + FACE_TEMPERATURE_FACTOR * (air - beyond)
        words = np.where(np.isnan(outdoors), FROM_GROUND, FROM_OUTDOORS)
    return np.where(read, surface, stand_in), np.where(read, MEASURED, words)
