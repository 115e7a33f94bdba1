"""Moisture within a wall over a year: the monthly method of ISO 13788 for interstitial condensation.

Steady heat and vapour through a stack of layers, month by month (Glaser 1959; EN ISO 13788, from memory,
checked against a public worked case). It knows no liquid flow, no rising damp, no air leakage and no storage,
and so is no verdict on a wall below grade: it says only whether a stack, dry otherwise, would be wetted from
the room's air. Temperatures in degC, humidities in percent, thermal resistances in m2 K/W, amounts in g/m2.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inspections.analysis.psychrometrics import STANDARD_AIR_PERMEABILITY
from inspections.analysis.records import FloatArray

#: Surface resistances of ISO 13788, m2 K/W: inside for heat flow, inside against mould, outside.
INSIDE, INSIDE_MOULD, OUTSIDE = 0.13, 0.25, 0.04
#: Thermal resistance above which a layer is split, m2 K/W (ISO 13788).
SPLIT_ABOVE = 0.25
#: Relative humidity at a face from which mould may grow, percent (ISO 13788).
MOULD_HUMIDITY = 80.0
#: Days of the months, a year without leap day.
MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
_SECONDS, _GRAMS = 86400.0, 1000.0


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer, by its thermal resistance (m2 K/W) and its vapour resistance sd (m of still air)."""

    resistance: float
    sd: float


@dataclass(frozen=True, slots=True)
class Condensing:
    """Amounts by interface between (split) layers, outside to room; ``at`` (k,) is the sd from outside, m.

    ``flow`` (months, k): g/m2 condensed, below zero where it evaporates. ``stock`` (months, k): g/m2 held at
    each month's end, in the order of the months given. ``dries`` says whether nothing is left over the year.
    """

    at: FloatArray
    flow: FloatArray
    stock: FloatArray
    dries: bool

    @property
    def peak(self) -> float:
        """Largest amount held at once, g/m2."""
        return float(self.stock.sum(axis=1).max(initial=0.0))


def iso_saturation(t_c: FloatArray | float) -> FloatArray:
    """Saturation pressure, Pa, in the form of ISO 13788: 610.5 exp(17.269 t / (237.3 + t)), ice below 0."""
    t = np.asarray(t_c, dtype=float)
    water = 610.5 * np.exp(17.269 * t / (237.3 + t))
    ice = 610.5 * np.exp(21.875 * t / (265.5 + t))
    return np.where(t >= 0, water, ice)


def interface_temperatures(
    layers: Sequence[Layer], outside: float, inside: float, outer: float = OUTSIDE, inner: float = INSIDE
) -> FloatArray:
    """Temperatures, degC, at the outer face, between layers and at the inner face, shape (layers + 1,)."""
    steps = np.array([outer, *(layer.resistance for layer in layers)])
    share = np.cumsum(steps) / (steps.sum() + inner)
    return np.asarray(outside + (inside - outside) * share, dtype=float)


def condensing(
    layers: Sequence[Layer],
    outside: Sequence[tuple[float, float]],
    inside: Sequence[tuple[float, float]],
    days: Sequence[float] = MONTH_DAYS,
    outer: float = OUTSIDE,
    inner: float = INSIDE,
) -> Condensing:
    """A year's condensation in ``layers`` (outside to room), by months of (temperature, humidity) a side.

    Against soil ``outer`` is 0. The year starts with the first month that condenses after one that doesn't.
    """
    fine = [part for layer in layers for part in _split(layer)]
    x = np.concatenate([[0.0], np.cumsum([layer.sd for layer in fine])])
    months = len(days)
    saturation = np.empty((months, len(x)))
    ends = np.empty((months, 2))
    for month, ((t_out, h_out), (t_in, h_in)) in enumerate(zip(outside, inside, strict=True)):
        saturation[month] = iso_saturation(interface_temperatures(fine, t_out, t_in, outer, inner))
        ends[month] = iso_saturation(t_out) * h_out / 100, iso_saturation(t_in) * h_in / 100
    dry = np.zeros(len(x), dtype=bool)
    wets = [bool(_flow(x, saturation[m], ends[m], dry).max() > 0) for m in range(months)]
    first = next((m for m in range(months) if wets[m] and not wets[m - 1]), 0)
    flow, stock = np.zeros((months, len(x))), np.zeros((months, len(x)))
    held = np.zeros(len(x))
    for month in [(first + k) % months for k in range(months)]:
        seconds = days[month] * _SECONDS
        rate = _flow(x, saturation[month], ends[month], held > 0)
        change = np.maximum(rate * seconds * _GRAMS, -held)
        held = held + change
        flow[month], stock[month] = change, held
    return Condensing(x, flow, stock, bool(held.sum() <= 0))


def least_temperature_factor(outside: float, inside: float, humidity: float) -> float:
    """Least f_Rsi at which an inside face stays under 80 % relative humidity (ISO 13788).

    ``outside`` and ``inside`` in degC, ``humidity`` of the room in percent. The face must not be colder than
    f_Rsi times the way from outside to the room's air.
    """
    pressure = iso_saturation(inside) * humidity / MOULD_HUMIDITY
    log = np.log(pressure / 610.5)
    face = 237.3 * log / (17.269 - log) if pressure >= 610.5 else 265.5 * log / (21.875 - log)
    return float((face - outside) / (inside - outside))


def temperature_factor(layers: Sequence[Layer], outer: float = OUTSIDE, inner: float = INSIDE_MOULD) -> float:
    """f_Rsi of the stack: what share of the way from outside to room air its inner face keeps (ISO 13788)."""
    total = outer + sum(layer.resistance for layer in layers) + inner
    return 1 - inner / total


def _split(layer: Layer) -> list[Layer]:
    parts = max(1, int(np.ceil(layer.resistance / SPLIT_ABOVE - 1e-9)))
    return [Layer(layer.resistance / parts, layer.sd / parts)] * parts


def _flow(
    x: FloatArray, saturation: FloatArray, ends: FloatArray, wet: np.ndarray[tuple[int], np.dtype[np.bool_]]
) -> FloatArray:
    """Condensation rate at each interface, kg/(m2 s): vapour in from the room less vapour out to the outside.

    The pressure is the lower hull between the two ends of what saturation allows, held at saturation where an
    interface is wet.
    """
    limit = saturation.copy()
    limit[0], limit[-1] = ends
    vertices = [0]
    anchors = [*np.flatnonzero(wet[1:-1]) + 1, len(x) - 1]
    for anchor in anchors:
        vertices += _hull(x, limit, vertices[-1], int(anchor))
    pressure = np.interp(x, x[vertices], limit[vertices])
    rate = np.zeros(len(x))
    for before, at, after in zip(vertices, vertices[1:], vertices[2:], strict=False):
        into = (pressure[after] - pressure[at]) / (x[after] - x[at])
        out = (pressure[at] - pressure[before]) / (x[at] - x[before])
        rate[at] = STANDARD_AIR_PERMEABILITY * (into - out)
    return rate


def _hull(x: FloatArray, limit: FloatArray, start: int, end: int) -> list[int]:
    """Vertices after ``start`` of the lower convex hull of (x, limit) from ``start`` to ``end``."""
    chain = [start]
    for point in range(start + 1, end + 1):
        while len(chain) > 1 and _above(x, limit, chain[-2], chain[-1], point):
            chain.pop()
        if x[point] > x[chain[-1]]:
            chain.append(point)
    return chain[1:]


def _above(x: FloatArray, limit: FloatArray, first: int, middle: int, last: int) -> bool:
    """Whether ``middle`` lies on or above the line from ``first`` to ``last``."""
    slope = (limit[last] - limit[first]) / (x[last] - x[first])
    return bool(limit[middle] >= limit[first] + slope * (x[middle] - x[first]))
