"""The instruments of each house, and when one was changed for another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.simulation.book import Book

from .plan import House, Plan
from .style import Style

#: Quantities of each kit, from the least to the full; every kit has those before it.
KITS: tuple[tuple[str, ...], ...] = (
    ("surface_moisture", "air_temperature", "air_humidity", "spall_area"),
    ("hollow_area", "surface_temperature"),
    ("deep_moisture", "salt_area", "crack_width"),
    (
        "in_wall_humidity",
        "in_wall_temperature",
        "hygroscopic_moisture",
        "mortar_soft_depth",
        "timber_moisture",
        "outdoor_temperature",
        "outdoor_humidity",
    ),
)


@dataclass(frozen=True, slots=True)
class Meter:
    """A moisture meter: it shows ``offset + gain * relative`` on its scale, up to ``maximum``."""

    code: str
    scale: str
    maximum: float
    resolution: float
    offset: float
    gain: float


@dataclass(frozen=True, slots=True)
class HouseKit:
    """A house's instruments; the second meter is used from ``swap`` (a share of the record, 1 for never)."""

    quantities: frozenset[str]
    meters: tuple[Meter, Meter]
    swap: float
    hygrometer: str
    hygrometer_bias: float
    hygrometer_drift: float
    hygrometer_end: float
    thermometer: str
    heights: tuple[int, ...]
    depth: int
    air_by_section: bool
    repeats: int


def draw_kit(rng: np.random.Generator, style: Style, plan: Plan, index: int, book: Book) -> HouseKit:
    """The kit of one house; writes its instruments into the book."""
    house = plan.houses[index]
    number = index + 1
    first = _draw_meter(rng, style, f"M{number:02d}A", "relative", first=True)
    scale = "percent_wme" if rng.random() < style.new_scale_share else "relative"
    second = _draw_meter(rng, style, f"M{number:02d}B", scale, first=False)
    swaps = rng.random() < style.swap_share
    end = float(rng.choice([95.0, 97.0, 98.0, 99.0, 100.0]))
    for meter in (first, second)[: 2 if swaps else 1]:
        _add(book, meter.code, "moisture_meter", meter.scale, 0, meter.maximum, meter.resolution, 3)
    hygrometer, thermometer = f"HY{number:02d}", f"TH{number:02d}"
    _add(book, hygrometer, "hygrometer", "percent_rh", 5, end, 0.1, 2)
    unit = "degF" if house.customary else "degC"
    _add(book, thermometer, "thermometer", unit, *((-4, 140) if house.customary else (-20, 60)), 0.1, 0.5)
    return HouseKit(
        quantities=frozenset(_draw_quantities(rng, house)),
        meters=(first, second),
        swap=float(rng.uniform(0.2, 0.8)) if swaps else 1.0,
        hygrometer=hygrometer,
        hygrometer_bias=float(rng.normal(0.0, 1.5)),
        hygrometer_drift=float(rng.normal(0.0, 0.15)),
        hygrometer_end=end,
        thermometer=thermometer,
        heights=((200, 900, 1500), (200, 900, 1500), (300, 1200), (1000,))[rng.integers(4)],
        depth=int(rng.choice([60, 80, 100, 150])),
        air_by_section=bool(rng.random() < 0.4),
        repeats=int(rng.choice([1, 3], p=[0.88, 0.12])),
    )


def _draw_quantities(rng: np.random.Generator, house: House) -> list[str]:
    """The house's kit, of which a quantity is now and then missing; never the face, nor the fallen area."""
    quantities = [name for part in KITS[: house.kit + 1] for name in part]
    always = {"surface_moisture", "spall_area", "air_temperature", "air_humidity"}
    return [name for name in quantities if name in always or rng.random() < 0.85]


def _draw_meter(rng: np.random.Generator, style: Style, code: str, scale: str, *, first: bool) -> Meter:
    offset = 0.0 if first else float(rng.normal(0.0, style.meter_step))
    gain = 1.0 if first else float(rng.lognormal(0.0, 0.05))
    resolution = float(rng.choice([0.1, 1.0, 1.0]))
    if scale == "relative":
        return Meter(code, scale, float(rng.choice([100.0, 100.0, 199.0])), resolution, offset, gain)
    return Meter(code, scale, 40.0, 0.1, 6.0 + 0.3 * offset, 0.3 * gain)


def _add(
    book: Book,
    code: str,
    kind: str,
    scale: str,
    minimum: float,
    maximum: float,
    resolution: float,
    repeatability: float,
) -> None:
    book.add(
        "instruments",
        code=code,
        kind=kind,
        scale=scale,
        minimum=minimum,
        maximum=maximum,
        resolution=resolution,
        repeatability=repeatability,
    )
