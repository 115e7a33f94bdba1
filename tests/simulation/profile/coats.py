"""Coats by what they do to water: layers as a book may tell them, and the numbers the wall feels."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer as it was put on; ``sd`` in metres of air, thickness in mm (0 for what nobody measures)."""

    kind: str
    binder: str
    mix: str
    thickness: float
    mu: float
    sd: float


@dataclass(frozen=True, slots=True)
class System:
    """All layers of the room side that stand together.

    ``liquid`` is the kg/m² a day that the whole lets through to its face from a full wall, ``stiff`` and
    ``shrinks`` are its pull on its own bond (1 for an ordinary mortar), ``grip`` how well it was put on,
    ``bears_salt`` how well it bears salts, ``water`` the kg/m² of mixing water that it brings along.
    """

    layers: tuple[Layer, ...]
    liquid: float
    stiff: float
    shrinks: float
    grip: float
    bears_salt: float
    water: float
    drain: str = "unknown"
    purpose: str = "permanent"

    @property
    def sd(self) -> float:
        """Metres of air of all layers."""
        return sum(layer.sd for layer in self.layers)

    @property
    def thickness(self) -> float:
        """Millimetres between a meter and the wet: a mortar under a tight finish is as wet as the wall."""
        mortar = self.layers[0]
        return mortar.thickness * (0.4 if self.sd > 2 * mortar.sd else 1.0)


#: Mortars: kind, binders, mixes, mm, mu, liquid, stiff, shrinks, bears_salt, and litres of water per mm.
MORTARS = {
    "lime": (
        "parge_coat",
        ("CL 90", "lime_putty", "CL 80"),
        ("1:3", "2:5"),
        (12, 25),
        (6, 12),
        (0.08, 0.22),
        0.4,
        0.5,
        1.2,
        0.2,
    ),
    "nhl": (
        "parge_coat",
        ("NHL 2", "NHL 3.5", "NHL 5"),
        ("1:3", "2:5"),
        (12, 25),
        (8, 18),
        (0.04, 0.13),
        0.6,
        0.7,
        1.2,
        0.2,
    ),
    "mixed": (
        "parge_coat",
        ("cement_lime",),
        ("1:1:6", "1:2:9"),
        (12, 25),
        (13, 26),
        (0.012, 0.04),
        1.1,
        1.0,
        0.9,
        0.18,
    ),
    "cement": (
        "parge_coat",
        ("portland_cement",),
        ("1:3", "1:4"),
        (12, 28),
        (28, 62),
        (0.001, 0.005),
        1.8,
        1.6,
        1.0,
        0.16,
    ),
    "gypsum": ("plaster", ("gypsum",), ("",), (10, 18), (6, 10), (0.05, 0.12), 0.8, 0.4, 0.4, 0.25),
    "clay": ("plaster", ("clay",), ("",), (12, 25), (6, 10), (0.05, 0.15), 0.4, 0.7, 0.6, 0.25),
}

#: Thin finishes: kind, binder, sd from and to in metres, share of the liquid let through, stiffness added.
FINISHES = {
    "limewash": ("limewash", "CL 90", (0.01, 0.06), 0.9, 0.0),
    "silicate": ("paint", "silicate", (0.04, 0.25), 0.6, 0.05),
    "emulsion": ("paint", "acrylic", (0.2, 1.0), 0.12, 0.2),
    "alkyd": ("paint", "alkyd", (1.5, 4.0), 0.005, 0.4),
    "epoxy": ("sealer", "epoxy", (4.0, 30.0), 0.0, 0.8),
    "bitumen": ("sealer", "bitumen", (8.0, 60.0), 0.0, 0.3),
}


def mortar(rng: np.random.Generator, name: str) -> System:
    """A mortar coat of the named family as a mason would happen to put it on."""
    kind, binders, mixes, mm, mu, liquid, stiff, shrinks, bears, wet = MORTARS[name]
    thickness = round(float(rng.uniform(*mm)))
    resistance = float(np.exp(rng.uniform(*np.log(mu))))
    layer = Layer(
        kind,
        str(rng.choice(binders)),
        str(rng.choice(mixes)),
        thickness,
        resistance,
        resistance * thickness / 1000,
    )
    return System(
        layers=(layer,),
        liquid=float(np.exp(rng.uniform(*np.log(liquid)))) * (18 / thickness) ** 0.5,
        stiff=stiff * float(rng.lognormal(0, 0.25)),
        shrinks=shrinks * float(rng.lognormal(0, 0.3)),
        grip=float(rng.lognormal(0, 0.3)),
        bears_salt=bears,
        water=wet * thickness,
        purpose="sacrificial" if name in ("lime", "clay") and rng.random() < 0.1 else "permanent",
    )


def bare_wash(rng: np.random.Generator) -> System:
    """Limewash straight on the stones."""
    layer = Layer("limewash", "CL 90", "", 1.0, np.nan, float(rng.uniform(0.01, 0.06)))
    return System((layer,), 0.3 * float(rng.lognormal(0, 0.3)), 0.3, 0.4, 0.7, 0.8, 0.3)


def finish(rng: np.random.Generator, below: System, name: str) -> System:
    """The same coat with a finish over it."""
    kind, binder, sd, share, stiff = FINISHES[name]
    layer = Layer(kind, binder, "", 0.0, np.nan, float(np.exp(rng.uniform(*np.log(sd)))))
    return replace(
        below,
        layers=(*below.layers, layer),
        liquid=below.liquid * share,
        stiff=below.stiff + stiff,
        water=0.2,
    )


def lining(rng: np.random.Generator) -> System:
    """A sheet before the wall, with a way out below or without one."""
    drain = str(rng.choice(["drain", "sump", "none", "unknown"], p=[0.4, 0.25, 0.2, 0.15]))
    drained = drain in ("drain", "sump")
    kind = "drainage_board" if drained and rng.random() < 0.4 else "lining"
    layer = Layer(kind, "polyethylene", "", round(float(rng.uniform(0.5, 8)), 1), np.nan, 60.0)
    return System((layer,), 0.0, 0.15, 0.0, 1.5, 2.0, 0.0, drain)


def draw(rng: np.random.Generator, taste: float) -> System:
    """Any coat; ``taste`` from 0 (lime all over) to 1 (dense all over)."""
    if rng.random() < 0.06:
        return bare_wash(rng)
    if rng.random() < 0.015 + 0.03 * taste:
        return lining(rng)
    dense = np.array([0.38, 0.26, 0.14, 0.07, 0.08, 0.07])
    open_ = np.array([0.08, 0.12, 0.28, 0.44, 0.07, 0.01])
    weights = (1 - taste) * dense + taste * open_
    coat = mortar(rng, str(rng.choice(list(MORTARS), p=weights / weights.sum())))
    chance = rng.random()
    if chance < 0.25:
        return finish(rng, coat, "limewash" if coat.liquid > 0.03 else "silicate")
    if chance < 0.38 + 0.27 * taste:
        return finish(rng, coat, "emulsion")
    if chance < 0.40 + 0.42 * taste:
        return finish(rng, coat, str(rng.choice(["alkyd", "epoxy", "bitumen"], p=[0.6, 0.25, 0.15])))
    return coat
