"""What the readings of a section amount to: a few dozen summary statistics, each free of any meter's scale.

A meter's number on masonry is relative, so every moisture statistic is a ratio: to the scatter of the series
itself, to the other sections of the house on the same scale, or to the range of the instrument. A statistic
that can't be had is NaN; the verdict's model is made for that. Their names stand in :data:`GROUPS`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from inspections.analysis.cleaning import range_in
from inspections.analysis.coats import coat_area, coat_start, prior_statistics, standing
from inspections.analysis.levels import Level
from inspections.analysis.margins import Margins
from inspections.analysis.materials import stack_sd
from inspections.analysis.records import YEAR, FloatArray, SectionRecord
from inspections.analysis.regression import Asked, SeasonalFit, seasonal_fits
from inspections.analysis.series import AREAS, MOISTURE, PreparedBuilding, since
from inspections.analysis.tabulating import median

#: Groups of statistics, each one piece of evidence. The first is the prior: it needs no reading.
GROUPS: dict[str, tuple[str, ...]] = {
    "prior": (
        "resistance",
        "open_to_liquid",
        "coated",
        "age",
        "found",
        "drained",
        "below_grade",
        "soil",
        "street",
        "party_wall",
        "interior",
        "rubble",
        "brick",
        "concrete",
        "lime_bedding",
        "recent_lime",
        "recent_water",
        "recent_mending",
        "uncovered",
    ),
    "surface_moisture": (
        "face_rate",
        "face_significance",
        "face_line",
        "face_change",
        "face_rank",
        "face_share",
        "face_winter",
        "face_spring",
        "face_spike",
        "face_scatter",
        "face_height",
        "face_recent",
        "face_break",
    ),
    "deep_moisture": (
        "deep_rate",
        "deep_significance",
        "deep_change",
        "deep_rank",
        "deep_share",
        "deep_swing",
        "deep_recent",
        "deep_break",
        "deep_over_face",
    ),
    "in_wall_humidity": ("wall_humidity", "wall_humidity_rate", "wall_humidity_beyond", "wall_humidity_low"),
    "hollow_area": ("hollow", "hollow_rate", "hollow_recent", "hollow_significance"),
    "spall_area": ("spall", "spall_rate", "spall_recent", "spall_significance"),
    "salt_area": ("salt", "salt_rate"),
    "air_humidity": (
        "margin",
        "margin_low",
        "margin_short",
        "face_follows_margin",
        "face_follows_air",
        "air",
    ),
    "mortar_soft_depth": ("soft", "soft_rate"),
    "timber_moisture": ("timber", "timber_rate"),
    "hygroscopic_moisture": ("hygroscopic",),
}
FEATURES: tuple[str, ...] = tuple(name for names in GROUPS.values() for name in names)
GROUP_OF: dict[str, str] = {name: group for group, names in GROUPS.items() for name in names}
READ_GROUPS: tuple[str, ...] = tuple(group for group in GROUPS if group != "prior")

#: Scatter of one reading expected beforehand, in the quantity's unit (common practice with hand instruments).
EXPECTED_NOISE = {
    "in_wall_humidity": 3.0,
    "hollow_area": 0.03,
    "spall_area": 0.02,
    "salt_area": 0.04,
    "mortar_soft_depth": 2.0,
    "timber_moisture": 1.5,
    "hygroscopic_moisture": 0.5,
}
#: A meter's scatter where no series of the house shows it, as a share of the instrument's range or of the
#: readings' own size (common practice).
METER_NOISE = 0.04
#: A dew-point margin under this, in kelvin, wets a face some hours of the day (common practice).
SHORT_MARGIN = 1.5
#: Years over which "recent" is meant: four half-yearly visits.
RECENT = 2.5


@dataclass(frozen=True, slots=True)
class SectionFeatures:
    """Statistics of one section as of a day, in the order of :data:`FEATURES`, with the fits behind them."""

    section: str
    vector: FloatArray
    coat_start: float
    fits: dict[str, SeasonalFit]
    margins: Margins
    resistance_m: float

    def __getitem__(self, name: str) -> float:
        return float(self.vector[FEATURES.index(name)])


@dataclass(frozen=True, slots=True)
class _Fitted:
    """A section's level since its coat began, fitted, with the noise that was expected of it."""

    level: Level
    fit: SeasonalFit


@dataclass(frozen=True, slots=True)
class _House:
    """What the statistics of a house's sections share.

    ``seen`` is the last day with a reading, ``noise`` the moisture meters' scatter in this house, ``fitted``
    each section's levels with their fits.
    """

    prepared: PreparedBuilding
    as_of: float
    seen: float
    noise: dict[str, float]
    fitted: dict[str, dict[str, _Fitted]]


def building_features(prepared: PreparedBuilding, as_of: float) -> list[SectionFeatures]:
    """As :func:`all_features`, of one house."""
    return all_features([prepared], as_of)[0]


def all_features(houses: Sequence[PreparedBuilding], as_of: float) -> list[list[SectionFeatures]]:
    """The statistics of every section of each house, as of local day ``as_of``, in the house's order.

    The houses must hold nothing later than that day.
    """
    begun = [
        _House(
            prepared,
            as_of,
            _last_seen(prepared, as_of),
            {name: _house_noise(prepared, name) for name in MOISTURE},
            {section.code: {} for section in prepared.record.sections},
        )
        for prepared in houses
    ]
    wanted = [
        (house.fitted[section.code], quantity, level, asked)
        for house in begun
        for section in house.prepared.record.sections
        for quantity, level, asked in _to_fit(house, section)
    ]
    fits = seasonal_fits([asked for _, _, _, asked in wanted])
    for (fitted, quantity, level, _), fit in zip(wanted, fits, strict=True):
        if fit is not None:
            fitted[quantity] = _Fitted(level, fit)
    return [[_features(house, section) for section in house.prepared.record.sections] for house in begun]


def _features(house: _House, section: SectionRecord) -> SectionFeatures:
    prepared, as_of, own = house.prepared, house.as_of, house.fitted[section.code]
    values = prior_statistics(section, as_of, prepared.record.events)
    margins = prepared.margins[section.code]
    values |= _face(house, section, own)
    values |= _deep(house, section, own)
    values |= _in_wall(own)
    values |= _areas(own, house.seen)
    values |= _air(own, margins)
    values |= _others(own)
    return SectionFeatures(
        section=section.code,
        vector=np.array([values.get(name, np.nan) for name in FEATURES]),
        coat_start=coat_start(section, as_of),
        fits={name: item.fit for name, item in own.items()},
        margins=margins,
        resistance_m=stack_sd(standing(section, as_of), as_of)[0],
    )


def _last_seen(prepared: PreparedBuilding, as_of: float) -> float:
    """The house's last day with a reading: what no one has looked at since is not thought to have gone on."""
    ends = [float(np.floor(own.time[-1])) for own in prepared.kept.values() if len(own)]
    return min(as_of, max(ends, default=as_of))


# Fits ----------------------------------------------------------------------------------------------------


def _house_noise(prepared: PreparedBuilding, quantity: str) -> float:
    """Scatter of one visit's level in this house: its sections' median, from successive differences."""
    own = []
    for levels in prepared.levels.values():
        level = levels.get(quantity)
        if level is not None and len(level) >= 5:
            gap = level.value[2:] - (level.value[1:-1] + level.value[:-2]) / 2
            own.append(1.4826 * median(np.abs(gap)) / np.sqrt(1.5))
    middle = median(own)
    if middle > 0:
        return middle
    sizes = [
        median(np.abs(levels[quantity].value)) for levels in prepared.levels.values() if quantity in levels
    ]
    return max(METER_NOISE * median(sizes), 1e-6) * 2 if sizes else 1.0


def _to_fit(house: _House, section: SectionRecord) -> Iterator[tuple[str, Level, Asked]]:
    """Each level of a section since its coat began, and what to fit to it."""
    start = coat_start(section, house.as_of)
    for quantity, level in house.prepared.levels[section.code].items():
        expected = house.noise.get(quantity, EXPECTED_NOISE.get(quantity))
        if expected is None:
            continue
        window = since(level, start)
        if quantity in AREAS:
            window = _root_share(window, coat_area(section, house.seen))
        yield quantity, window, Asked(window.time, window.low, window.high, house.seen, expected)


def _root_share(level: Level, area: float) -> Level:
    """Area as the square root of its share, which spreads small losses and evens their scatter."""

    def root(value: FloatArray) -> FloatArray:
        return np.where(np.isfinite(value), np.sqrt(np.maximum(value, 0) / area), value)

    return replace(level, value=root(level.value), low=root(level.low), high=root(level.high))


# Moisture ------------------------------------------------------------------------------------------------


def _face(house: _House, section: SectionRecord, own: dict[str, _Fitted]) -> dict[str, float]:
    item = own.get("surface_moisture")
    if item is None:
        return {}
    fit, whole = item.fit, house.prepared.levels[section.code]["surface_moisture"]
    winter, spring = fit.season
    return _moisture("face", house, section, "surface_moisture") | {
        "face_line": _line_significance(whole),
        "face_winter": _signed_root(winter / fit.noise),
        "face_spring": _signed_root(spring / fit.noise),
        "face_spike": float(np.max(fit.residual, initial=0.0) / fit.noise) if fit.n > 3 else np.nan,
        "face_scatter": float(np.log(np.std(fit.residual) / house.noise["surface_moisture"] + 0.1))
        if fit.n > 4
        else np.nan,
        "face_height": _signed_root(whole.height_slope / fit.noise)
        if np.isfinite(whole.height_slope)
        else np.nan,
    }


def _deep(house: _House, section: SectionRecord, own: dict[str, _Fitted]) -> dict[str, float]:
    item = own.get("deep_moisture")
    if item is None:
        return {}
    values = _moisture("deep", house, section, "deep_moisture")
    face = own.get("surface_moisture")
    over = np.nan
    if face is not None and face.level.unit == item.level.unit:
        over = _signed_root((item.fit.level - face.fit.level) / item.fit.noise)
    swing = float(np.hypot(*item.fit.season)) / item.fit.noise
    return values | {"deep_over_face": over, "deep_swing": float(np.sqrt(swing))}


def _moisture(prefix: str, house: _House, section: SectionRecord, quantity: str) -> dict[str, float]:
    item = house.fitted[section.code][quantity]
    fit, level = item.fit, item.level
    whole = house.prepared.levels[section.code][quantity]
    error = float(np.hypot(fit.rate_error, level.rate_sd))
    peers = np.array(
        [
            other[quantity].fit.level
            for code, other in house.fitted.items()
            if code != section.code and quantity in other and other[quantity].level.unit == level.unit
        ]
    )
    middle = median(peers)
    spread = max(median(np.abs(peers - middle)) * 1.4826, fit.noise)
    instrument = house.prepared.record.instruments.get(str(level.instrument[-1]))
    low, high = range_in(instrument, level.unit) if instrument else (-np.inf, np.inf)
    span = high - low
    return {
        f"{prefix}_rate": _signed_root(fit.rate / fit.noise),
        f"{prefix}_significance": _signed_root(fit.rate / error),
        f"{prefix}_change": _signed_root(fit.rate * fit.years / fit.noise),
        f"{prefix}_rank": _signed_root((fit.level - middle) / spread) if len(peers) else np.nan,
        f"{prefix}_share": float((fit.level - low) / span) if np.isfinite(span) else np.nan,
        f"{prefix}_recent": _recent_change(fit, level, house.seen),
        f"{prefix}_break": _break_at_coat(whole, level, fit),
    }


def _signed_root(value: float) -> float:
    """Square root that keeps its sign: calms long tails without an edge."""
    return math.copysign(math.sqrt(abs(value)), value)


def _recent_change(fit: SeasonalFit, level: Level, as_of: float) -> float:
    """Mean residual of the recent visits over their own error: a bend that a straight line misses."""
    recent = level.time >= as_of - RECENT * YEAR
    k = int(recent.sum())
    if k == 0 or k == fit.n:
        return np.nan
    return float(fit.residual[recent].mean() / fit.noise * np.sqrt(k))


def _break_at_coat(whole: Level, since: Level, fit: SeasonalFit) -> float:
    """Mean of up to four visits after the coat less as many before it, in noise widths."""
    cut = len(whole) - len(since)
    k = min(cut, len(since), 4)
    if k == 0:
        return np.nan
    value = whole.value
    return _signed_root((value[cut : cut + k].mean() - value[cut - k : cut].mean()) / fit.noise)


def _line_significance(level: Level) -> float:
    """The t value of a plain least-squares line through all visits: what a spreadsheet would show."""
    n = len(level)
    if n < 4 or level.time[-1] == level.time[0]:
        return np.nan
    x = (level.time - level.time.mean()) / YEAR
    y = level.value - level.value.mean()
    slope = (x @ y) / (x @ x)
    error = np.sqrt(max(((y - slope * x) ** 2).sum(), 1e-12) / (n - 2) / (x @ x))
    return _signed_root(slope / error)


# Humidity, areas, air --------------------------------------------------------------------------------------


def _in_wall(own: dict[str, _Fitted]) -> dict[str, float]:
    item = own.get("in_wall_humidity")
    if item is None:
        return {}
    fit, level = item.fit, item.level
    beyond = ~np.isfinite(level.high)
    recent = slice(-4, None)
    return {
        "wall_humidity": (float(np.clip(fit.level, 40, 104)) - 85) / 10,
        "wall_humidity_rate": _signed_root(fit.rate),
        "wall_humidity_beyond": float(beyond[recent].mean()),
        "wall_humidity_low": (float(level.value[recent].min()) - 85) / 10,
    }


def _areas(own: dict[str, _Fitted], as_of: float) -> dict[str, float]:
    values: dict[str, float] = {}
    for quantity, prefix in (("hollow_area", "hollow"), ("spall_area", "spall"), ("salt_area", "salt")):
        item = own.get(quantity)
        if item is None:
            continue
        value = np.where(np.isfinite(item.level.low), item.level.low, 0.5 * item.level.high)
        last = value[-3:]
        values[prefix] = float(last.mean())
        values[f"{prefix}_rate"] = item.fit.rate * 10
        earlier = value[item.level.time >= as_of - 2 * RECENT * YEAR][:2]
        values[f"{prefix}_recent"] = float(last.mean() - earlier.mean()) * 10 if len(earlier) else np.nan
        values[f"{prefix}_significance"] = _signed_root(item.fit.rate / item.fit.rate_error)
    return values


def _air(own: dict[str, _Fitted], margins: Margins) -> dict[str, float]:
    if not len(margins):
        return {}
    recent = margins.margin[-8:]
    n = len(recent)
    face = own.get("surface_moisture")
    follows = air = np.nan
    if face is not None:
        follows = _correlation(face, margins.time, np.minimum(margins.margin, 6.0))
        air = _correlation(face, margins.time, margins.air_humidity)
    return {
        "margin": median(recent),
        "margin_low": float(np.min(recent)),
        "margin_short": float(((recent < SHORT_MARGIN).sum() + 0.3) / (n + 1)),
        "face_follows_margin": follows,
        "face_follows_air": air,
        "air": (median(margins.air_humidity[-8:]) - 60) / 10,
    }


def _correlation(face: _Fitted, days: FloatArray, value: FloatArray) -> float:
    """Correlation of the detrended face with another series on shared days: Fisher's z over its error.

    The season stays in: condensation is a season of its own.
    """
    theirs = np.searchsorted(days, face.level.time)
    theirs[theirs == len(days)] = 0
    mine = np.flatnonzero(days[theirs] == face.level.time)
    theirs = theirs[mine]
    if len(mine) < 4:
        return np.nan
    years = (face.level.time[mine] - face.level.time[-1]) / YEAR
    x = face.level.value[mine] - face.fit.rate * years
    x, y = x - x.mean(), value[theirs] - value[theirs].mean()
    scale = np.sqrt((x @ x) * (y @ y))
    if scale <= 0:
        return 0.0
    r = float(np.clip((x @ y) / scale, -0.99, 0.99))
    return float(np.arctanh(r) * np.sqrt(max(len(mine) - 3, 1)) / 2)


def _others(own: dict[str, _Fitted]) -> dict[str, float]:
    values: dict[str, float] = {}
    readers: dict[str, tuple[str, Callable[[SeasonalFit], float]]] = {
        "mortar_soft_depth": ("soft", lambda fit: np.sqrt(max(fit.level, 0.0))),
        "timber_moisture": ("timber", lambda fit: (fit.level - 18) / 5),
        "hygroscopic_moisture": ("hygroscopic", lambda fit: np.sqrt(max(fit.level, 0.0))),
    }
    for quantity, (prefix, reader) in readers.items():
        item = own.get(quantity)
        if item is not None:
            values[prefix] = float(reader(item.fit))
            values[f"{prefix}_rate"] = _signed_root(item.fit.rate)
    return values
