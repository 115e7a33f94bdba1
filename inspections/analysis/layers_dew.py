"""Where in a section's layers dew forms in a usual year, and whether it dries out again.

The monthly method of :mod:`condensing` between two climates that were read: within the wall, where a probe
sits, and in the room. Between them lie the masonry up to the coat and the coats on the room's side, each
with the range of such materials. What the method doesn't know (liquid flow, storage, leaks) the page says.

Conductivities are typical values of EN ISO 10456, from memory; vapour resistances are those of
:mod:`materials`, and of masonry from the same table and from practice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from inspections.analysis.condensing import MONTH_DAYS, Condensing, Layer, condensing, iso_saturation
from inspections.analysis.materials import MILLIMETRES, USUAL_THICKNESS, Range, coat_sd
from inspections.analysis.psychrometrics import STANDARD_AIR_PERMEABILITY
from inspections.analysis.records import YEAR, Coat, FloatArray, Readings, SectionRecord
from inspections.analysis.usual_year import UsualYear, usual_year

#: Conductivity, W/(m K), and vapour resistance factor of masonry.
MASONRY: dict[str, tuple[float, Range]] = {
    "rubble_stone": (2.0, Range(15, 40, 150)),
    "coursed_stone": (2.0, Range(20, 60, 200)),
    "brick": (0.8, Range(8, 12, 20)),
    "concrete_block": (1.1, Range(6, 12, 30)),
    "poured_concrete": (1.8, Range(60, 100, 150)),
    "": (1.5, Range(10, 30, 150)),
}
#: Conductivity of what is on it, by kind or by binder, W/(m K); films and paints hold no heat back.
INSULATION, BOARD, MORTAR = 0.04, 0.25, 0.9
BY_BINDER = {"portland_cement": 1.2, "gypsum": 0.4, "clay": 0.7, "lime_putty": 0.8}
#: A lining's board where its thickness was not written down, mm; depth of a probe, mm, likewise.
BOARD_MM, PROBE_MM = 12.5, 100.0
#: Least masonry between a probe and the coat, m; least sd of a layer, m, so that planes stay apart.
LEAST_MASONRY, LEAST_SD = 0.02, 1e-3
#: Only readings of so many years back make the usual year: habits of heating change.
YEARS_BACK = 5.0
#: What must have been read, and what may be.
NEEDED = ("air_temperature", "air_humidity", "in_wall_temperature")
OPTIONAL = "in_wall_humidity"
#: Dew, g/m2, not worth a word; planes nearer than this, m of sd, are one.
_NOTHING, _APART = 0.5, 1e-9


@dataclass(frozen=True, slots=True)
class Missing:
    """Why nothing can be said: no coats, or quantities and the quarters of the year in which each lacks."""

    no_coats: bool
    lacking: tuple[tuple[str, tuple[str, ...]], ...] = ()


@dataclass(frozen=True, slots=True)
class Plane:
    """A place between two layers, by the coats on its two sides (None: the masonry, or the room).

    ``flow`` (12,): g/m2 that condense in a month, below nought where they dry; ``stock`` (12,): held at the
    month's end. Both with typical materials.
    """

    behind: Coat | None
    before: Coat | None
    flow: FloatArray
    stock: FloatArray


@dataclass(frozen=True, slots=True)
class Dew:
    """Dew of a usual year: ``held`` (12,) at each month's end over all planes, g/m2, and from the driest to
    the wettest of the cases of materials and bounds (``least``, ``most``).

    ``passing`` (12,): vapour in g/m2 that goes from the wall to the room in a month, below nought from the
    room into the wall, where it may condense beyond the probe; typical materials, as if no dew were in the
    way. ``left`` is how many g/m2 a year stay for good with typical materials; ``dries`` of the cases say
    that nothing does. ``wall_humidity_read`` is False where 100 % was assumed in the wall.
    """

    planes: tuple[Plane, ...]
    held: FloatArray
    passing: FloatArray
    least: FloatArray
    most: FloatArray
    left: float
    dries: int
    cases: int
    room: Mapping[str, UsualYear]
    wall: Mapping[str, UsualYear]
    wall_humidity_read: bool
    depth_mm: float
    depth_read: bool
    masonry_m: float
    coats: tuple[Coat, ...]

    @property
    def is_dry(self) -> bool:
        """Whether next to nothing condenses in any case."""
        return float(self.most.max()) < _NOTHING


def standing_coats(section: SectionRecord, day: float) -> tuple[Coat, ...]:
    """The coats on the room's side on ``day``, from the wall outward."""
    own = [
        coat
        for coat in section.coats
        if coat.applied <= day < coat.removed
        and coat.face != "outside"
        and coat.purpose != "patch"
        and coat.kind not in {"repointing", "injection"}
    ]
    return tuple(sorted(own, key=lambda coat: (coat.layer, coat.applied)))


def dew_in_layers(
    section: SectionRecord, house: Readings, day: float, logged: Mapping[str, tuple[FloatArray, FloatArray]]
) -> Dew | Missing:
    """The dew of a usual year as known on ``day``.

    ``house``: the readings of the house as a whole. ``logged``: by quantity further days and values, daily
    means of what a logger recorded in the section or the house.
    """
    coats = standing_coats(section, day)
    if not coats:
        return Missing(no_coats=True)
    since = day - YEARS_BACK * YEAR
    series = {
        name: _values(name, (section.readings, house), since, day, logged) for name in (*NEEDED, OPTIONAL)
    }
    years = {name: usual_year(time, low) for name, (time, low, _) in series.items()}
    lacking = tuple((name, years[name].missing) for name in NEEDED if years[name].months is None)
    if lacking:
        return Missing(no_coats=False, lacking=lacking)
    time, low, high = series[OPTIONAL]
    humid = [usual_year(time, bound).months for bound in (low, high)]
    read = humid[0] is not None
    bounds = [np.clip(one, 1.0, 100.0) for one in humid if one is not None] or [np.full(12, 100.0)]
    depth, depth_read = _depth(section.readings)
    thickness = sum(_thickness(coat) for coat in coats)
    masonry = max(depth / MILLIMETRES - thickness, LEAST_MASONRY)
    warmth = _months(years["in_wall_temperature"])
    air = _months(years["air_temperature"]), np.clip(_months(years["air_humidity"]), 1.0, 100.0)
    room = list(zip(*air, strict=True))
    cases = [
        (size, _case(section, coats, masonry, size, list(zip(warmth, bound, strict=True)), room))
        for size in range(3)
        for bound in bounds
    ]
    held = np.array([one.stock.sum(axis=1) for _, one in cases])
    usual = [one for size, one in cases if size == 1]
    return Dew(
        planes=_planes(coats, [layer.sd for layer in _layers(section, coats, masonry, 1)], usual),
        held=np.mean([one.stock.sum(axis=1) for one in usual], axis=0),
        least=held.min(axis=0),
        most=held.max(axis=0),
        passing=_passing(usual[0].at[-1], warmth, np.mean(bounds, axis=0), *air),
        left=float(np.mean([one.flow.sum() for one in usual])),
        dries=sum(one.dries for _, one in cases),
        cases=len(cases),
        room={name: years[name] for name in NEEDED[:2]},
        wall={name: years[name] for name in (NEEDED[2], OPTIONAL)},
        wall_humidity_read=read,
        depth_mm=depth,
        depth_read=depth_read,
        masonry_m=masonry,
        coats=coats,
    )


Climate = Sequence[tuple[float, float]]


def _case(
    section: SectionRecord, coats: Sequence[Coat], masonry: float, size: int, wall: Climate, room: Climate
) -> Condensing:
    return condensing(_layers(section, coats, masonry, size), wall, room, outer=0.0)


def _passing(
    sd: float, wall_t: FloatArray, wall_rh: FloatArray, room_t: FloatArray, room_rh: FloatArray
) -> FloatArray:
    drop = (iso_saturation(wall_t) * wall_rh - iso_saturation(room_t) * room_rh) / 100
    seconds = np.array(MONTH_DAYS) * 86400.0
    return np.asarray(1000 * STANDARD_AIR_PERMEABILITY * drop / sd * seconds)


def _months(year: UsualYear) -> FloatArray:
    assert year.months is not None
    return year.months


def _values(
    quantity: str,
    sources: Sequence[Readings],
    since: float,
    day: float,
    logged: Mapping[str, tuple[FloatArray, FloatArray]],
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Times, and lower and upper bounds of the values, of the years before ``day``."""
    parts = []
    for readings in sources:
        own = readings.of(quantity)
        own = own.where((own.time > since) & (np.floor(own.time) <= day))
        parts.append((own.time, own.low, own.high))
    time, value = logged.get(quantity, (np.zeros(0), np.zeros(0)))
    recent = (time > since) & (time <= day)
    parts.append((time[recent], value[recent], value[recent]))
    found, low, high = (np.concatenate(column) for column in zip(*parts, strict=True))
    top = 100.0 if quantity.endswith("humidity") else np.inf
    floor = 0.0 if quantity.endswith("humidity") else -np.inf
    return found, np.maximum(low, floor), np.minimum(high, top)


def _depth(readings: Readings) -> tuple[float, bool]:
    own = readings.depth_mm[np.isin(readings.quantity, (NEEDED[2], OPTIONAL))]
    known = own[np.isfinite(own) & (own > 0)]
    return (float(np.median(known)), True) if len(known) else (PROBE_MM, False)


def _thickness(coat: Coat) -> float:
    """Thickness, m; films have none."""
    if coat.thickness_mm > 0:
        return coat.thickness_mm / MILLIMETRES
    if coat.kind in USUAL_THICKNESS:
        return USUAL_THICKNESS[coat.kind].typical / MILLIMETRES
    return BOARD_MM / MILLIMETRES if coat.kind == "lining" else 0.0


def _conductivity(coat: Coat) -> float:
    if coat.kind == "insulation":
        return INSULATION
    if coat.kind == "lining":
        return BOARD
    return BY_BINDER.get(coat.binder, MORTAR)


def _layers(section: SectionRecord, coats: Sequence[Coat], masonry: float, size: int) -> list[Layer]:
    """From the probe to the room; ``size`` 0, 1 or 2: the least, the typical, the greatest resistance."""
    conductivity, mu = MASONRY.get(section.substrate, MASONRY[""])
    factor = (mu.low, mu.typical, mu.high)[size]
    found = [Layer(masonry / conductivity, max(factor * masonry, LEAST_SD))]
    for coat in coats:
        typical, low, high = coat_sd(coat)
        found.append(Layer(_thickness(coat) / _conductivity(coat), max((low, typical, high)[size], LEAST_SD)))
    return found


def _planes(coats: Sequence[Coat], sds: Sequence[float], usual: Sequence[Condensing]) -> tuple[Plane, ...]:
    """The planes on which dew forms, from the wall on; those within a split layer are one, its inside."""
    at = usual[0].at
    flow = np.mean([one.flow for one in usual], axis=0)
    stock = np.mean([one.stock for one in usual], axis=0)
    edges = [0.0, *np.cumsum(sds).tolist()]
    sides: list[Coat | None] = [None, *coats, None]
    found = []
    for number, (before, after) in enumerate(pairwise(edges)):
        inside = (at > before + _APART) & (at < after - _APART)
        edge = np.abs(at - after) <= _APART
        for mask, beyond in ((inside, sides[number]), (edge, sides[number + 1])):
            held = stock[:, mask].sum(axis=1)
            if mask.any() and held.max() >= _NOTHING:
                found.append(Plane(sides[number], beyond, flow[:, mask].sum(axis=1), held))
    return tuple(found)
