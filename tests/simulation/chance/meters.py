"""Instruments: what they make of the truth, from the hand that holds them to the number on the sheet."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tests.simulation.book import Row
from tests.simulation.chance.places import House
from tests.simulation.chance.weather import Rng

#: Scales of moisture meters: least and greatest number shown, resolution, and the number of a dry wall.
SCALES = {
    "relative": ((0.0, 100.0, 1.0, 8.0), (0.0, 199.0, 1.0, 25.0), (0.0, 98.0, 1.0, 12.0)),
    "percent_wme": ((6.0, 60.0, 0.1, 9.0), (5.0, 28.0, 0.1, 8.0), (7.0, 40.0, 0.1, 10.0)),
    "percent_mass": ((0.0, 20.0, 0.1, 1.0), (0.0, 12.0, 0.1, 0.8)),
}
#: Share of readings that slip by a factor of ten.
SLIPS = 0.001


@dataclass(frozen=True, slots=True)
class Meter:
    """A moisture meter. ``gain`` and ``bend`` shape its answer to wetness 0 to 1; ``depth`` is how much of
    the wetness behind a thin coat it feels at the face; ``salt`` what salt adds; ``noise`` a share of span.
    """

    code: str
    scale: str
    low: float
    high: float
    resolution: float
    dry: float
    gain: float
    bend: float
    depth: float
    salt: float
    noise: float
    told: bool

    def row(self) -> Row:
        """Its line of instruments.csv."""
        row: Row = {"code": self.code, "kind": "moisture_meter", "scale": self.scale}
        if self.told:
            row |= {"minimum": self.low, "maximum": self.high, "resolution": self.resolution}
            row["repeatability"] = round(self.noise * (self.high - self.low), 2)
        return row

    def read(self, rng: Rng, wetness: float, salt: float = 0.0) -> tuple[float, str]:
        """The number shown and its qualifier."""
        answer = self.gain * np.clip(wetness, 0, 1.2) ** self.bend + self.salt * salt
        value = self.dry + (self.high - self.dry) * answer
        value += rng.normal(0, self.noise * (self.high - self.low))
        return ended(round(value / self.resolution) * self.resolution, self.low, self.high)


def ended(value: float, low: float, high: float) -> tuple[float, str]:
    """A value at the ends of its scale."""
    if value > high:
        return high, ">"
    if value < low:
        return low, "<"
    return round(float(value), 3), ""


def draw_meter(rng: Rng, code: str) -> Meter:
    """A meter of any make."""
    scale = str(rng.choice(list(SCALES), p=(0.5, 0.38, 0.12)))
    low, high, resolution, dry = SCALES[scale][rng.integers(len(SCALES[scale]))]
    pins = scale == "percent_wme"
    return Meter(
        code=code,
        scale=scale,
        low=low,
        high=high,
        resolution=resolution,
        dry=dry * float(rng.uniform(0.8, 1.25)),
        gain=float(rng.uniform(0.8, 1.1)),
        bend=float(rng.uniform(0.6, 1.3)),
        depth=float(rng.beta(3, 4) if pins else rng.beta(4, 2.5)),
        salt=float(rng.uniform(0.05, 0.25) if pins else rng.uniform(0, 0.08)),
        noise=float(rng.uniform(0.012, 0.035)),
        told=bool(rng.random() < 0.85),
    )


def another(rng: Rng, meter: Meter, code: str) -> Meter:
    """The meter that takes a meter's place: mostly of the same make, which never reads quite the same."""
    if rng.random() < 0.25:
        return draw_meter(rng, code)
    gain, dry = meter.gain * rng.lognormal(0, 0.05), meter.dry * rng.lognormal(0, 0.1)
    return replace(meter, code=code, gain=float(gain), dry=float(dry))


@dataclass(slots=True)
class Bag:
    """The instruments of a house in time: meters with the day from which each is used, and the hygrometer."""

    face: list[tuple[float, Meter]]
    deep: list[tuple[float, Meter]]
    hygrometer: str
    humid_bias: float
    warm_bias: float
    probe_end: float

    def at(self, day: float, *, deep: bool = False) -> Meter:
        """The moisture meter in use."""
        return [meter for since, meter in (self.deep if deep else self.face) if since <= day][-1]


def draw_bag(rng: Rng, house: House) -> Bag:
    """Meters from the day care begins, replaced once in sixteen years, mostly by one of the same make."""
    lists = []
    for part in ("F", "D"):
        since, number, used = -np.inf, 1, list[tuple[float, Meter]]()
        meter = draw_meter(rng, f"{house.code}-{part}1")
        while since < house.end:
            used.append((since, meter))
            since = (house.begin if number == 1 else since) + rng.exponential(16 * 365.0)
            number += 1
            meter = another(rng, meter, f"{house.code}-{part}{number}")
        lists.append(used)
    return Bag(
        face=lists[0],
        deep=lists[1],
        hygrometer=f"{house.code}-H" if rng.random() < 0.7 else "",
        humid_bias=float(rng.normal(0, 2.5)),
        warm_bias=float(rng.normal(0, 0.4)),
        probe_end=float(rng.choice((95.0, 98.0, 100.0))),
    )


@dataclass(frozen=True, slots=True)
class Inspector:
    """Somebody who goes round: habits as chances, biases as factors or shares, areas in m²."""

    name: str
    lean: float
    sounds: float
    misses: float
    finds: float
    areas: float
    zeros: bool
    cold: float
    hour: float


def draw_inspector(rng: Rng, number: int) -> Inspector:
    """One of the people of a house."""
    return Inspector(
        name=f"P{number}",
        lean=float(rng.normal(0, 0.02)),
        sounds=float(rng.beta(4, 1.5)),
        misses=float(rng.beta(1.2, 9)),
        finds=float(rng.lognormal(np.log(0.04), 0.6)),
        areas=float(rng.lognormal(0, 0.15)),
        zeros=bool(rng.random() < 0.5),
        cold=float(rng.beta(5, 2)),
        hour=float(rng.uniform(8.5, 16)),
    )


def slip(rng: Rng, value: float) -> float:
    """A value, once in a while ten times too great or too small."""
    if rng.random() < SLIPS:
        return round(value * float(rng.choice((10.0, 0.1))), 3)
    return value
