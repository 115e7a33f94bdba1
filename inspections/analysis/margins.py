"""How near a section's face came to sweating, visit by visit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice, pairwise

import numpy as np

from inspections.analysis.psychrometrics import dew_point_margin
from inspections.analysis.records import YEAR, FloatArray, Readings, TextArray
from inspections.analysis.tabulating import median

#: Share of the step from outside to room air that an inside face keeps (ISO 13788: f_Rsi = 1 - U R_si): solid
#: masonry of half a metre, U near 1.5 W/(m2 K), with R_si 0.13 m2 K/W. Common practice.
FACE_TEMPERATURE_FACTOR = 0.8
#: Temperature beyond the wall where nothing was read, degC: mean of the year, half its swing, and the warmest
#: day of the year, as in soil a metre down in a temperate climate. Common practice.
GROUND_MEAN, GROUND_SWING, GROUND_WARMEST_DAY = 10.0, 6.0, 230.0
#: Visits of the section's own whose drop from air to face stands in for a missing one.
LEAST_OWN_VISITS = 4

#: What a margin rests on.
_READ = ("air_temperature", "air_humidity", "surface_temperature", "outdoor_temperature")

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
    """As :func:`all_margins`, of one section."""
    return all_margins([([section_readings], building_readings)])[0][0]


def all_margins(houses: Sequence[tuple[Sequence[Readings], Readings]]) -> list[list[Margins]]:
    """Margins of each house's sections, whose readings stand before those of the house as a whole.

    They are on each day that both temperature and humidity of the room's air were read. The room's air is
    that of the section's own readings where it has any that day, else of the house; of several readings a day
    the median. An unread surface temperature is taken from the section's usual drop below the air (median
    over at least four visits), else from the outdoor temperature of that day or that of the ground by the
    temperature factor of ISO 13788; ``assumed`` names which.
    """
    visits = [
        [_visits(_daily(own), of_house) for own in sections]
        for sections, of_house in ((sections, _daily(house)) for sections, house in houses)
    ]
    every = [one for house in visits for one in house]
    time, air, damp, surface, outdoors = np.concatenate([np.zeros((5, 0)), *every], axis=1)
    edges = np.cumsum([0, *(one.shape[1] for one in every)]).tolist()
    face, assumed = _assumed(time, air, surface, outdoors, edges)
    margin = dew_point_margin(air, damp, face)
    parts = (
        Margins(time[own], margin[own], air[own], damp[own], face[own], assumed[own])
        for own in (slice(start, stop) for start, stop in pairwise(edges))
    )
    return [list(islice(parts, len(house))) for house in visits]


_Daily = dict[str, dict[float, float]]


def _daily(readings: Readings) -> _Daily:
    """The day's value of each quantity of the air and the face: the median, where there are several."""
    found: dict[str, dict[float, list[float]]] = {name: {} for name in _READ}
    # A reading off the scale has no value that a dew point could be had from.
    plain = (readings.low == readings.high).tolist()
    days = np.floor(readings.time).tolist()
    for name, day, value, told in zip(
        readings.quantity.tolist(), days, readings.value.tolist(), plain, strict=True
    ):
        if told and name in found:
            found[name].setdefault(day, []).append(value)
    return {
        name: {day: several[0] if len(several) == 1 else median(several) for day, several in by_day.items()}
        for name, by_day in found.items()
    }


def _visits(own: _Daily, house: _Daily) -> FloatArray:
    """Days, air temperature and humidity, surface and outdoor temperature (5, n), NaN where not read."""
    by_day = [own[name] if name == "surface_temperature" else {**house[name], **own[name]} for name in _READ]
    time = sorted(by_day[0].keys() & by_day[1].keys())
    return np.array([time, *([one.get(day, np.nan) for day in time] for one in by_day)], dtype=float)


def _assumed(
    time: FloatArray, air: FloatArray, surface: FloatArray, outdoors: FloatArray, edges: list[int]
) -> tuple[FloatArray, TextArray]:
    """The face's temperature (n,), and what stood in for a reading of it, of sections between ``edges``."""
    read = ~np.isnan(surface)
    season = np.cos(2 * np.pi * (time - GROUND_WARMEST_DAY) / YEAR)
    beyond = np.where(np.isnan(outdoors), GROUND_MEAN + GROUND_SWING * season, outdoors)
    stand_in = beyond + FACE_TEMPERATURE_FACTOR * (air - beyond)
    longest = max(map(len, (FROM_OWN_VISITS, FROM_OUTDOORS, FROM_GROUND)))
    words = np.where(np.isnan(outdoors), FROM_GROUND, FROM_OUTDOORS).astype(f"<U{longest}")
    drop = air - surface
    for start, stop in pairwise(edges):
        own = drop[start:stop][read[start:stop]]
        if len(own) >= LEAST_OWN_VISITS:
            stand_in[start:stop] = air[start:stop] - median(own)
            words[start:stop] = FROM_OWN_VISITS
    return np.where(read, surface, stand_in), np.where(read, MEASURED, words)
