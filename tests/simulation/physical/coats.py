"""Coat systems: what is put on a wall, how much vapour it lets pass, and how much liquid it carries.

Ranges of resistance are the working ranges for parge coats without a test and the ISO 10456 / SBI 178 values
for paints and sheets; how much liquid a coat carries (1 for a pure lime coat) is the author's guess from
published water absorption coefficients. Both from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Recipe:
    """A kind of layer. A sheet has a range of ``sd`` (m) and no thickness; a coat has ``mu`` and ``mm``."""

    kind: str
    binder: str
    carries: tuple[float, float]
    mu: tuple[float, float] = (0.0, 0.0)
    mm: tuple[int, int] = (0, 0)
    sd: tuple[float, float] = (0.0, 0.0)
    mix: str = ""
    #: Tendency to loosen on a dry wall, and to powder and wear, relative to a sound cement-lime coat.
    loosens: float = 1.0
    wears: float = 1.0
    #: Whether a layer hangs free of the wall, so that sounding it means nothing.
    free: bool = False
    drains: bool = False


RECIPES: dict[str, Recipe] = {
    "lime": Recipe("parge_coat", "lime_putty", (0.6, 1.0), (6, 12), (12, 30), mix="1:3", wears=2.0),
    "air lime": Recipe("parge_coat", "CL 90", (0.5, 1.0), (6, 14), (10, 25), mix="1:2.5", wears=2.0),
    "nhl 2": Recipe("parge_coat", "NHL 2", (0.4, 0.8), (8, 15), (12, 25), mix="1:2.5", wears=1.5),
    "nhl 3.5": Recipe("parge_coat", "NHL 3.5", (0.3, 0.6), (9, 18), (12, 25), mix="1:2.5"),
    "nhl 5": Recipe("parge_coat", "NHL 5", (0.2, 0.45), (11, 20), (12, 25), mix="1:3"),
    "plaster": Recipe("plaster", "gypsum", (0.5, 0.9), (5, 10), (10, 20), wears=2.0),
    "cement-lime": Recipe("parge_coat", "cement_lime", (0.04, 0.15), (14, 30), (12, 25), mix="1:1:6"),
    "cement": Recipe(
        "parge_coat", "portland_cement", (0.003, 0.03), (25, 70), (12, 30), mix="1:3", loosens=2.0
    ),
    "limewash": Recipe("limewash", "lime_putty", (0.85, 1.0), sd=(0.01, 0.1), wears=2.5),
    "silicate paint": Recipe("paint", "silicate", (0.6, 0.9), sd=(0.03, 0.2)),
    "emulsion": Recipe("paint", "acrylic", (0.05, 0.3), sd=(0.2, 1.0), loosens=1.5),
    "oil paint": Recipe("paint", "alkyd", (0.0, 0.01), sd=(2.0, 5.0), loosens=1.5),
    "epoxy": Recipe("sealer", "epoxy", (0.0, 0.0), sd=(10.0, 60.0), loosens=1.5),
    "bitumen": Recipe("sealer", "bitumen", (0.0, 0.0), sd=(20.0, 120.0)),
    "sheet": Recipe("vapour_retarder", "polyethylene", (0.0, 0.0), sd=(40.0, 110.0), free=True),
    "board": Recipe("drainage_board", "polyethylene", (0.0, 0.0), sd=(40.0, 110.0), free=True, drains=True),
    "lining": Recipe("lining", "gypsum", (0.0, 0.0), sd=(0.3, 2.0), free=True),
    "insulation": Recipe("insulation", "other", (0.0, 0.0), sd=(3.0, 12.0), free=True),
}

#: Systems that let a wall dry, and systems that pass little, each with its weight; layers from the wall out.
OPEN_SYSTEMS: tuple[tuple[float, tuple[str, ...]], ...] = (
    (3, ("lime",)),
    (2, ("air lime",)),
    (2, ("lime", "limewash")),
    (1, ("air lime", "limewash")),
    (2, ("nhl 2",)),
    (3, ("nhl 3.5",)),
    (1, ("nhl 3.5", "silicate paint")),
    (1, ("nhl 5",)),
    (1, ("plaster",)),
    (1.5, ("cement-lime",)),
    (0.7, ("cement-lime", "limewash")),
)
DENSE_SYSTEMS: tuple[tuple[float, tuple[str, ...]], ...] = (
    (4, ("cement",)),
    (2, ("cement", "emulsion")),
    (1.5, ("cement", "oil paint")),
    (1, ("cement", "bitumen")),
    (0.7, ("cement", "epoxy")),
    (1, ("cement-lime", "emulsion")),
    (0.7, ("lime", "emulsion")),
    (0.7, ("lime", "oil paint")),
    (0.5, ("nhl 5", "oil paint")),
    (0.4, ("sheet",)),
    (0.5, ("board",)),
    (0.3, ("insulation", "lining")),
)


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer as it really is (``recipe``, ``sd``, ``carries``) and what the record says of it."""

    recipe: Recipe
    thickness_mm: float
    mu: float
    sd: float
    carries: float


@dataclass(frozen=True, slots=True)
class System:
    """The layers of a coat and what they do together. Resistances in m, water in kg/m²."""

    layers: tuple[Layer, ...]

    @property
    def sd(self) -> float:
        return sum(layer.sd for layer in self.layers)

    @property
    def finish_sd(self) -> float:
        """Resistance in front of the water that a coat has carried: that of its thin outer layers."""
        return sum(layer.sd for layer in self.layers if layer.thickness_mm == 0)

    @property
    def carries(self) -> float:
        return float(np.prod([layer.carries for layer in self.layers]))

    @property
    def mixing_water(self) -> float:
        """About 0.25 kg of water for each mm and m² of wet mortar (from memory: 250 L a m³)."""
        return 0.25 * sum(layer.thickness_mm for layer in self.layers)

    @property
    def face_capacity(self) -> float:
        """Liquid that the coat's face holds before it drips."""
        return 0.5 + 0.1 * sum(layer.thickness_mm for layer in self.layers)

    @property
    def loosens(self) -> float:
        return max(layer.recipe.loosens for layer in self.layers)

    @property
    def wears(self) -> float:
        return self.layers[-1].recipe.wears

    @property
    def free(self) -> bool:
        return any(layer.recipe.free for layer in self.layers)

    @property
    def drains(self) -> bool:
        return any(layer.recipe.drains for layer in self.layers)


def draw_system(rng: np.random.Generator, dense: bool) -> System:
    """A coat system, open or dense."""
    systems = DENSE_SYSTEMS if dense else OPEN_SYSTEMS
    weights = np.array([weight for weight, _ in systems])
    names = systems[rng.choice(len(systems), p=weights / weights.sum())][1]
    return System(tuple(draw_layer(rng, RECIPES[name]) for name in names))


def draw_layer(rng: np.random.Generator, recipe: Recipe) -> Layer:
    """One layer, its resistance drawn evenly on the logarithm within the recipe's range."""
    carries = float(rng.uniform(*recipe.carries))
    if recipe.mm == (0, 0):
        sd = float(np.exp(rng.uniform(*np.log(recipe.sd))))
        return Layer(recipe, 0.0, np.nan, sd, carries)
    thickness = float(rng.integers(recipe.mm[0], recipe.mm[1] + 1))
    mu = float(np.exp(rng.uniform(*np.log(recipe.mu))))
    return Layer(recipe, thickness, mu, mu * thickness / 1000, carries)


def draw_outlet(rng: np.random.Generator, system: System) -> str:
    """Where a drained lining leads its water: mostly to a drain or a sump, sometimes nowhere."""
    if not system.drains:
        return "unknown"
    return str(rng.choice(["drain", "drain", "sump", "none", "unknown"]))
