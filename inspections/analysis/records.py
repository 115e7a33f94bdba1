"""What the analysis is given: a house's facts and readings as plain arrays, free of any database.

Times are float days since 1970-01-01 in the building's local time, so that ``floor(time)`` is the local
day and nothing here needs a time zone. Values are in the canonical units of :data:`CANONICAL_UNIT`.
Unknown numbers are NaN, unknown words are ``""``, and an open end of a range is ``inf``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
TextArray = npt.NDArray[np.str_]

#: Days in a year, the mean over the Gregorian cycle.
YEAR = 365.2425

#: Canonical unit of each quantity; moisture meters keep the scale that the reading was made on.
CANONICAL_UNIT: dict[str, str] = {
    "surface_moisture": "relative",
    "deep_moisture": "relative",
    "in_wall_humidity": "percent_rh",
    "air_humidity": "percent_rh",
    "outdoor_humidity": "percent_rh",
    "air_temperature": "degC",
    "surface_temperature": "degC",
    "in_wall_temperature": "degC",
    "outdoor_temperature": "degC",
    "hollow_area": "m2",
    "spall_area": "m2",
    "salt_area": "m2",
    "crack_width": "mm",
    "mortar_soft_depth": "mm",
    "timber_moisture": "percent_wme",
    "hygroscopic_moisture": "percent_mass",
    "radon": "Bq_per_m3",
    "sump_starts": "per_day",
    "dehumidifier_water": "L_per_day",
    "rain": "mm_per_day",
    "water_level": "mm",
}


@dataclass(frozen=True, slots=True)
class Instrument:
    """An instrument's scale and its limits, in the unit of that scale (NaN where unknown)."""

    code: str
    kind: str = ""
    scale: str = ""
    minimum: float = np.nan
    maximum: float = np.nan
    resolution: float = np.nan
    repeatability: float = np.nan


@dataclass(frozen=True, slots=True)
class Coat:
    """One layer on a section. ``removed`` is inf while it is in place; lengths in mm, sd in m, area in m²."""

    layer: int
    kind: str
    applied: float
    removed: float = np.inf
    removal_reason: str = ""
    binder: str = "unknown"
    mix: str = ""
    thickness_mm: float = np.nan
    mu: float = np.nan
    sd_m: float = np.nan
    applied_earliest: float = np.nan
    found: bool = False
    face: str = "room"
    area_m2: float = np.nan
    purpose: str = "permanent"
    drains_to: str = "unknown"
    strength_mpa: float = np.nan


@dataclass(frozen=True, slots=True)
class Happening:
    """An event on a section (``layer`` NaN: of the wall itself) or, in a building's list, of the house."""

    time: float
    kind: str
    layer: float = np.nan
    area_m2: float = np.nan
    note: str = ""


@dataclass(frozen=True, slots=True)
class Readings:
    """Readings as parallel arrays of length n, sorted by time.

    ``low`` and ``high`` bound the true value: both equal ``value`` for a plain reading, ``high`` is inf for
    ``>`` and ``low`` is -inf for ``<``. ``unit`` is the canonical unit or, for moisture, the meter's scale.
    ``height_mm`` and ``depth_mm`` are NaN where not given.
    """

    time: FloatArray
    quantity: TextArray
    value: FloatArray
    low: FloatArray
    high: FloatArray
    unit: TextArray
    height_mm: FloatArray
    depth_mm: FloatArray
    instrument: TextArray
    point: TextArray
    inspector: TextArray

    def __len__(self) -> int:
        return len(self.time)

    def where(self, mask: npt.NDArray[np.bool_] | npt.NDArray[np.int64] | slice) -> Readings:
        """The readings that ``mask`` (bool, shape (n,)), indices or a slice keep, in that order."""
        return Readings(*(getattr(self, name)[mask] for name in READING_FIELDS))

    def of(self, quantity: str) -> Readings:
        """The readings of one quantity."""
        return self.where(self.quantity == quantity)

    def until(self, day: float) -> Readings:
        """The readings taken on local day ``day`` or before."""
        known = np.floor(self.time) <= day
        return self if known.all() else self.where(known)


READING_FIELDS = (
    "time",
    "quantity",
    "value",
    "low",
    "high",
    "unit",
    "height_mm",
    "depth_mm",
    "instrument",
    "point",
    "inspector",
)
_TEXT_FIELDS = {"quantity", "unit", "instrument", "point", "inspector"}


def numbered(column: TextArray) -> tuple[list[str], npt.NDArray[np.int64]]:
    """The distinct words of a column (n,), sorted, and the number of each row's: numpy sorts words slowly."""
    words = column.tolist()
    names = sorted(set(words))
    number = {name: i for i, name in enumerate(names)}
    return names, np.fromiter(map(number.__getitem__, words), np.int64, len(words))


def together(parts: Sequence[Readings]) -> Readings:
    """Several sets of readings one after the other."""
    return Readings(*(np.concatenate([getattr(part, name) for part in parts]) for name in READING_FIELDS))


def readings_from_columns(columns: Mapping[str, Sequence[object] | FloatArray | TextArray]) -> Readings:
    """Build :class:`Readings` from columns named as its fields, sorting by time (a stable sort)."""
    order = np.argsort(np.asarray(columns["time"], dtype=float), kind="stable")
    arrays = (
        np.asarray(columns[name], dtype=np.str_ if name in _TEXT_FIELDS else float)[order]
        for name in READING_FIELDS
    )
    return Readings(*arrays)


def no_readings() -> Readings:
    """An empty set of readings."""
    return readings_from_columns({name: [] for name in READING_FIELDS})


@dataclass(frozen=True, slots=True)
class SectionRecord:
    """A stretch of wall: its facts, coats, events and readings. Lengths in m."""

    code: str
    wall: str = ""
    start_m: float = np.nan
    length_m: float = np.nan
    height_m: float = np.nan
    below_grade_m: float = np.nan
    substrate: str = "unknown"
    bedding_mortar: str = "unknown"
    adjoins: str = "soil"
    beyond: str = "unknown"
    coats: tuple[Coat, ...] = ()
    events: tuple[Happening, ...] = ()
    readings: Readings = field(default_factory=no_readings)

    def until(self, day: float) -> SectionRecord:
        """The section as its record stood at the end of local day ``day``: nothing later shows.

        A coat removed after that day is still in place, and its removal reason is not known yet.
        """
        coats = tuple(
            coat if coat.removed <= day else replace(coat, removed=np.inf, removal_reason="")
            for coat in self.coats
            if coat.applied <= day
        )
        events = tuple(event for event in self.events if event.time <= day)
        return replace(self, coats=coats, events=events, readings=self.readings.until(day))


@dataclass(frozen=True, slots=True)
class BuildingRecord:
    """A house: its sections, the readings and events of the house as a whole, and the instruments used."""

    code: str
    sections: tuple[SectionRecord, ...]
    readings: Readings = field(default_factory=no_readings)
    events: tuple[Happening, ...] = ()
    instruments: dict[str, Instrument] = field(default_factory=dict)
    year_built: float = np.nan
    country: str = ""

    def until(self, day: float) -> BuildingRecord:
        """The house as its record stood at the end of local day ``day``."""
        return replace(
            self,
            sections=tuple(section.until(day) for section in self.sections),
            readings=self.readings.until(day),
            events=tuple(event for event in self.events if event.time <= day),
        )
