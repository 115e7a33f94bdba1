"""What a section's page draws: each quantity over time, with its season removed and its marks told apart.

Lines begin with the present coat's story, as the verdict does: what stood before is shown as marks only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inspections.analysis.coats import coat_area, coat_start
from inspections.analysis.harmonic import HarmonicFit, harmonic_fit
from inspections.analysis.levels import Level
from inspections.analysis.margins import MEASURED
from inspections.analysis.monotone import Loss, cumulative_loss
from inspections.analysis.records import YEAR, BuildingRecord, FloatArray, Readings, SectionRecord, TextArray
from inspections.analysis.series import (
    AREAS,
    MOISTURE,
    PreparedBuilding,
    affected_share,
    level_of,
    prepare,
    since,
)

#: A dew-point margin of nought is where the face begins to sweat.
SWEATING = 0.0
#: Two-sided 95 % point of the normal distribution.
NORMAL_95 = 1.959964
#: Points at which a line is drawn, a year: enough for a season to look round.
CURVE_POINTS_PER_YEAR = 12
#: No line goes beyond what its unit can be.
HIGHEST = {"percent_rh": 100.0}

#: Surveys that a line through an area needs.
LEAST_SURVEYS = 3

READ, ABOVE, BELOW, ASIDE = "read", "above", "below", "aside"

#: Order from top to bottom; what is not named here follows in the order of the alphabet.
ORDER = (
    "surface_moisture",
    "deep_moisture",
    "in_wall_humidity",
    "hollow_area",
    "spall_area",
    "affected_area_fraction",
    "dew_point_margin",
)


@dataclass(frozen=True, slots=True)
class Points:
    """Readings as marks, parallel arrays (n,): ``kind`` is read, above, below or aside; NaN height: none."""

    time: FloatArray
    value: FloatArray
    kind: TextArray
    height_mm: FloatArray

    def __len__(self) -> int:
        return len(self.time)


@dataclass(frozen=True, slots=True)
class Line:
    """The season-removed level with its 95 % band, arrays (n,)."""

    time: FloatArray
    mean: FloatArray
    low: FloatArray
    high: FloatArray


@dataclass(frozen=True, slots=True)
class Curve:
    """The level with its season, arrays (n,)."""

    time: FloatArray
    value: FloatArray


@dataclass(frozen=True, slots=True)
class InstrumentChange:
    """The first day on which a section was read with another instrument."""

    time: float
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Strip:
    """One quantity on one scale over time. Times are days; ``threshold`` is in ``unit``, or None.

    ``assumed`` says what had to be taken for granted, or is "". ``reached``: the first visit under the
    present coat that found the threshold of the affected share reached, whatever else was not surveyed then.
    """

    quantity: str
    unit: str
    points: Points
    line: Line | None = None
    season: Curve | None = None
    changes: tuple[InstrumentChange, ...] = ()
    threshold: float | None = None
    assumed: str = ""
    reached: float | None = None


def section_strips(
    building: BuildingRecord, section_code: str, as_of: float, failure_threshold: float = 0.10
) -> tuple[Strip, ...]:
    """Strips of one section from what was known at the end of local day ``as_of``, ordered for the page.

    ``failure_threshold``: the affected share of a coat's area at which it has failed. A moisture quantity
    that was read on several scales has a strip for each, the latest first.
    """
    prepared = prepare(building.until(as_of))
    section = next(item for item in prepared.record.sections if item.code == section_code)
    start, area = coat_start(section, as_of), coat_area(section, as_of)
    strips: list[Strip] = []
    for quantity in prepared.levels[section_code]:
        if quantity in AREAS:
            strips.append(_of_area(prepared, section_code, quantity, start, area))
        else:
            strips += _of_quantity(prepared, section_code, quantity, start)
    strips += _computed(prepared, section, failure_threshold, start, area)
    return tuple(sorted(strips, key=_place))


def _place(strip: Strip) -> tuple[int, str]:
    known = strip.quantity in ORDER
    return (ORDER.index(strip.quantity) if known else len(ORDER)), ("" if known else strip.quantity)


def _of_quantity(prepared: PreparedBuilding, code: str, quantity: str, start: float) -> list[Strip]:
    kept, aside = prepared.kept[code].of(quantity), prepared.aside[code].of(quantity)
    level = prepared.levels[code][quantity]
    strips = []
    for unit in _units_latest_first(kept):
        own = kept.where(kept.unit == unit)
        points, changes = _points(own, aside.where(aside.unit == unit)), _changes(own)
        line, season = None, None
        if unit == level.unit:
            read = level_of(own, quantity) if quantity in MOISTURE else level
            line, season = _lines(since(level, start), read, level)
        strips.append(Strip(quantity, unit, points, line, season, changes))
    return strips


def _units_latest_first(readings: Readings) -> list[str]:
    latest: dict[str, float] = {}
    for unit, time in zip(readings.unit.tolist(), readings.time.tolist(), strict=True):
        latest[unit] = max(time, latest.get(unit, -np.inf))
    return sorted(latest, key=lambda unit: -latest[unit])


def _points(kept: Readings, aside: Readings) -> Points:
    return Points(
        np.concatenate((kept.time, aside.time)),
        np.concatenate((kept.value, aside.value)),
        np.concatenate((_kinds(kept.low, kept.high), np.full(len(aside), ASIDE))).astype(np.str_),
        np.concatenate((kept.height_mm, aside.height_mm)),
    )


def _kinds(low: FloatArray, high: FloatArray) -> npt.NDArray[np.str_]:
    return np.where(np.isinf(high), ABOVE, np.where(np.isinf(low), BELOW, READ)).astype(np.str_)


def _changes(readings: Readings) -> tuple[InstrumentChange, ...]:
    changes = []
    used = readings.instrument
    for i in range(1, len(used)):
        if used[i] != used[i - 1] and used[i] and used[i - 1] and used[i] not in used[:i]:
            changes.append(InstrumentChange(float(readings.time[i]), str(used[i - 1]), str(used[i])))
    return tuple(changes)


# Lines -----------------------------------------------------------------------------------------------------


def _lines(window: Level, read: Level, stepped: Level) -> tuple[Line | None, Curve | None]:
    """The level without and with its season, lifted onto the meter in use at each time; None: too few days.


    ``window``: the days since the present coat. ``read`` and ``stepped`` are the whole series as read, and
    as if its first meter had been kept.
    """
    fit = harmonic_fit(window.time, window.value, window.low, window.high)
    if fit is None:
        return None, None
    times = _times(window)
    offset = _offset(read, stepped, times)
    most = HIGHEST.get(window.unit, np.inf)
    mean, low, high = (np.minimum(line + offset, most) for line in fit.season_removed(times))
    seasonal = np.minimum(fit.with_season(times)[0] + offset, most)
    return Line(times, mean, low, high), Curve(times, seasonal) if _has_season(fit) else None


def _has_season(fit: HarmonicFit) -> bool:
    return bool(np.isfinite(fit.season_amplitude)) and fit.season_amplitude > 0


def _times(level: Level) -> FloatArray:
    first, last = float(level.time[0]), float(level.time[-1])
    count = max(2, int((last - first) / YEAR * CURVE_POINTS_PER_YEAR) + 1)
    return np.linspace(first, last, count)


def _offset(read: Level, stepped: Level, times: FloatArray) -> FloatArray:
    """How far the meter in use at each of ``times`` stands from the first one, as estimated for the house."""
    shift = read.value - stepped.value
    last = np.clip(np.searchsorted(stepped.time, times, side="right") - 1, 0, len(shift) - 1)
    return np.asarray(shift[last], dtype=np.float64)


def _of_area(prepared: PreparedBuilding, code: str, quantity: str, start: float, area: float) -> Strip:
    """An area: the sum of each day, with a line that never falls for what has fallen."""
    level, aside = prepared.levels[code][quantity], prepared.aside[code].of(quantity)
    points = Points(
        np.concatenate((level.time, aside.time)),
        np.concatenate((level.value, aside.value)),
        np.concatenate((_kinds(level.low, level.high), np.full(len(aside), ASIDE))).astype(np.str_),
        np.full(len(level) + len(aside), np.nan),
    )
    window = since(level, start)
    # Hollow area may shrink (what hung has fallen) and salt is brushed off: no monotone line through those.
    if quantity != "spall_area" or len(window) < LEAST_SURVEYS:
        return Strip(quantity, level.unit, points)
    loss = cumulative_loss(window.time, window.value / area, window.low / area, window.high / area)
    return Strip(quantity, level.unit, points, _loss_line(loss, area))


def _loss_line(loss: Loss | None, scale: float) -> Line | None:
    """The monotone fit as a line with its 95 % band, times ``scale``."""
    if loss is None:
        return None
    reach = NORMAL_95 * loss.error_sd
    low, high = np.maximum(loss.fit - reach, 0.0), loss.fit + reach
    return Line(loss.time, loss.fit * scale, low * scale, high * scale)


# Computed quantities ---------------------------------------------------------------------------------------


def _computed(
    prepared: PreparedBuilding, section: SectionRecord, threshold: float, start: float, area: float
) -> list[Strip]:
    strips = []
    share = _affected(prepared.levels[section.code], area)
    if share is not None:
        now = share.time >= start
        high = np.where(share.kind == ABOVE, np.inf, share.value)
        loss = cumulative_loss(share.time[now], share.value[now], share.value[now], high[now])
        line = _loss_line(loss, 1.0) if now.sum() >= LEAST_SURVEYS else None
        over = share.time[now & (share.value >= threshold)]
        reached = float(over.min()) if len(over) else None
        strips.append(
            Strip("affected_area_fraction", "share", share, line, threshold=threshold, reached=reached)
        )
    margins = prepared.margins[section.code]
    if len(margins):
        points = Points(
            margins.time, margins.margin, np.full(len(margins), READ), np.full(len(margins), np.nan)
        )
        note = "; ".join(sorted({str(words) for words in margins.assumed} - {MEASURED}))
        strips.append(Strip("dew_point_margin", "K", points, threshold=SWEATING, assumed=note))
    return strips


def _affected(levels: dict[str, Level], area: float) -> Points | None:
    """The affected share, day by day; a mark above where the survey gives only a lower bound."""
    days, low, high = affected_share(levels, area)
    if not len(days):
        return None
    kinds = np.where(low == high, READ, ABOVE).astype(np.str_)
    return Points(days, low, kinds, np.full(len(days), np.nan))
