"""Coats as this generator sees them: a tightness from 0 to 1, and whether water has another way out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Range = tuple[float, float]


@dataclass(frozen=True, slots=True)
class CoatType:
    """What one layer is made of. ``water`` is the share of a full wetting that new work brings along."""

    kind: str
    binders: tuple[str, ...]
    mixes: tuple[str, ...]
    thickness_mm: Range
    sd_m: Range
    tightness: Range
    water: Range = (0.0, 0.0)
    drains_to: tuple[str, ...] = ("",)
    strength_mpa: Range = (np.nan, np.nan)


OPEN_COATS: tuple[tuple[float, CoatType], ...] = (
    (
        3,
        CoatType(
            "parge_coat",
            ("lime_putty", "CL 90"),
            ("1:2.5", "1:3"),
            (12, 32),
            (0.08, 0.35),
            (0.02, 0.12),
            (0.4, 1.0),
            strength_mpa=(0.4, 2),
        ),
    ),
    (
        4,
        CoatType(
            "parge_coat",
            ("NHL 2", "NHL 3.5", "NHL 5"),
            ("1:2", "1:2.5", "1:3"),
            (10, 30),
            (0.1, 0.5),
            (0.06, 0.22),
            (0.3, 0.9),
            strength_mpa=(2, 9),
        ),
    ),
    (
        2,
        CoatType(
            "limewash",
            ("lime_putty", "CL 90"),
            ("",),
            (0.3, 1.5),
            (0.005, 0.03),
            (0.0, 0.04),
            (0.0, 0.2),
        ),
    ),
    (1, CoatType("plaster", ("clay",), ("1:3",), (10, 30), (0.08, 0.3), (0.02, 0.1), (0.3, 0.8))),
    (1, CoatType("paint", ("silicate",), ("",), (0.2, 0.5), (0.01, 0.08), (0.02, 0.1), (0.0, 0.1))),
    (
        1.5,
        CoatType(
            "parge_coat",
            ("cement_lime",),
            ("1:1:6", "1:2:9"),
            (12, 25),
            (0.25, 0.7),
            (0.2, 0.4),
            (0.2, 0.7),
            strength_mpa=(3, 8),
        ),
    ),
    (
        1,
        CoatType(
            "repointing",
            ("NHL 3.5", "NHL 2", "lime_putty"),
            ("1:2.5", "1:3"),
            (15, 40),
            (0.1, 0.4),
            (0.02, 0.1),
            (0.1, 0.4),
        ),
    ),
)

DENSE_COATS: tuple[tuple[float, CoatType], ...] = (
    (
        4,
        CoatType(
            "parge_coat",
            ("portland_cement",),
            ("1:2", "1:3", "1:4"),
            (10, 32),
            (0.5, 2.5),
            (0.5, 0.8),
            (0.1, 0.5),
            strength_mpa=(8, 30),
        ),
    ),
    (2, CoatType("paint", ("acrylic", "alkyd"), ("",), (0.15, 0.5), (0.9, 6), (0.55, 0.85))),
    (2, CoatType("sealer", ("acrylic", "epoxy", "bitumen"), ("",), (0.2, 3), (1.5, 80), (0.6, 0.97))),
    (1, CoatType("paint", ("epoxy", "bitumen"), ("",), (0.2, 1.5), (8, 120), (0.8, 0.98))),
    (
        1,
        CoatType(
            "vapour_retarder",
            ("polyethylene",),
            ("",),
            (0.1, 0.3),
            (15, 110),
            (0.92, 1.0),
            drains_to=("none", "unknown", ""),
        ),
    ),
    (
        0.6,
        CoatType(
            "lining", ("polyethylene",), ("",), (3, 9), (10, 60), (0.85, 0.98), drains_to=("none", "unknown")
        ),
    ),
)

#: A studded sheet that leads the water to a drain or sump: wet behind by design, and not a trap.
DRAINED_LINING = CoatType(
    "drainage_board", ("polyethylene",), ("",), (6, 22), (10, 80), (0.85, 0.98), drains_to=("drain", "sump")
)

#: What lies under a thin dense coat in a layer stack.
UNDERCOATS: tuple[CoatType, ...] = (OPEN_COATS[0][1], OPEN_COATS[1][1], OPEN_COATS[5][1])

_FILMS = {"paint", "sealer", "limewash", "vapour_retarder", "lining", "drainage_board"}


@dataclass(frozen=True, slots=True)
class Layer:
    """One drawn layer."""

    type: CoatType
    binder: str
    mix: str
    thickness_mm: float
    sd_m: float
    tightness: float
    drains_to: str
    strength_mpa: float


@dataclass(frozen=True, slots=True)
class CoatSystem:
    """Layers from the wall outward, put on together; ``water`` is the wetness of the new work, 0 to 1."""

    layers: tuple[Layer, ...]
    dense: bool
    drained: bool
    water: float

    @property
    def tightness(self) -> float:
        return max(layer.tightness for layer in self.layers)

    @property
    def traps(self) -> bool:
        """Dense, and no way out for the water but through the coat."""
        return self.dense and not self.drained


def draw_open(rng: np.random.Generator) -> CoatSystem:
    """A coat, or a coat and a thin open one on it, that passes water."""
    base = _pick(rng, OPEN_COATS)
    layers = [_layer(rng, base)]
    if base.kind == "parge_coat" and rng.random() < 0.3:
        layers.append(_layer(rng, OPEN_COATS[2][1]))
    return CoatSystem(tuple(layers), dense=False, drained=False, water=rng.uniform(*base.water))


def draw_dense(rng: np.random.Generator) -> CoatSystem:
    """A dense coat, often on an older open one, or two dense ones."""
    top = _pick(rng, DENSE_COATS)
    layers = [_layer(rng, top)]
    if top.kind in _FILMS and rng.random() < 0.6:
        under = UNDERCOATS[rng.integers(len(UNDERCOATS))] if rng.random() < 0.6 else DENSE_COATS[0][1]
        layers.insert(0, _layer(rng, under))
    return CoatSystem(tuple(layers), dense=True, drained=False, water=rng.uniform(*top.water))


def draw_drained(rng: np.random.Generator) -> CoatSystem:
    """A drained lining."""
    return CoatSystem((_layer(rng, DRAINED_LINING),), dense=True, drained=True, water=0.0)


def _pick(rng: np.random.Generator, weighted: tuple[tuple[float, CoatType], ...]) -> CoatType:
    weights = np.array([weight for weight, _ in weighted])
    return weighted[rng.choice(len(weighted), p=weights / weights.sum())][1]


def _layer(rng: np.random.Generator, kind: CoatType) -> Layer:
    low, high = np.log(kind.sd_m)
    return Layer(
        type=kind,
        binder=kind.binders[rng.integers(len(kind.binders))],
        mix=kind.mixes[rng.integers(len(kind.mixes))],
        thickness_mm=round(float(rng.uniform(*kind.thickness_mm)), 1),
        sd_m=float(np.exp(rng.uniform(low, high))),
        tightness=float(rng.uniform(*kind.tightness)),
        drains_to=kind.drains_to[rng.integers(len(kind.drains_to))],
        strength_mpa=float(rng.uniform(*kind.strength_mpa)) if kind.strength_mpa[0] > 0 else np.nan,
    )
