"""Builds readings for tests without a database."""

import numpy as np

from inspections.analysis.records import Readings, readings_from_columns

DEFAULTS = {
    "quantity": "surface_moisture",
    "unit": "relative",
    "height_mm": np.nan,
    "depth_mm": np.nan,
    "instrument": "M1",
    "point": "",
    "inspector": "A",
}


def readings(time, value, low=None, high=None, **columns) -> Readings:
    """Readings at ``time`` (n,) with ``value`` (n,); other columns are one word or number, or n of them."""
    value = np.asarray(value, dtype=float)
    low, high = (value if one is None else one for one in (low, high))
    others = {name: np.broadcast_to(columns.get(name, DEFAULTS[name]), value.shape) for name in DEFAULTS}
    return readings_from_columns({"time": time, "value": value, "low": low, "high": high, **others})


def joined(*parts: Readings) -> Readings:
    """Several sets of readings as one."""
    names = Readings.__dataclass_fields__
    return readings_from_columns({n: np.concatenate([getattr(part, n) for part in parts]) for n in names})
