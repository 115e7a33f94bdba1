"""What is put on a wall: recipes of coats, and the coats that a section has worn over the years."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.simulation.book import Row


@dataclass(frozen=True, slots=True)
class Recipe:
    """A coat: ``sd`` in m for thin layers, else ``mu`` times thickness; ``liquid`` what it lets by."""

    kind: str
    binders: tuple[str, ...]
    liquid: float
    stiff: float
    thickness: tuple[float, float] = (0.0, 0.0)  # mm
    mu: tuple[float, float] = (0.0, 0.0)
    sd: tuple[float, float] = (0.0, 0.0)
    mixes: tuple[str, ...] = ("",)
    mixing_water: float = 0.0  # kg/m² per mm
    drained: bool = False


_SAND = ("1:2.5", "1:3", "")
RECIPES: dict[str, Recipe] = {
    "lime": Recipe("parge_coat", ("CL 90", "lime_putty", "CL 80"), 1.0, 0.2, (12, 28), (6, 12), mixes=_SAND,
                   mixing_water=0.16),
    "hydraulic": Recipe("parge_coat", ("NHL 2", "NHL 3.5", "NHL 5"), 0.8, 0.4, (12, 28), (8, 17), mixes=_SAND,
                        mixing_water=0.13),
    "compo": Recipe("parge_coat", ("cement_lime",), 0.1, 0.7, (12, 25), (13, 25), mixes=("1:1:6", "1:2:9"),
                    mixing_water=0.08),
    "cement": Recipe("parge_coat", ("portland_cement", "natural_cement"), 0.02, 1.0, (14, 32), (28, 60),
                     mixes=("1:3", "1:4", ""), mixing_water=0.05),
    "gypsum": Recipe("plaster", ("gypsum",), 0.8, 0.3, (8, 20), (6, 10), mixing_water=0.12),
    "limewash": Recipe("limewash", ("lime_putty", "CL 90"), 1.0, 0.1, sd=(0.005, 0.03)),
    "silicate": Recipe("paint", ("silicate",), 0.6, 0.1, sd=(0.03, 0.2)),
    "emulsion": Recipe("paint", ("acrylic",), 0.03, 0.3, sd=(0.4, 1.3)),
    "gloss": Recipe("paint", ("alkyd",), 0.0, 0.4, sd=(1.8, 4.5)),
    "tar": Recipe("sealer", ("bitumen",), 0.0, 0.4, sd=(15, 60)),
    "resin": Recipe("sealer", ("epoxy",), 0.0, 0.6, sd=(5, 25)),
    "sheet": Recipe("vapour_retarder", ("polyethylene",), 0.0, 0.1, sd=(30, 80)),
    "board": Recipe("drainage_board", ("polyethylene",), 0.0, 0.1, sd=(20, 60), drained=True),
    "pointing": Recipe("repointing", ("NHL 3.5", "lime_putty"), 1.0, 0.3, sd=(0.01, 0.04), mixing_water=0.0),
}  # fmt: skip


@dataclass(slots=True)
class Layer:
    """One coat as it stands on a wall, and the row that tells of it."""

    recipe: Recipe
    sd: float
    water: float  # kg/m² that it brings
    row: Row
    begun: int = 0  # month
    ended: float = np.inf  # month


def make_layer(rng: np.random.Generator, name: str, found: bool) -> Layer:
    """Draw one coat, and what its record says; the record of a found coat knows little."""
    recipe = RECIPES[name]
    thickness = round(rng.uniform(*recipe.thickness), 0)
    mu = rng.uniform(*recipe.mu)
    sd = mu * thickness / 1000 if recipe.mu[1] else float(np.exp(rng.uniform(*np.log(recipe.sd))))
    row: Row = {"kind": recipe.kind, "binder": str(rng.choice(recipe.binders))}
    if found and rng.random() < 0.25:
        row["binder"] = "unknown"
    elif rng.random() < 0.75:
        row["mix"] = str(rng.choice(recipe.mixes))
    if thickness and rng.random() < (0.5 if found else 0.9):
        row["thickness_mm"] = float(np.clip(thickness + round(rng.normal(0, 3 if found else 1)), 4, 60))
    if rng.random() < 0.12:
        if recipe.mu[1] and rng.random() < 0.6:
            row["mu"] = round(mu * rng.lognormal(0, 0.12), 1)
        else:
            row["sd_m"] = float(f"{sd * rng.lognormal(0, 0.12):.2g}")
    if recipe.drained:
        row["drains_to"] = str(rng.choice(["drain", "sump"]))
    if found:
        row["found"] = "yes"
    return Layer(recipe, sd, recipe.mixing_water * thickness * (1 if recipe.mu[1] else 0), row)
