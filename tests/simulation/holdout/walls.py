"""The walls themselves: two zones of water behind a coat, a grid of cells that comes loose, and the truth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.simulation.book import CLASSES, Row
from tests.simulation.holdout.coats import Layer, make_layer
from tests.simulation.holdout.places import MONTH, SPIN_UP, Array, Index, Place, saturation

Flags = npt.NDArray[np.bool_]

#: The limits of the truth, told in the package.
CLOSED_SD, HELD, SHOWS, GIVEN_OFF, DEW, WORN = 0.45, 0.5, 4.0, 0.4, 40.0, 0.02

ROWS, COLUMNS = 10, 20  # cells of a coat
FILM = 0.012  # m of still air
ZONE = 0.10  # m that a drying front can draw back
WALL_MU = 40.0  # of the part that has dried
#: kg/(m·s·Pa) of ISO 13788, times a day, in g: g/m² a day for each Pa and metre.
DELTA = 2e-10 * 86400 * 1000

#: Shares: of coats met first, of coats over them at the purchase, of works since, and of what seals.
FOUND = {"lime": 0.28, "hydraulic": 0.17, "compo": 0.12, "cement": 0.15, "gypsum": 0.06, "pointing": 0.16}
OVER_FOUND = {
    "": 0.55,
    "limewash": 0.15,
    "emulsion": 0.09,
    "gloss": 0.09,
    "silicate": 0.05,
    "tar": 0.05,
    "resin": 0.04,
}
WORKS = {"": 0.58, "seal": 0.15, "open": 0.16, "dense": 0.07, "board": 0.04}
AFTER_FAILURE = {"lime": 0.45, "hydraulic": 0.35, "cement": 0.20}
SEALS = {"gloss": 0.32, "resin": 0.26, "tar": 0.24, "sheet": 0.08, "emulsion": 0.10}


def pick(rng: np.random.Generator, shares: dict[str, float]) -> str:
    """One of the keys, by its share."""
    names = list(shares)
    weight = np.array(list(shares.values()))
    return names[int(rng.choice(len(names), p=weight / weight.sum()))]


@dataclass(slots=True)
class Wall:
    """Facts and histories of a book's sections; histories have shape (months, sections)."""

    place: Place
    adjoins: npt.NDArray[np.str_]
    below: Array
    length: Array
    height: Array
    supply: Array  # mean wetness of the outer zone
    conduct: Array  # g/m² a day between the zones, for a whole difference
    hold: Array  # kg/m²
    threshold: Array
    cold: Array  # share of the way from room to soil at the face
    bond: Array  # hazard of a cell a month
    sd: Array
    liquid: Array
    stiff: Array
    drained: Flags
    fresh: Flags
    mixing: Array
    leak: Array
    layers: list[list[Layer]]
    events: list[list[Row]]
    outer: Array
    store: Array
    to_face: Array
    coat_water: Array
    salt: Array
    dew: Array
    film: Array  # dew that stays at the face
    surface: Array
    hollow: Array
    fallen: Array
    patched: Array
    loosened: Array

    def month_of(self, section: int) -> int:
        """The month in which the section's house was bought."""
        return int(self.place.bought[self.place.of[section]])


def build(rng: np.random.Generator, place: Place) -> Wall:
    """Draw the sections of a book and let their water run."""
    n, months = len(place.of), place.months
    wall = _bare(rng, place, n, months)
    for i in range(n):
        _clothe(rng, wall, i)
        _leaks(rng, wall, i)
    _floods(rng, wall)
    _run(rng, wall)
    return wall


def _bare(rng: np.random.Generator, place: Place, n: int, months: int) -> Wall:
    adjoins = rng.choice(
        ["soil", "street", "garden", "party_wall", "interior"], n, p=[0.42, 0.2, 0.18, 0.14, 0.06]
    )
    height = np.round(rng.uniform(1.7, 2.5, n), 1)
    sunk = rng.choice([0.5, 0.75, 0.9, 1.0], n) * (adjoins != "interior")
    ground = rng.beta(1.6, 1.6, len(place.sizes))[place.of]  # how wet the ground of the house is
    chance = ground * np.select([adjoins == "interior", adjoins == "party_wall"], [0.05, 0.35], 1.0)
    supply = np.where(rng.random(n) < chance, rng.beta(20, 3.5, n), rng.beta(2.0, 6.5, n))
    cold = np.clip(rng.gamma(6, 0.05, n), 0.06, 0.7) * (0.4 + 0.6 * (sunk > 0))
    poor = rng.random(n) < 0.13
    series = {name: np.zeros((months, n)) for name in _SERIES}
    return Wall(
        place=place,
        adjoins=adjoins,
        below=np.round(height * sunk, 2),
        length=np.round(rng.gamma(6, 0.8, n) + 1.5, 1),
        height=height,
        supply=supply,
        conduct=rng.lognormal(np.log(38), 0.2, n),
        hold=rng.lognormal(np.log(72), 0.15, n),
        threshold=np.clip(rng.normal(0.38, 0.02, n), 0.3, 0.45),
        cold=cold,
        bond=np.where(poor, rng.lognormal(np.log(9e-4), 0.5, n), rng.lognormal(np.log(2e-5), 0.6, n)),
        drained=np.zeros((months, n), dtype=bool),
        fresh=np.zeros((months, n), dtype=bool),
        layers=[[] for _ in range(n)],
        events=[[] for _ in range(n)],
        **series,
    )


_SERIES = (
    *("sd", "liquid", "stiff", "mixing", "leak", "outer", "store", "to_face", "coat_water"),
    *("salt", "dew", "film", "surface", "hollow", "fallen", "patched", "loosened"),
)


# Coats, leaks and floods ------------------------


def _clothe(rng: np.random.Generator, wall: Wall, i: int) -> None:
    bought, months = wall.month_of(i), wall.place.months
    name = pick(rng, FOUND)
    first = int(bought - min(rng.gamma(1.5, 12 if name == "cement" else 45), bought - 2))
    coat_on(rng, wall, i, first, name)
    over = pick(rng, OVER_FOUND)
    if over:
        coat_on(rng, wall, i, max(first + 1, int(bought - rng.gamma(1.2, 9))), over)
    work = pick(rng, WORKS)
    at = int(bought + rng.beta(1.0, 5.0) * (months - bought - 6)) + 1
    if work == "seal":
        coat_on(rng, wall, i, at, pick(rng, SEALS))
    elif work == "board":
        coat_on(rng, wall, i, at, "board")
    elif work:
        strip(wall, i, at, "planned")
        coat_on(rng, wall, i, at, "cement" if work == "dense" else pick(rng, {"lime": 2, "hydraulic": 1}))
        if work == "dense" and rng.random() < 0.4:
            coat_on(rng, wall, i, min(at + 2, months - 1), "emulsion")


def coat_on(rng: np.random.Generator, wall: Wall, i: int, month: int, name: str) -> None:
    """Put a coat on a section from a month on, and keep its row."""
    layer = make_layer(rng, name, found=month < wall.month_of(i))
    standing = _standing(wall.layers[i], month)
    layer.row["layer"] = len(standing) + 1
    layer.begun = month
    wall.layers[i].append(layer)
    later = slice(month, None)
    wall.sd[later, i] += layer.sd
    carried = layer.recipe.liquid
    wall.liquid[later, i] = carried if not standing else np.minimum(wall.liquid[later, i], carried)
    wall.stiff[later, i] = max(layer.recipe.stiff, wall.stiff[month, i] if standing else 0.0)
    wall.drained[later, i] |= layer.recipe.drained
    wall.mixing[month, i] += layer.water
    wall.fresh[month, i] |= not standing


def _standing(layers: list[Layer], month: int) -> list[Layer]:
    return [old for old in layers if old.begun <= month < old.ended]


def strip(wall: Wall, i: int, month: int, reason: str) -> None:
    """Take every coat off a section from a month on, and forget what was planned for later."""
    wall.layers[i] = [layer for layer in wall.layers[i] if layer.begun < month]
    for layer in _standing(wall.layers[i], month):
        layer.ended = month
        layer.row["removal_reason"] = reason
    wall.sd[month:, i] = 0
    wall.liquid[month:, i] = 1
    wall.stiff[month:, i] = 0
    wall.mixing[month:, i] = 0
    wall.drained[month:, i] = False
    wall.fresh[month:, i] = False


def _leaks(rng: np.random.Generator, wall: Wall, i: int) -> None:
    """Leaks come as a Poisson process and last until somebody mends them."""
    if wall.below[i] <= 0:
        return
    months, month = wall.place.months, SPIN_UP - 20.0
    while (month := month + rng.exponential(12 / 0.012)) < months:
        start, length = int(month), 6 + rng.gamma(1.5, 22)
        size = rng.lognormal(np.log(48), 0.4)
        end = min(int(month + length), months)
        wall.leak[start:end, i] += size
        if wall.month_of(i) < end < months - 1 and rng.random() < 0.75:
            wall.events[i].append({"kind": "leak_mended", "month": end})
        month = float(end)


def _floods(rng: np.random.Generator, wall: Wall) -> None:
    for house, month in wall.place.flood:
        for i in np.flatnonzero(wall.place.of == house).tolist():
            if rng.random() < 0.6:
                wall.leak[month, i] += rng.uniform(150, 320)


# The months ------------------------


def _run(rng: np.random.Generator, wall: Wall) -> None:
    n = len(wall.supply)
    outer, store = wall.supply.copy(), np.minimum(wall.supply, 0.25)
    fast, slow, salt = np.zeros(n), np.zeros(n), rng.gamma(1.2, 0.12, n)
    cells = np.zeros((n, ROWS, COLUMNS), dtype=np.int8)  # 0 holds, 1 loose, 2 fallen, 3 fallen and patched
    nerve = rng.gamma(1.5, 1 / 1.5, cells.shape)
    room, vapour = wall.place.room[:, wall.place.of], wall.place.vapour[:, wall.place.of]
    wall.surface[:] = room - wall.cold * (room - wall.place.soil)
    wall.dew[:] = np.maximum(vapour - saturation(wall.surface), 0)
    film = np.zeros(n)
    pull = np.maximum(saturation(wall.surface - 0.15 * (room - wall.place.soil)) - vapour, 0)
    for m in range(wall.place.months):
        outer += (np.clip(wall.supply * wall.place.wetness[m] + wall.leak[m] / 400, 0, 1) - outer) / 3
        shown = wall.leak[m] * np.maximum(wall.liquid[m], 0.5 + 0.5 * (wall.fallen[m - 1] if m else 0))
        through = wall.liquid[m] * 110 * np.maximum(store - wall.threshold, 0)
        store = _step(wall, m, outer, store, pull[m], shown, through)
        fast = (fast + 0.75 * wall.mixing[m]) * np.exp(-0.13 / (1 + wall.sd[m]))
        slow = (slow + 0.25 * wall.mixing[m]) * (1 - 1 / 90)  # a lime coat goes on for years
        film = 0.5 * film + wall.dew[m]
        salt += 4e-6 * through * MONTH
        wall.outer[m], wall.store[m], wall.coat_water[m], wall.salt[m] = outer, store, fast + slow, salt
        wall.film[m] = film
        wall.to_face[m] = shown + through
        _loosen(rng, wall, m, cells, nerve, store)
        if m > SPIN_UP and m % 12 == 4:
            _mend(rng, wall, m, cells)


def _step(wall: Wall, m: int, outer: Array, store: Array, pull: Array, shown: Array, through: Array) -> Array:
    """The zone behind the coat a month later, as a share of what it holds."""
    joined = 0.35 + 1.0 / (1 + np.exp(-(store - wall.threshold) / 0.02))
    arriving = wall.conduct * joined * (outer - store) * np.where(outer > store, 1.0, 0.4)
    front = ZONE * np.clip(1 - store / wall.threshold, 0, 1)
    vapour = DELTA * pull / (wall.sd[m] + FILM + WALL_MU * front) * (store > 0.03)
    drained = np.where(wall.drained[m], 40 * np.maximum(store - 0.45, 0), 0)
    net = arriving + 0.2 * (wall.leak[m] - shown) - vapour - through - drained
    return np.clip(store + net * MONTH / 1000 / wall.hold, 0.03, 1.0)


def _loosen(
    rng: np.random.Generator, wall: Wall, m: int, cells: npt.NDArray[np.int8], nerve: Array, store: Array
) -> None:
    cells[wall.fresh[m]] = 0
    loose = (cells > 0).astype(np.float64)
    beside = np.zeros_like(loose)
    beside[:, 1:] += loose[:, :-1]
    beside[:, :-1] += loose[:, 1:]
    beside[:, :, 1:] += loose[:, :, :-1]
    beside[:, :, :-1] += loose[:, :, 1:]
    pressed = 1 / (1 + wall.liquid[m] * 8) * (~wall.drained[m]) * (wall.sd[m] > 0.2)
    wet = 5e-4 * np.clip((store - 0.42) / 0.3, 0, 1.3) ** 1.5 * (0.4 + wall.stiff[m]) * pressed
    damp = 4e-5 * (wall.to_face[m] > SHOWS)
    base = wall.bond * (0.6 + 0.6 * wall.stiff[m]) + wet + damp
    foot = np.linspace(0.7, 1.3, ROWS)[None, :, None]
    hazard = base[:, None, None] * nerve * foot * (1 + 1.1 * beside)
    luck = rng.random(cells.shape)
    falling = (cells == 1) & (luck < 0.006 * (1 + 0.5 * beside))
    loosening = (cells == 0) & (luck < hazard)
    cells[falling] = 2
    cells[loosening] = 1
    size = ROWS * COLUMNS
    wall.loosened[m] = loosening.sum(axis=(1, 2)) / size
    _count(wall, m, cells)


def _count(wall: Wall, m: int, cells: npt.NDArray[np.int8]) -> None:
    wall.hollow[m] = (cells == 1).mean(axis=(1, 2))
    wall.fallen[m] = (cells == 2).mean(axis=(1, 2))
    wall.patched[m] = (cells == 3).mean(axis=(1, 2))


def _mend(rng: np.random.Generator, wall: Wall, m: int, cells: npt.NDArray[np.int8]) -> None:
    """Once a year the owner patches what has fallen here and there, and strips what is past patching."""
    for i in np.flatnonzero(wall.fallen[m] > 0.03).tolist():
        if m <= wall.month_of(i) + 3 or m > wall.place.months - 4:
            continue
        if wall.fallen[m, i] > 0.22 and rng.random() < 0.35:
            strip(wall, i, m + 1, "failed")
            coat_on(rng, wall, i, m + 1, pick(rng, AFTER_FAILURE))
        elif rng.random() < 0.18:
            area = round(float(wall.fallen[m, i] * wall.length[i] * wall.height[i]), 1)
            wall.events[i].append({"kind": "repair", "month": m + 1, "area_m2": area, "layer": 1})
            cells[i][cells[i] == 2] = 3
    _count(wall, m, cells)


# The truth ------------------------


def truths(wall: Wall) -> npt.NDArray[np.str_]:
    """The truth of every month and section, shape (months, sections); see the package for its words."""
    year_low = _back(wall.store, 12, np.min)
    shows = _back(wall.to_face, 3, np.min) >= SHOWS
    held = (wall.sd >= CLOSED_SD) & ~wall.drained & (year_low >= HELD) & ~shows
    total = wall.store * wall.hold + wall.coat_water
    lost = np.zeros_like(total)
    lost[12:] = total[:-12] - total[12:]
    wetted = _back(_wettings(wall), 36, np.max) > 0
    drying = wetted & (lost >= GIVEN_OFF)
    sweating = _back((wall.dew >= DEW).astype(float), 12, np.sum) >= 2
    worn = _back(wall.loosened, 36, np.sum) >= WORN
    names = np.select(
        [held, shows, drying, sweating, worn],
        ["trapped_water", "water_entry", "drying_out", "condensation", "surface_wear"],
        "stable",
    )
    assert set(np.unique(names)) <= set(CLASSES)
    return names


def _wettings(wall: Wall) -> Array:
    """1 in months of new wet work, of a flood, and in which a leak has ended."""
    ended = np.zeros_like(wall.leak)
    ended[1:] = (wall.leak[:-1] > 0) & (wall.leak[1:] == 0)
    return np.maximum(ended, wall.mixing > 0.4)


def _back(series: Array, months: int, reduce: Callable[..., Array]) -> Array:
    """``reduce`` over each month and those before it, ``months`` in all."""
    padded = np.concatenate([np.repeat(series[:1], months - 1, axis=0), series])
    return reduce(np.lib.stride_tricks.sliding_window_view(padded, months, axis=0), axis=-1)


def onset(names: npt.NDArray[np.str_], month: int, first: int) -> int:
    """The first month of the unbroken run, from ``first`` on, that reaches ``month``."""
    other = np.flatnonzero(names[first : month + 1] != names[month])
    return first if not len(other) else first + int(other[-1]) + 1


def months_of(days: Array, place: Place) -> Index:
    """The month that holds each day."""
    return np.clip(((days - place.first_day) / MONTH).astype(np.int64), 0, place.months - 1)
