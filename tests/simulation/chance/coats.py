"""Coats: what there is to put on a wall, what it passes, and the clocks by which its patches come loose.

A coat hangs in patches of random sizes. Each comes loose when the section's clock, which runs with wetness,
salt, frost and stiffness, passes an exponential time over the patch's own gamma frailty; loose, it falls when
a second clock has run on by a random waiting time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inspections.analysis.records import FloatArray
from tests.simulation.chance.weather import Rng

PATCHES = 48
#: Shape of the patches' gamma frailty, and of the wait from loose to fallen.
FRAILTY, WAITING = 0.8, 1.5


@dataclass(frozen=True, slots=True)
class Make:
    """A kind of layer: thickness (mm), mu, capillary flow (g/m² a day at full), as ranges; stiffness."""

    kind: str
    binder: str
    mixes: tuple[str, ...]
    thick: tuple[float, float]
    mu: tuple[float, float]
    flow: tuple[float, float]
    stiff: float
    drains: bool = False
    strength: float = 0.0


LIME = (
    Make("parge_coat", "CL 90", ("1:3", "1:2.5"), (12, 25), (8, 14), (50, 130), 0.1, strength=1.0),
    Make("parge_coat", "NHL 2", ("1:2.5",), (12, 25), (9, 16), (40, 110), 0.15, strength=2.0),
    Make("parge_coat", "NHL 3.5", ("1:2.5", "1:2"), (12, 25), (10, 20), (25, 90), 0.3, strength=3.5),
    Make("plaster", "lime_putty", ("1:3",), (8, 20), (8, 12), (50, 120), 0.1, strength=1.0),
)
MIDDLE = (
    Make("parge_coat", "NHL 5", ("1:2",), (12, 25), (15, 28), (12, 50), 0.5, strength=5.0),
    Make("parge_coat", "natural_cement", ("1:2",), (10, 22), (18, 35), (8, 35), 0.6, strength=6.0),
    Make("parge_coat", "cement_lime", ("1:1:6", "1:2:9"), (12, 25), (18, 40), (5, 35), 0.6, strength=5.0),
    Make("plaster", "gypsum", ("",), (8, 18), (8, 12), (20, 80), 0.2, strength=2.0),
)
DENSE = (
    Make("parge_coat", "portland_cement", ("1:3", "1:2"), (12, 30), (55, 160), (0, 2.5), 1.0, strength=15.0),
    Make("parge_coat", "portland_cement", ("1:4",), (12, 25), (40, 90), (0, 6), 0.9, strength=10.0),
    Make("sealer", "epoxy", ("",), (0.3, 1.0), (8e3, 4e4), (0, 0), 0.7),
    Make("lining", "none", ("",), (12, 30), (60, 400), (0, 0), 0.1),
    Make("vapour_retarder", "polyethylene", ("",), (0.2, 0.5), (9e4, 2e5), (0, 0), 0.0),
)
PAINT = (
    Make("limewash", "CL 90", ("",), (0.3, 0.8), (8, 15), (100, 200), 0.05),
    Make("paint", "silicate", ("",), (0.2, 0.4), (80, 200), (40, 120), 0.1),
)
CLOSED_PAINT = (
    Make("paint", "acrylic", ("",), (0.15, 0.35), (2e3, 8e3), (0, 2), 0.3),
    Make("paint", "alkyd", ("",), (0.12, 0.25), (8e3, 2e4), (0, 0), 0.4),
    Make("sealer", "acrylic", ("",), (0.1, 0.4), (1e3, 6e3), (0, 3), 0.3),
    Make("paint", "bitumen", ("",), (0.5, 2.0), (8e3, 3e4), (0, 0), 0.3),
)
POINTING = (
    Make("repointing", "NHL 3.5", ("1:3",), (20, 30), (10, 18), (40, 90), 0.2),
    Make("repointing", "lime_putty", ("1:3",), (15, 30), (8, 12), (50, 100), 0.1),
    Make("repointing", "cement_lime", ("1:1:6",), (15, 30), (18, 40), (15, 50), 0.6),
)
DRAINED = (Make("drainage_board", "polyethylene", ("",), (8, 20), (5e3, 2e4), (0, 0), 0.0, drains=True),)


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer as it truly is: thickness in mm, ``sd`` in metres of air, ``flow`` in g/m² a day at full."""

    make: Make
    mix: str
    thick: float
    sd: float
    flow: float

    @property
    def wet(self) -> float:
        """Mixing water in kg/m²."""
        mineral = self.make.kind in ("parge_coat", "plaster", "limewash", "repointing")
        part = 0.07 if self.make.kind == "repointing" else 0.14
        return part * self.thick if mineral else 0.0


def draw_layer(rng: Rng, makes: tuple[Make, ...]) -> Layer:
    """A layer of one of ``makes``."""
    make = makes[rng.integers(len(makes))]
    thick = float(rng.uniform(*make.thick))
    mu = float(np.exp(rng.uniform(*np.log(make.mu))))
    mix = make.mixes[rng.integers(len(make.mixes))]
    sd = 0.01 if make.kind == "repointing" else mu * thick / 1000
    return Layer(make, mix, thick, sd, float(rng.uniform(*make.flow)))


def draw_system(rng: Rng, dense: float, *, pointing: float = 0.15) -> list[Layer]:
    """What somebody with a liking ``dense`` (0 to 1) for dense work puts on a bare wall; may be pointing."""
    if rng.random() < pointing:
        return [draw_layer(rng, POINTING)]
    if rng.random() < 0.06 + 0.74 * dense:
        return [draw_layer(rng, DENSE[:2] if rng.random() < 0.75 else DENSE[2:])]
    layers = [draw_layer(rng, LIME if rng.random() < 0.6 else MIDDLE)]
    if rng.random() < 0.5:
        layers.append(draw_layer(rng, CLOSED_PAINT if rng.random() < 0.05 + 0.35 * dense else PAINT))
    return layers


class Patches:
    """The patches of every section and their clocks; arrays (S, P) of thresholds, (S,) of clocks."""

    def __init__(self, rng: Rng, sections: int) -> None:
        self.rng = rng
        self.size = rng.dirichlet(np.full(PATCHES, 1.2), sections)
        shape = (sections, PATCHES)
        self.loosens, self.waits = np.full(shape, np.inf), np.full(shape, np.inf)
        self.since = np.full(shape, np.inf)
        self.gone = np.zeros(shape, dtype=bool)
        self.clock, self.fall_clock = np.zeros(sections), np.zeros(sections)
        self.mended = np.zeros(sections)

    def renew(self, section: int, *, at: float = 0.0) -> None:
        """A whole new coat, its clock at ``at``."""
        frail = self.rng.gamma(FRAILTY, 1 / FRAILTY, PATCHES) + 1e-9
        self.loosens[section] = self.rng.exponential(1, PATCHES) / frail
        self.waits[section] = self.rng.gamma(WAITING, 1 / WAITING, PATCHES)
        self.since[section], self.gone[section] = np.inf, False
        self.clock[section], self.fall_clock[section] = at, 0.0
        self.mended[section] = 0.0

    def strip(self, section: int) -> None:
        """No coat: nothing can come loose."""
        self.renew(section)
        self.loosens[section] = np.inf

    def patch(self, section: int) -> float:
        """Mend what is loose or has fallen; the share of the coat that it was."""
        bad = np.isfinite(self.since[section])
        share = float(self.size[section][bad].sum())
        frail = self.rng.gamma(FRAILTY, 1 / FRAILTY, PATCHES) + 1e-9
        again = self.clock[section] + self.rng.exponential(1, PATCHES) / frail
        self.loosens[section] = np.where(bad, again, self.loosens[section])
        self.since[section][bad], self.gone[section][bad] = np.inf, False
        self.mended[section] = min(1.0, self.mended[section] + share)
        return share

    def run(self, loosening: FloatArray, falling: FloatArray) -> FloatArray:
        """Let the clocks run on by these amounts (S,); the share of each coat that comes loose meanwhile."""
        self.clock += loosening
        self.fall_clock += falling
        fresh = (self.clock[:, None] >= self.loosens) & np.isinf(self.since)
        if fresh.any():
            section, patch = np.nonzero(fresh)
            self.since[section, patch] = self.fall_clock[section]
        self.gone |= self.fall_clock[:, None] >= self.since + self.waits
        return (self.size * fresh).sum(axis=1)

    def shares(self) -> tuple[FloatArray, FloatArray]:
        """Shares that hang loose and that have fallen: (S,) each."""
        fallen = (self.size * self.gone).sum(axis=1)
        return (self.size * np.isfinite(self.since)).sum(axis=1) - fallen, fallen
