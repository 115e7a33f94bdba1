"""One wall of a trial: what it was before its coat, and what became of it after.

*Before* ends on the day of the section's first treatment on or after the trial's start, *after* when what was
put on then comes off again. The day itself belongs to neither.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from inspections.analysis.coats import coat_area
from inspections.analysis.levels import Level
from inspections.analysis.monotone import DETECTION_LIMIT, cumulative_loss
from inspections.analysis.records import YEAR, BuildingRecord, Coat, FloatArray, Happening, SectionRecord
from inspections.analysis.regression import seasonal_fit
from inspections.analysis.series import AREAS, affected_share, prepare
from inspections.analysis.trends import trend

#: The outcome that is not a quantity's name: share of the section's area lost a year.
LOSS = "affected_area_rate"
#: What says how damp a wall was; and what says how sound it was.
DAMPNESS = ("surface_moisture", "deep_moisture", "in_wall_humidity", "timber_moisture")
SOUNDNESS = (
    "hollow_area",
    "spall_area",
    "salt_area",
    "crack_width",
    "mortar_soft_depth",
    "hygroscopic_moisture",
)
#: Layers put on within so many days of the first are one system with it. Common practice: a coat, its
#: limewash and its paint are done in one season.
SYSTEM_DAYS = 366.0
#: Readings before the coat reach back to the last coat put on or taken off, or else so many years. Ours.
BEFORE_YEARS = 5.0
#: A loss is not told as a rate before half a year has gone by: what is seen then is the making of the coat.
LEAST_YEARS = 0.5
#: Share lost by a coat that was taken off as failed: at least the failure threshold (METHOD, section 6).
FAILED_SHARE = 0.10
#: Scatter of a reading that is expected before any is seen, in the quantity's unit, worth four readings.
#: Common practice with hand instruments.
EXPECTED_SCATTER = {
    "surface_moisture": 3.0,
    "deep_moisture": 3.0,
    "in_wall_humidity": 3.0,
    "timber_moisture": 1.0,
    "hygroscopic_moisture": 0.5,
    "crack_width": 0.1,
    "mortar_soft_depth": 2.0,
}
_SCATTER_OF_SHARES = 0.01


@dataclass(frozen=True, slots=True)
class Place:
    """A section's place in a trial, as it was allotted. ``block`` may be empty."""

    building: str
    section: str
    arm: str
    allocated_by: str
    block: str = ""


@dataclass(frozen=True, slots=True)
class Before:
    """A quantity's level before the coat with its standard error; areas as shares of the section's area."""

    level: float
    error: float
    unit: str


@dataclass(frozen=True, slots=True)
class Wall:
    """A section of a trial. Times are days since 1970-01-01; NaN and inf: not (yet) so.

    ``outcome`` is a year's change, NaN where ``missing`` says why there is none. ``time``, ``low`` and
    ``high`` (n,) are what it rests on: the affected share (mended area counted in, ``high`` inf where only a
    part was surveyed) or the quantity's level. ``fit`` (n,) is the course that the outcome was taken from.
    """

    place: Place
    record: SectionRecord
    begun: float
    ended: float
    coats: tuple[Coat, ...]
    years: float
    outcome: float
    missing: str
    time: FloatArray
    low: FloatArray
    high: FloatArray
    fit: FloatArray
    unit: str
    before: dict[str, Before] = field(default_factory=dict)


def walls_of(
    places: Sequence[Place],
    houses: dict[str, BuildingRecord],
    outcome: str,
    started: float,
    as_of: float,
    failed_share: float = FAILED_SHARE,
) -> list[Wall]:
    """The walls of a trial as known at the end of day ``as_of``, in the order of ``places``.

    ``houses``: the records by building; ``started``: the trial's first day; ``failed_share``: what a coat
    that was taken off as failed has lost at least.
    """
    found: dict[tuple[str, str], Wall] = {}
    untreated = _untreated(places, houses, started, as_of)
    for code in {place.building for place in places}:
        own = [place for place in places if place.building == code]
        found |= _walls_of_house(own, houses[code], outcome, started, as_of, untreated, failed_share)
    return [found[place.building, place.section] for place in places]


def _walls_of_house(
    places: Sequence[Place],
    house: BuildingRecord,
    outcome: str,
    started: float,
    as_of: float,
    untreated: set[str],
    failed_share: float,
) -> dict[tuple[str, str], Wall]:
    codes = {place.section for place in places}
    house = replace(house, sections=tuple(one for one in house.sections if one.code in codes)).until(as_of)
    sections = {section.code: section for section in house.sections}
    begun = {
        place.section: started if place.arm in untreated else _begun(sections[place.section], started)
        for place in places
    }
    after = prepare(house).levels
    last = max(begun.values())
    # Scales and instruments are taken as they were when the coats went on.
    until = house.until(last - 1) if np.isfinite(last) else house
    before = prepare(until).levels
    return {
        (place.building, place.section): _wall(
            place,
            sections[place.section],
            begun[place.section],
            as_of,
            outcome,
            before[place.section],
            after[place.section],
            failed_share,
        )
        for place in places
    }


def _untreated(
    places: Sequence[Place], houses: dict[str, BuildingRecord], started: float, as_of: float
) -> set[str]:
    """Arms in which no section has had a treatment, though the trial and another arm have begun."""
    begun: dict[str, bool] = {}
    for place in places:
        section = next(one for one in houses[place.building].sections if one.code == place.section)
        begun.setdefault(place.arm, False)
        begun[place.arm] |= np.isfinite(_begun(section.until(as_of), started))
    return {arm for arm, treated in begun.items() if not treated} if any(begun.values()) else set()


def _begun(section: SectionRecord, started: float) -> float:
    treatments = [one.applied for one in section.coats if one.applied >= started and not one.found]
    return min(treatments, default=np.inf)


def _wall(
    place: Place,
    section: SectionRecord,
    begun: float,
    as_of: float,
    outcome: str,
    before: dict[str, Level],
    after: dict[str, Level],
    failed_share: float,
) -> Wall:
    coats = tuple(one for one in section.coats if begun <= one.applied <= begun + SYSTEM_DAYS)
    innermost = min(coats, key=lambda one: (one.applied, one.layer), default=None)
    ended = min(innermost.removed if innermost else np.inf, as_of + 1)
    failed = innermost is not None and innermost.removed <= as_of and innermost.removal_reason == "failed"
    least = failed_share if failed else 0.0
    time, low, high, unit = _after(section, outcome, begun, ended, after, least)
    years = (time[-1] - begun) / YEAR if len(time) else 0.0
    rate, fit, missing = _rate(outcome, time, low, high, begun, years)
    if not np.isfinite(begun):
        rate, missing = np.nan, "has no coat of the trial yet"
    return Wall(
        place,
        section,
        begun,
        ended,
        coats,
        years,
        rate,
        missing,
        time,
        low,
        high,
        fit,
        unit,
        _before(section, begun, before),
    )


# After -----------------------------------------------------------------------------------------------------


def _after(
    section: SectionRecord, outcome: str, begun: float, ended: float, levels: dict[str, Level], least: float
) -> tuple[FloatArray, FloatArray, FloatArray, str]:
    """Days after the coat with what was seen, as bounds, and the unit; at its end it had lost ``least``."""
    if outcome != LOSS:
        level = levels.get(outcome)
        if level is None:
            return np.zeros(0), np.zeros(0), np.zeros(0), ""
        own = (level.time > begun) & (level.time <= ended)
        return level.time[own], level.low[own], level.high[own], level.unit
    time, low, high = affected_share(levels, coat_area(section, begun))
    own = (time > begun) & (time <= ended)
    time, low, high = time[own], low[own], high[own]
    low, high = _with_mended(time, low, high, _mendings(section, begun, ended))
    if least > 0:
        at = np.searchsorted(time, ended)
        time = np.insert(time, at, ended)
        low = np.insert(low, at, max(least, float(low[:at].max(initial=0.0))))
        high = np.insert(high, at, np.inf)
    return time, low, high, "share"


def _mendings(section: SectionRecord, begun: float, ended: float) -> list[tuple[float, float]]:
    """Days on which part of the coat was mended, with its share of the area (NaN: unknown)."""
    area = coat_area(section, begun)
    repairs: list[tuple[float, float]] = [
        (event.time, event.area_m2 / area)
        for event in section.events
        if event.kind == "repair" and begun < event.time <= ended and not _of_wall(event)
    ]
    told = {day for day, _ in repairs}
    patches = [
        (coat.applied, coat.area_m2 / area)
        for coat in section.coats
        if coat.purpose == "patch" and begun < coat.applied <= ended and coat.applied not in told
    ]
    return sorted(repairs + patches)


def _of_wall(event: Happening) -> bool:
    """Whether the wall itself was mended, not a coat on it."""
    return math.isnan(event.layer)


def _with_mended(
    time: FloatArray, low: FloatArray, high: FloatArray, mendings: list[tuple[float, float]]
) -> tuple[FloatArray, FloatArray]:
    """Surveys with what was mended before them counted in: mended area stays in the loss.

    Where its size was not written down it is what the next survey shows to be gone.
    """
    low, high = low.copy(), high.copy()
    for day, share in mendings:
        later = time > day
        if math.isnan(share):
            seen = low[~later & np.isfinite(high)], low[later & np.isfinite(high)]
            share = max(float(seen[0][-1] - seen[1][0]), 0.0) if len(seen[0]) and len(seen[1]) else 0.0
        low[later] += share
        high[later] += share
    return np.minimum(low, 1.0), high


def _rate(
    outcome: str, time: FloatArray, low: FloatArray, high: FloatArray, begun: float, years: float
) -> tuple[float, FloatArray, str]:
    """A year's change, the course (n,) that it is of and, where there is none, why."""
    if not len(time):
        why = "has not been surveyed since its coat" if outcome == LOSS else "has no reading since"
        return np.nan, time, why
    if outcome == LOSS:
        loss = cumulative_loss(time, low, low, high)
        assert loss is not None
        if years < LEAST_YEARS:
            return np.nan, loss.fit, "was last surveyed within half a year of its coat"
        return float(loss.fit[-1]) / years, loss.fit, ""
    value = np.where(np.isfinite(low), low, high)
    rate = trend(time, value, low, high).rate_per_year
    if not np.isfinite(rate):
        return np.nan, value, "has too few readings for a rate"
    course = rate * (time - time[0]) / YEAR
    return rate, course + np.median(value - course), ""


def unseen_rate(years: float) -> float:
    """A year's loss that a survey after so many years can't tell from none."""
    return DETECTION_LIMIT / years


# Before ----------------------------------------------------------------------------------------------------


def _before(section: SectionRecord, begun: float, levels: dict[str, Level]) -> dict[str, Before]:
    if not np.isfinite(begun):
        return {}
    whole = section.length_m * section.height_m
    found = {}
    for quantity in (*DAMPNESS, *SOUNDNESS):
        if quantity not in levels:
            continue
        level = levels[quantity]
        own = level.time < begun
        own &= level.time >= _window(section, begun, level.time[own])
        if not own.any():
            continue
        size = whole if quantity in AREAS and whole > 0 else 1.0
        scatter = _SCATTER_OF_SHARES if quantity in AREAS else EXPECTED_SCATTER[quantity]
        time = level.time[own]
        fit = seasonal_fit(time, level.low[own] / size, level.high[own] / size, float(time.mean()), scatter)
        assert fit is not None
        found[quantity] = Before(fit.level, fit.noise / math.sqrt(fit.n), level.unit)
    return found


def _window(section: SectionRecord, begun: float, days: FloatArray) -> float:
    """The first day whose readings tell of the wall as it was when the coat went on."""
    changes = [coat.applied for coat in section.coats if coat.applied < begun]
    changes += [coat.removed for coat in section.coats if coat.removed < begun]
    bare = max(changes, default=-np.inf)
    return bare if (days > bare).any() else begun - BEFORE_YEARS * YEAR
