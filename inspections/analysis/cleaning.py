"""Which readings to set aside: beyond their instrument's range, or a slip of the decimal point.

Set aside is not deleted: the reading stays as entered and is shown with the reason.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from inspections.analysis.records import FloatArray, Instrument, Readings, TextArray

BoolArray = npt.NDArray[np.bool_]

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
    beyond = out_of_range(readings, instruments)
    slipped = np.zeros(len(readings), dtype=bool)
    rest = np.flatnonzero(~beyond)
    slipped[rest[slips(readings.where(~beyond))]] = True
    aside = beyond | slipped
    reasons = np.where(beyond, OUT_OF_RANGE, SLIP)[aside]
    return readings.where(~aside), readings.where(aside), reasons


def out_of_range(readings: Readings, instruments: dict[str, Instrument]) -> BoolArray:
    """Which readings (n,) lie beyond the range of their instrument, in the unit of the reading."""
    beyond = np.zeros(len(readings), dtype=bool)
    for code in np.unique(readings.instrument):
        instrument = instruments.get(str(code))
        if instrument is None:
            continue
        mine = readings.instrument == code
        for unit in np.unique(readings.unit[mine]):
            low, high = range_in(instrument, str(unit))
            value = readings.value
            beyond |= mine & (readings.unit == unit) & ((value < low) | (value > high))
    return beyond


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


def slips(readings: Readings) -> BoolArray:
    """Which readings (n,) are off their own series as by a slip of the decimal point.

    Series are of one quantity and unit, at one place where that has readings enough. A reading is compared,
    by logarithms, with the median of its neighbours in time. It is no slip where the next reading, or another
    of that visit, bears it out; nor, upwards, at the end of the record: that may be a leak.
    """
    wrong = np.zeros(len(readings), dtype=bool)
    for quantity in np.unique(readings.quantity):
        if quantity not in SLIP_QUANTITIES:
            continue
        for unit in np.unique(readings.unit[readings.quantity == quantity]):
            mine = (readings.quantity == quantity) & (readings.unit == unit) & (readings.value > 0)
            where = np.flatnonzero(mine)
            if len(where) >= LEAST_READINGS:
                wrong[where] = _slips_in(readings.where(mine), quantity in GROWING)
    return wrong


def places_of(readings: Readings) -> npt.NDArray[np.int64]:
    """Number (n,) of the place that each reading was taken at: height, depth and point together."""
    place = np.zeros(len(readings), dtype=np.int64)
    for column in (
        np.nan_to_num(readings.height_mm, nan=-1.0),
        np.nan_to_num(readings.depth_mm, nan=-1.0),
        readings.point,
    ):
        # Column by column: much faster than numpy's search for distinct rows.
        known, index = np.unique(column, return_inverse=True)
        place = place * len(known) + index
    return np.asarray(np.unique(place, return_inverse=True)[1], dtype=np.int64)


def _slips_in(readings: Readings, growing: bool) -> BoolArray:
    size = np.log(readings.value)
    place = places_of(readings)
    small = np.bincount(place)[place] < LEAST_READINGS
    off, later_off, borne_out = (np.full(len(size), fill) for fill in (0.0, np.nan, np.nan))
    for series in [*(place == one for one in np.unique(place[~small])), small]:
        own = np.flatnonzero(series)
        if len(own):
            off[own], later_off[own], borne_out[own] = _against_neighbours(size[own])
    spread = max(_MAD_TO_SD * float(np.median(np.abs(off))), LEAST_SPREAD)
    far = (np.abs(off) > np.log(FAR_FACTOR)) & (np.abs(off) > FAR_DEVIATIONS * spread)
    contradicted = np.sign(off) * later_off > np.log(FAR_FACTOR) / 2
    last_and_low = np.isnan(later_off) & (off < 0)
    doubt = contradicted if growing else contradicted | last_and_low
    supported = (np.abs(borne_out) < np.log(AGREE_FACTOR)) | _visit_moved(np.floor(readings.time), off)
    return np.asarray(far & doubt & ~supported)


def _against_neighbours(size: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Each reading less the median of its neighbours, of those after it, and less the next; NaN: none."""
    n = len(size)
    padded = np.concatenate([np.full(NEIGHBOURS, np.nan), size, np.full(NEIGHBOURS, np.nan)])
    window = np.lib.stride_tricks.sliding_window_view(padded, 2 * NEIGHBOURS + 1)
    around = np.delete(window, NEIGHBOURS, axis=1)
    if n < 2:
        return np.zeros(n), np.full(n, np.nan), np.full(n, np.nan)
    later = np.full(n, np.nan)
    later[:-1] = _row_medians(window[:-1, NEIGHBOURS + 1 :])
    return size - _row_medians(around), size - later, size - window[:, NEIGHBOURS + 1]


def _row_medians(table: FloatArray) -> FloatArray:
    """Median of each row (n,), NaN left out; each row holds a number. Much faster than numpy's nanmedian."""
    ordered = np.sort(table, axis=1)
    count = np.isfinite(ordered).sum(axis=1)
    row = np.arange(len(table))
    return np.asarray((ordered[row, (count - 1) // 2] + ordered[row, count // 2]) / 2)


def _visit_moved(day: FloatArray, off: FloatArray) -> BoolArray:
    """Whether another reading of the same day has moved the same way, by more than agreement allows."""
    _, visit = np.unique(day, return_inverse=True)
    moved = np.zeros(len(off), dtype=bool)
    for sign in (1.0, -1.0):
        same_way = sign * off > np.log(AGREE_FACTOR)
        count = np.bincount(visit, weights=same_way)
        moved |= same_way & (count[visit] > 1)
    return moved
