"""The allowed words of what was seen, each with the plain label that a page shows, and the units."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django.db.models import TextChoices


class Quantity(TextChoices):
    SURFACE_MOISTURE = "surface_moisture", "face moisture"
    DEEP_MOISTURE = "deep_moisture", "deep moisture"
    IN_WALL_HUMIDITY = "in_wall_humidity", "in-wall humidity"
    AIR_HUMIDITY = "air_humidity", "air humidity"
    OUTDOOR_HUMIDITY = "outdoor_humidity", "outdoor humidity"
    AIR_TEMPERATURE = "air_temperature", "air temperature"
    SURFACE_TEMPERATURE = "surface_temperature", "face temperature"
    IN_WALL_TEMPERATURE = "in_wall_temperature", "in-wall temperature"
    OUTDOOR_TEMPERATURE = "outdoor_temperature", "outdoor temperature"
    HOLLOW_AREA = "hollow_area", "hollow area"
    SPALL_AREA = "spall_area", "fallen area"
    SALT_AREA = "salt_area", "salt-stained area"
    CRACK_WIDTH = "crack_width", "crack width"
    MORTAR_SOFT_DEPTH = "mortar_soft_depth", "depth of soft mortar"
    TIMBER_MOISTURE = "timber_moisture", "timber moisture"
    HYGROSCOPIC_MOISTURE = "hygroscopic_moisture", "hygroscopic moisture of drilled dust"
    RADON = "radon", "radon"
    SUMP_STARTS = "sump_starts", "sump starts"
    DEHUMIDIFIER_WATER = "dehumidifier_water", "water from the dehumidifier"
    RAIN = "rain", "rain"
    WATER_LEVEL = "water_level", "water level"


#: Quantities of the house as a whole, read without a section.
OF_THE_BUILDING = frozenset(
    {Quantity.RADON, Quantity.SUMP_STARTS, Quantity.DEHUMIDIFIER_WATER, Quantity.RAIN, Quantity.WATER_LEVEL}
)


class Unit(TextChoices):
    RELATIVE = "relative", "scale divisions"
    PERCENT_WME = "percent_wme", "% WME"
    PERCENT_MASS = "percent_mass", "% by mass"
    PERCENT_RH = "percent_rh", "% RH"
    DEG_C = "degC", "°C"
    DEG_F = "degF", "°F"
    M2 = "m2", "m²"
    FT2 = "ft2", "ft²"
    MM = "mm", "mm"
    IN = "in", "in"
    BQ_PER_M3 = "Bq_per_m3", "Bq/m³"
    PCI_PER_L = "pCi_per_L", "pCi/L"
    PER_DAY = "per_day", "a day"
    L_PER_DAY = "L_per_day", "L a day"
    MM_PER_DAY = "mm_per_day", "mm a day"
    IN_PER_DAY = "in_per_day", "in a day"


@dataclass(frozen=True, slots=True)
class Conversion:
    """From a unit as entered to the canonical one: ``canonical = value * factor + offset``."""

    canonical: Unit
    factor: float = 1.0
    offset: float = 0.0

    def __call__(self, value: float) -> float:
        return value * self.factor + self.offset


# Exact by definition: the foot is 0.3048 m and the inch 25.4 mm (international yard, 1959); the curie is
# 3.7e10 Bq, so that 1 pCi/L is 37 Bq/m³; degrees Fahrenheit by the kelvin's definition.
SQUARE_FOOT_M2 = 0.3048**2
INCH_MM = 25.4
PICOCURIE_PER_LITRE_BQ = 37.0

_MOISTURE = {unit: Conversion(unit) for unit in (Unit.RELATIVE, Unit.PERCENT_WME, Unit.PERCENT_MASS)}
_HUMIDITY = {Unit.PERCENT_RH: Conversion(Unit.PERCENT_RH)}
_TEMPERATURE = {
    Unit.DEG_C: Conversion(Unit.DEG_C),
    Unit.DEG_F: Conversion(Unit.DEG_C, factor=5 / 9, offset=-160 / 9),
}
_AREA = {Unit.M2: Conversion(Unit.M2), Unit.FT2: Conversion(Unit.M2, factor=SQUARE_FOOT_M2)}
_LENGTH = {Unit.MM: Conversion(Unit.MM), Unit.IN: Conversion(Unit.MM, factor=INCH_MM)}

#: For each quantity the units it may be entered in, with the conversion to the canonical one.
UNITS: dict[str, dict[Unit, Conversion]] = {
    Quantity.SURFACE_MOISTURE: _MOISTURE,
    Quantity.DEEP_MOISTURE: _MOISTURE,
    Quantity.IN_WALL_HUMIDITY: _HUMIDITY,
    Quantity.AIR_HUMIDITY: _HUMIDITY,
    Quantity.OUTDOOR_HUMIDITY: _HUMIDITY,
    Quantity.AIR_TEMPERATURE: _TEMPERATURE,
    Quantity.SURFACE_TEMPERATURE: _TEMPERATURE,
    Quantity.IN_WALL_TEMPERATURE: _TEMPERATURE,
    Quantity.OUTDOOR_TEMPERATURE: _TEMPERATURE,
    Quantity.HOLLOW_AREA: _AREA,
    Quantity.SPALL_AREA: _AREA,
    Quantity.SALT_AREA: _AREA,
    Quantity.CRACK_WIDTH: _LENGTH,
    Quantity.MORTAR_SOFT_DEPTH: _LENGTH,
    Quantity.TIMBER_MOISTURE: {Unit.PERCENT_WME: Conversion(Unit.PERCENT_WME)},
    Quantity.HYGROSCOPIC_MOISTURE: {Unit.PERCENT_MASS: Conversion(Unit.PERCENT_MASS)},
    Quantity.RADON: {
        Unit.BQ_PER_M3: Conversion(Unit.BQ_PER_M3),
        Unit.PCI_PER_L: Conversion(Unit.BQ_PER_M3, factor=PICOCURIE_PER_LITRE_BQ),
    },
    Quantity.SUMP_STARTS: {Unit.PER_DAY: Conversion(Unit.PER_DAY)},
    Quantity.DEHUMIDIFIER_WATER: {Unit.L_PER_DAY: Conversion(Unit.L_PER_DAY)},
    Quantity.RAIN: {
        Unit.MM_PER_DAY: Conversion(Unit.MM_PER_DAY),
        Unit.IN_PER_DAY: Conversion(Unit.MM_PER_DAY, factor=INCH_MM),
    },
    Quantity.WATER_LEVEL: _LENGTH,
}

Converter = Callable[[float], float]


class Qualifier(TextChoices):
    EXACT = "", "as read"
    BELOW = "<", "below"
    ABOVE = ">", "above"


class InstrumentKind(TextChoices):
    MOISTURE_METER = "moisture_meter", "moisture meter"
    HYGROMETER = "hygrometer", "hygrometer"
    THERMOMETER = "thermometer", "thermometer"
    CRACK_GAUGE = "crack_gauge", "crack gauge"
    RADON_MONITOR = "radon_monitor", "radon monitor"
    COUNTER = "counter", "counter"
    CAMERA = "camera", "camera"
    TAPE = "tape", "tape"
    OTHER = "other", "other instrument"


class VisitReason(TextChoices):
    PLAN = "plan", "as planned"
    FLAG = "flag", "because of a flag"
    EVENT = "event", "because of an event"
    OTHER = "other", "other reason"


class AllocatedBy(TextChoices):
    RANDOM = "random", "at random"
    ALTERNATING = "alternating", "in turn"
    JUDGEMENT = "judgement", "by judgement"
    CONVENIENCE = "convenience", "by convenience"


class Verdict(TextChoices):
    TRAPPED_WATER = "trapped_water", "trapped water"
    WATER_ENTRY = "water_entry", "water entry"
    CONDENSATION = "condensation", "condensation"
    SURFACE_WEAR = "surface_wear", "surface wear"
    DRYING_OUT = "drying_out", "drying out"
    STABLE = "stable", "stable"
    INSUFFICIENT_DATA = "insufficient_data", "not enough readings"


class FlagState(TextChoices):
    OPENED = "opened", "opened"
    ACKNOWLEDGED = "acknowledged", "acknowledged"
    CONFIRMED = "confirmed", "confirmed"
    DISMISSED = "dismissed", "dismissed"
    CLOSED = "closed", "closed"


class ActionKind(TextChoices):
    SOURCE_MENDED = "source_mended", "source mended"
    PATCH = "patch", "patched"
    STRIP = "strip", "stripped"
    RECOAT = "recoat", "recoated"
    WATCH = "watch", "watched"


class PlanReason(TextChoices):
    FIRST = "first", "never inspected"
    POLICY = "policy", "the usual interval"
    FLAG = "flag", "a flag is open"
    EVENT = "event", "an event was reported"
    TRIAL = "trial", "a trial's schedule"
    FORECAST = "forecast", "half the time left"
    SEASON = "season", "the end of winter or summer"
    NEW_COAT = "new_coat", "a new coat"
    FOLLOW_UP = "follow_up", "whether the work helped"
    PAPER = "paper", "a paper falls due"


class UploadState(TextChoices):
    """Of files that a person sent to be loaded: first they are checked, then the person decides."""

    CHECKING = "checking", "being checked"
    CHECKED = "checked", "checked, not loaded yet"
    LOADING = "loading", "being loaded"
    LOADED = "loaded", "loaded"
    REFUSED = "refused", "refused"
    FAILED = "failed", "stopped by an error"


class Subject(TextChoices):
    """What somebody is told of."""

    PLAN = "plan", "an inspection"
    FLAG = "flag", "a flag"
    READING = "reading", "a reading"


class Stage(TextChoices):
    """How far something has got when somebody is told of it."""

    BEFORE = "before", "soon due"
    ON = "on", "due"
    AFTER = "after", "overdue"
    LATER = "later", "long overdue"
    AGAIN = "again", "asked to be told again"
    HANDED = "handed", "handed over"
    OPENED = "opened", "flag opened"
    WORSE = "worse", "flag worse"
    UNANSWERED = "unanswered", "flag left unanswered"
    DANGER = "danger", "dangerous at once"


class Delivery(TextChoices):
    """Of what is to be told: whether it has been."""

    DUE = "due", "waits for its time"
    CLAIMED = "claimed", "being sent"
    SENT = "sent", "sent"
    FAILED = "failed", "failed, to be tried again"
    UNCERTAIN = "uncertain", "perhaps sent"
    SETTLED = "settled", "no longer needed"


#: What coats can be grouped by, and where an innermost layer has it; a trial and its arm are looked up.
COAT_PATHS = {
    **{name: name for name in ("binder", "kind", "mix", "purpose", "drains_to", "applied_by", "found")},
    **{name: f"section__{name}" for name in ("substrate", "bedding_mortar", "adjoins", "beyond", "wall")},
    **{name: f"section__building__{name}" for name in ("locality", "region", "country")},
    "building": "section__building__code",
}
COAT_FIELDS = (*COAT_PATHS, "trial", "arm")
#: Coats are grouped so where nothing else is asked for.
USUAL_FIELDS = ("binder",)
#: Largest discount rate a year.
MOST_DISCOUNT = 0.5


def coat_fields(text: str) -> tuple[str, ...]:
    """The fields named in ``text``, by commas. Raises `ValueError` in words for the person who asked."""
    names = tuple(name.strip() for name in text.split(","))
    unknown = [name for name in names if name not in COAT_FIELDS]
    if unknown:
        wrong = ", ".join(repr(name) for name in unknown)
        raise ValueError(
            f"{wrong} is nothing that coats are grouped by; there are: {', '.join(COAT_FIELDS)}."
        )
    if len(set(names)) < len(names):
        raise ValueError("Name each field once.")
    return names
