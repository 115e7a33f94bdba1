"""What owners do to their walls, and the ledger of it: true layers with their days, and happenings."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

import numpy as np

from inspections.analysis.records import YEAR, FloatArray
from tests.simulation.chance.coats import (
    CLOSED_PAINT,
    DENSE,
    DRAINED,
    POINTING,
    Layer,
    Patches,
    draw_layer,
    draw_system,
)
from tests.simulation.chance.places import Fault, House, Walls
from tests.simulation.chance.water import STEP
from tests.simulation.chance.weather import Rng


@dataclass(slots=True)
class Placed:
    """A layer on a section from ``applied`` until ``removed`` (days), ``number`` outward from the wall."""

    section: int
    number: int
    layer: Layer
    applied: float
    removed: float = np.inf
    reason: str = ""
    found: bool = False
    purpose: str = "permanent"
    share: float = 1.0


@dataclass(slots=True)
class Happened:
    """Something done or suffered on a day; ``section`` is -1 where it was the whole house's."""

    house: int
    section: int
    day: float
    kind: str
    area: float = np.nan


@dataclass(slots=True)
class Ledger:
    placed: list[Placed] = field(default_factory=list)
    happened: list[Happened] = field(default_factory=list)


class Systems:
    """The coats that hang now, and their sums as arrays (S,): ``sd``, ``flow``, stiffness, thickness."""

    def __init__(self, rng: Rng, houses: list[House], walls: Walls) -> None:
        self.rng, self.houses, self.walls = rng, houses, walls
        self.ledger = Ledger()
        self.patches = Patches(rng, len(walls))
        n = len(walls)
        self.now: list[list[Placed]] = [[] for _ in range(n)]
        self.sd, self.thick, self.stiff = np.zeros(n), np.zeros(n), np.zeros(n)
        self.flow = walls.carries.copy()
        self.since = np.full(n, -1e9)
        #: How damp the owner takes each wall to be, 0 to 1.
        self.damp = np.zeros(n)
        #: When the coat was put on that stood when care began.
        self.stood = np.zeros(n)
        self.covered, self.outlet = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
        #: Mixing water that came with the last works and has not been given to the walls yet.
        self.brought = np.zeros(n)
        self.cause = np.full(n, -np.inf)
        self.due: dict[int, list[tuple[int, str]]] = defaultdict(list)

    def put(self, section: int, layers: list[Layer], day: float, *, found: bool = False) -> None:
        """Hang these layers over what is there."""
        for layer in layers:
            number = len(self.now[section]) + 1
            placed = Placed(section, number, layer, day, found=found)
            self.now[section].append(placed)
            self.ledger.placed.append(placed)
            self.brought[section] += layer.wet
            if layer.wet > 0.5:
                self.cause[section] = day
        self.since[section] = day
        self.patches.renew(section)
        self._sum(section)

    def strip(self, section: int, day: float, reason: str) -> None:
        """Take all layers off."""
        for placed in self.now[section]:
            placed.removed, placed.reason = day, reason
        if self.now[section]:
            self.cause[section] = day
        self.now[section] = []
        self.patches.strip(section)
        self._sum(section)

    def _sum(self, s: int) -> None:
        layers = [placed.layer for placed in self.now[s]]
        self.covered[s] = bool(layers)
        self.sd[s] = sum(layer.sd for layer in layers)
        self.thick[s] = sum(layer.thick for layer in layers if layer.make.kind != "repointing")
        self.stiff[s] = max((layer.make.stiff for layer in layers), default=0.0)
        carry = [self.walls.carries[s], *(layer.flow for layer in layers)]
        self.flow[s] = 0.0 if min(carry) <= 0 else 1 / sum(1 / flow for flow in carry)
        self.outlet[s] = any(layer.make.drains for layer in layers)

    # Works ------------------------

    def plan(self, first: float, faults: list[Fault]) -> None:
        """Draw what hangs when care begins, and the works that come whatever the walls are like."""
        rng = self.rng
        for fault in faults:
            self._later(first, fault.end, fault.section, "mended and told" if fault.told else "mended")
        for i, house in enumerate(self.houses):
            own = np.flatnonzero(self.walls.house == i)
            anew = rng.random() < 0.62
            for s in own:
                self.stood[s] = house.begin - rng.gamma(1.6, 5.0) * YEAR
                self._later(first, max(first, self.stood[s]), s, "found")
                if anew or rng.random() < 0.12:
                    self._later(first, house.begin + rng.uniform(20, 300), s, "renew")
            for _ in range(rng.poisson(0.035 * (house.end - house.begin) / YEAR)):
                day = rng.uniform(house.begin + 200, house.end)
                what = str(
                    rng.choice(("renew", "over", "paint", "board", "open"), p=(0.45, 0.2, 0.2, 0.07, 0.08))
                )
                for s in rng.permutation(own)[: rng.integers(1, len(own))]:
                    self._later(first, day + rng.integers(0, 30), s, what)

    def _later(self, first: float, day: float, section: int, what: str) -> None:
        self.due[int((day - first) // STEP)].append((int(section), what))

    def work(self, step: int, day: float) -> None:
        """Do what is due at this step; one work a section."""
        for section, what in self.due.pop(step, ()):
            if what.startswith("mended"):
                self.cause[section] = day
                if what == "mended and told":
                    house = int(self.walls.house[section])
                    self.ledger.happened.append(Happened(house, section, day, "leak_mended"))
            elif self.since[section] < day:
                self.do(section, what, day)

    def do(self, s: int, what: str, day: float) -> None:
        """One work on one section."""
        rng, house = self.rng, self.houses[self.walls.house[s]]
        if self.outlet[s] and what != "open":
            return
        hollow, fallen = (share[s] for share in self.patches.shares())
        reason = "failed" if hollow + fallen > 0.1 else "planned"
        if what == "found":
            if rng.random() < 0.1:
                return
            own = self.stood[s]
            self.put(s, draw_system(rng, 0.2 * house.dense, pointing=0.12), own, found=True)
            self.patches.clock[s] = 0.003 * (day - own) / YEAR
            if day - own > 2 * YEAR:
                self.brought[s] = 0.0
        elif what in ("over", "paint"):
            makes = CLOSED_PAINT if what == "paint" else DENSE[:3]
            loose = hollow + fallen > 0.25 or len(self.now[s]) > 2
            pointed = any(placed.layer.make.kind == "repointing" for placed in self.now[s])
            if loose or (pointed and what == "paint"):
                self.do(s, "renew", day)
            elif rng.random() < 0.3 + 0.7 * house.dense:
                self.patch(s, day)
                self.put(s, [draw_layer(rng, makes)], day)
        else:
            self.strip(s, day, reason)
            if what == "renew":
                self.put(s, draw_system(rng, min(1.2, house.dense + 0.2 * self.damp[s])), day)
            elif what == "board":
                self.put(s, [draw_layer(rng, DRAINED)], day)
            elif what == "open" and rng.random() < 0.6:
                self._wait(s, day)

    def _wait(self, s: int, day: float) -> None:
        """A stripped wall that is left to dry is pointed or coated in the open way later."""
        layer = draw_layer(self.rng, POINTING)
        self.put(s, [layer], day + STEP)

    def patch(self, s: int, day: float) -> None:
        """Mend what is loose."""
        share = self.patches.patch(s)
        if share > 0:
            area = share * self.walls.area[s]
            self.ledger.happened.append(Happened(int(self.walls.house[s]), s, day, "repair", area))

    def look(self, step: int, day: float, damp: FloatArray) -> None:
        """Twice a year: owners mend coats that have lost too much, and close up faces that are damp."""
        rng = self.rng
        hollow, fallen = self.patches.shares()
        for s in range(len(self.walls)):
            house = self.houses[self.walls.house[s]]
            if not house.begin + 180 < day < house.end or not self.covered[s]:
                continue
            soon = step + int(rng.integers(4, 60))
            if fallen[s] + 0.3 * hollow[s] > house.tolerance and rng.random() < 0.12 * house.active:
                self.due[soon].append((s, "renew"))
            elif fallen[s] > 0.03 and rng.random() < 0.12 * house.active:
                self.patch(s, day)
            elif damp[s] > 0.45 and rng.random() < 0.04 * house.active:
                what = str(rng.choice(("over", "paint", "board", "renew"), p=(0.4, 0.3, 0.1, 0.2)))
                self.due[soon].append((s, what))
