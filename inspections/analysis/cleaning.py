"""Which readings to set aside: beyond their instrument's range, or a slip of the decimal point.

Set aside is not deleted: the reading stays as entered and is shown with the reason.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from inspections.analysis.kendall import BoolArray, IntArray
from inspections.analysis.records import FloatArray, Instrument, Readings, TextArray, numbered
from inspections.analysis.tabulating import group_medians

#: Canonical unit, factor and offset (canonical = factor * entered + offset) of the other scales that an
#: instrument may have; exact by definition, but for the curie's rounding to 37 Bq/m3.
SCALES: dict[str, tuple[str, float, float]] = {
    "degF": ("degC", 1 / 1.8, -32 / 1.8),
    "ft2": ("m2", 0.09290304, 0.0),
    "in": ("mm", 25.4, 0.0),
    "in_per_day": ("mm_per_day", 25.4, 0.0),
    "pCi_per_L": ("Bq_per_m3", 37.0, 0.0),
}
#: Units whose range an instrument's limits give where its scale was not entered.
UNITS_OF_KIND: dict[str, tuple[str, ...]] = {
    "moisture_meter": ("relative", "percent_wme", "percent_mass"),
    "hygrometer": ("percent_rh",),
    "thermometer": ("degC",),
    "crack_gauge": ("mm",),
    "radon_monitor": ("Bq_per_m3",),
    "tape": ("mm",),
}
#: Quantities that a slip of the decimal point shows in. Temperatures cross zero, and rain, starts, water and
#: levels truly vary tenfold from one day to the next.
SLIP_QUANTITIES = frozenset(
    {
        *("surface_moisture", "deep_moisture", "timber_moisture", "hygroscopic_moisture"),
        *("in_wall_humidity", "air_humidity", "outdoor_humidity", "radon"),
        *("hollow_area", "spall_area", "salt_area", "crack_width", "mortar_soft_depth"),
    }
)
#: Of these, the ones that may truly jump and stay: only later readings can call such a jump a slip.
GROWING = frozenset({"hollow_area", "spall_area", "salt_area", "crack_width", "mortar_soft_depth"})
#: Fewer readings tell nothing of a series' own spread.
LEAST_READINGS = 5
#: A reading is far off when it is this many times more or less than its neighbours in time, and this many
#: robust standard deviations of the series' logarithms; a shift under a tenth is never counted as spread.
#: Common practice: a tenfold slip on readings that scatter by up to a third.
FAR_FACTOR, FAR_DEVIATIONS, LEAST_SPREAD = 5.0, 6.0, 0.1
#: Readings within this factor of each other agree.
AGREE_FACTOR = 2.0
#: Neighbours on either side in time.
NEIGHBOURS = 3
_MAD_TO_SD = 1.4826

OUT_OF_RANGE = "outside the instrument's range"
SLIP = "about ten times off its own series"


def set_aside(readings: Readings, instruments: dict[str, Instrument]) -> tuple[Readings, Readings, TextArray]:
    """Split readings (n,) into those kept, those set aside, and for each of the latter the reason."""
    none = np.zeros(len(readings), dtype=np.int64)
    reason = faults(readings, none, none, [instruments])
    aside = reason != ""
    return readings.where(~aside), readings.where(aside), reason[aside]


def faults(
    readings: Readings, wall: IntArray, house: IntArray, instruments: Sequence[Mapping[str, Instrument]]
) -> TextArray:
    """Why each reading (n,) is to be set aside, "" where it is not.

    ``wall`` (n,) numbers the walls, each with readings sorted by time, ``house`` (n,) the houses, whose
    ``instruments`` are given in that order.
    """
    beyond = _beyond(readings, house, instruments)
    rest = np.flatnonzero(~beyond)
    reason = np.where(beyond, OUT_OF_RANGE, "").astype(f"<U{max(len(OUT_OF_RANGE), len(SLIP))}")
    reason[rest[slips(readings.where(rest), wall[rest])]] = SLIP
    return reason


def out_of_range(readings: Readings, instruments: dict[str, Instrument]) -> BoolArray:
    """Which readings (n,) lie beyond the range of their instrument, in the unit of the reading."""
    return _beyond(readings, np.zeros(len(readings), dtype=np.int64), [instruments])


def _beyond(
    readings: Readings, house: IntArray, instruments: Sequence[Mapping[str, Instrument]]
) -> BoolArray:
    (codes, code), (units, unit) = numbered(readings.instrument), numbered(readings.unit)
    met, which = np.unique((house * len(codes) + code) * len(units) + unit, return_inverse=True)
    low, high = np.full(len(met), -np.inf), np.full(len(met), np.inf)
    for i, key in enumerate(met.tolist()):
        owner, rest = divmod(key, len(codes) * len(units))
        instrument = instruments[owner].get(codes[rest // len(units)])
        if instrument is not None:
            low[i], high[i] = range_in(instrument, units[rest % len(units)])
    return np.asarray((readings.value < low[which]) | (readings.value > high[which]))


def range_in(instrument: Instrument, unit: str) -> tuple[float, float]:
    """Lowest and highest value of an instrument in ``unit``; infinite where unknown or of another unit.

    Half a step of the scale is let pass, for what rounding and a change of unit do to a reading at the end.
    """
    scale, factor, offset = SCALES.get(instrument.scale, (instrument.scale, 1.0, 0.0))
    fits = unit == scale if scale else unit in UNITS_OF_KIND.get(instrument.kind, ())
    if not fits:
        return -np.inf, np.inf
    step = instrument.resolution if instrument.resolution > 0 else 0.0
    slack = step / 2 + 1e-6 * max(abs(instrument.minimum), abs(instrument.maximum), 1.0)
    low = factor * (instrument.minimum - slack) + offset
    high = factor * (instrument.maximum + slack) + offset
    return (-np.inf if np.isnan(low) else low), (np.inf if np.isnan(high) else high)


def slips(readings: Readings, wall: IntArray | None = None) -> BoolArray:
    """Which readings (n,) are off their own series as by a slip of the decimal point.

    Series are of one ``wall`` (numbers (n,); default: all of one), quantity and unit, at one place where that
    has readings enough; each sorted by time. A reading is compared, by logarithms, with the median of its
    neighbours in time. It is no slip where the next reading, or another of that visit, bears it out; nor,
    upwards, at the end of the record: that may be a leak.
    """
    wrong = np.zeros(len(readings), dtype=bool)
    names, quantity = numbered(readings.quantity)
    units, unit = numbered(readings.unit)
    looked_at, growing = (
        np.array([name in known for name in names], dtype=bool) for known in (SLIP_QUANTITIES, GROWING)
    )
    own = np.flatnonzero(looked_at[quantity] & (readings.value > 0))
    walls = np.zeros(len(readings), dtype=np.int64) if wall is None else wall
    group = _numbers(((walls * len(names) + quantity) * len(units) + unit)[own])
    enough = np.bincount(group)[group] >= LEAST_READINGS
    own, group = own[enough], _numbers(group[enough])
    if len(own):
        wrong[own] = _slips_in(readings.where(own), group, growing[quantity[own]])
    return wrong


def places_of(readings: Readings) -> IntArray:
    """Number (n,) of the place that each reading was taken at: height, depth and point together."""
    _, place = numbered(readings.point)
    for column in (readings.depth_mm, readings.height_mm):
        # Column by column: much faster than numpy's search for distinct rows.
        index = np.unique(np.nan_to_num(column, nan=-1.0), return_inverse=True)[1]
        place = index * (int(place.max(initial=0)) + 1) + place
    return _numbers(place)


def _numbers(keys: IntArray) -> IntArray:
    """Keys (n,) renumbered from 0 without gaps, in their order."""
    return np.asarray(np.unique(keys, return_inverse=True)[1], dtype=np.int64)


def _slips_in(readings: Readings, group: IntArray, growing: BoolArray) -> BoolArray:
    """Which of the readings (n,) of several groups are slips; ``growing`` (n,): of what may jump and stay."""
    size = np.log(readings.value)
    place = places_of(readings)
    places = int(place.max()) + 1
    place = _numbers(group * places + place)
    small = np.bincount(place)[place] < LEAST_READINGS
    series = np.where(small, int(place.max()) + 1 + group, place)
    order = np.argsort(series, kind="stable")
    off, later_off, borne_out = (np.empty(len(size)) for _ in range(3))
    off[order], later_off[order], borne_out[order] = _against_neighbours(size[order], series[order])
    middle = group_medians(np.abs(off), group, int(group.max()) + 1)
    spread = np.maximum(_MAD_TO_SD * middle, LEAST_SPREAD)[group]
    far = (np.abs(off) > np.log(FAR_FACTOR)) & (np.abs(off) > FAR_DEVIATIONS * spread)
    contradicted = np.sign(off) * later_off > np.log(FAR_FACTOR) / 2
    last_and_low = np.isnan(later_off) & (off < 0)
    doubt = contradicted | ~growing & last_and_low
    visit = group * (int(readings.time.max() - readings.time.min()) + 2)
    visit = _numbers(visit + (np.floor(readings.time) - np.floor(readings.time.min())).astype(np.int64))
    supported = (np.abs(borne_out) < np.log(AGREE_FACTOR)) | _visit_moved(visit, off)
    return np.asarray(far & doubt & ~supported)


def _against_neighbours(size: FloatArray, series: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Each reading less the median of its neighbours, of those after it, and less the next; NaN: none.

    Readings (n,) follow on each other within each of the ``series``; one that is alone is off by nothing.
    """
    before, after = np.full((2, NEIGHBOURS, len(size)), np.nan)
    for lag in range(1, NEIGHBOURS + 1):
        first = np.flatnonzero(series[lag:] == series[:-lag])
        before[lag - 1, first + lag], after[lag - 1, first] = size[first], size[first + lag]
    around = _medians(np.concatenate([before, after]))
    return np.where(np.isnan(around), 0.0, size - around), size - _medians(after), size - after[0]


def _medians(table: FloatArray) -> FloatArray:
    """Median of each column (n,), NaN left out, NaN of nothing. Much faster than numpy's nanmedian."""
    ordered = np.sort(table, axis=0)
    count = np.isfinite(ordered).sum(axis=0)
    column = np.arange(table.shape[1])
    return np.asarray((ordered[np.maximum(count - 1, 0) // 2, column] + ordered[count // 2, column]) / 2)


def _visit_moved(visit: IntArray, off: FloatArray) -> BoolArray:
    """Whether another reading of the same visit has moved the same way, by more than agreement allows."""
    moved = np.zeros(len(off), dtype=bool)
    for sign in (1.0, -1.0):
        same_way = sign * off > np.log(AGREE_FACTOR)
        count = np.bincount(visit, weights=same_way)
        moved |= same_way & (count[visit] > 1)
    return moved
