"""Years of a portfolio: the walls run through their weeks, are painted, flooded, mended and recoated."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

import numpy as np

from tests.simulation.profile import coats
from tests.simulation.profile.climate import Climate
from tests.simulation.profile.coats import Layer, System
from tests.simulation.profile.column import Column, FloatArray
from tests.simulation.profile.places import HEIGHTS, Leak, Plan

#: Weeks between kept states.
EVERY = 2

#: Share of a coat fallen from which an owner may patch it, and lost from which he may renew it.
PATCH_FROM, RENEW_FROM = 0.03, 0.14

#: What is kept of each wall and height, and of each wall.
BY_CELL = (
    "near", "middle", "passed", "offered", "liquid", "loose", "gone", "salt_behind", "salt_face",
    "soft", "steep",
)  # fmt: skip
BY_WALL = ("fresh", "coat_water", "sd", "drain", "covered", "dry_loss", "mended", "number", "sheet")


@dataclass(slots=True)
class Put:
    """A layer that was put on a wall: its number from the wall outward, and the weeks of its life."""

    wall: int
    layer: int
    what: Layer
    coat: System
    week: int
    removed: int = -1
    reason: str = ""


@dataclass(slots=True)
class Event:
    """A row of the events; ``wall`` is -1 where it was the whole house's."""

    house: int
    wall: int
    week: int
    kind: str
    area: float = np.nan
    note: str = ""


@dataclass(slots=True)
class Life:
    """What happened, and the kept states: ``cells[name]`` (K, S, Z) and ``walls[name]`` (K, S)."""

    week: FloatArray
    cells: dict[str, FloatArray]
    walls: dict[str, FloatArray]
    puts: list[Put] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)

    def at(self, week: float) -> int:
        """Index of the last state kept up to a week."""
        return int(week) // EVERY


def live(rng: np.random.Generator, plan: Plan, climate: Climate) -> Life:
    """Run the portfolio from the first week of the grid to the last."""
    column = Column(rng, plan, climate)
    kept = plan.weeks // EVERY
    shape = (kept, len(plan.walls))
    life = Life(
        week=EVERY * np.arange(kept, dtype=float),
        cells={name: np.zeros((*shape, HEIGHTS), dtype=np.float32) for name in BY_CELL},
        walls={name: np.zeros(shape, dtype=np.float32) for name in BY_WALL},
    )
    owner = _Owner(rng, plan, column, life)
    agenda = owner.agenda()
    owner.furnish()
    for week in range(kept * EVERY):
        for act, *rest in agenda.get(week, ()):
            act(week, *rest)
        column.step(week)
        if week % EVERY == 0:
            _keep(life, week // EVERY, column, owner)
    return life


def _keep(life: Life, k: int, column: Column, owner: _Owner) -> None:
    cells, walls = life.cells, life.walls
    cells["near"][k], cells["middle"][k] = column.w[:, :, 0], column.w[:, :, 1]
    cells["offered"][k] = column.inner * column.w[:, :, 1] ** 3
    cells["loose"][k] = (column.loose & ~column.fallen).mean(axis=2)
    for name in ("passed", "liquid", "gone", "salt_behind", "salt_face", "soft", "steep"):
        cells[name][k] = getattr(column, name)
    for name in ("sd", "drain", "covered", "sheet"):
        walls[name][k] = getattr(column, name)[:, 0]
    for name in ("fresh", "coat_water", "dry_loss", "mended"):
        walls[name][k] = getattr(column, name)
    walls["number"][k] = owner.number


class _Owner:
    """What owners and accidents do to the walls, and the book they keep of it."""

    def __init__(self, rng: np.random.Generator, plan: Plan, column: Column, life: Life) -> None:
        self.rng, self.plan, self.column, self.life = rng, plan, column, life
        self.number = np.zeros(len(plan.walls))
        self.standing: list[list[Put]] = [[] for _ in plan.walls]

    def agenda(self) -> dict[int, list[tuple]]:  # type: ignore[type-arg]
        """What is to happen, by week."""
        agenda: dict[int, list[tuple]] = defaultdict(list)  # type: ignore[type-arg]
        for i, wall in enumerate(self.plan.walls):
            if wall.first_week > 0:
                agenda[wall.first_week].append((self._recoat, i, wall.first_coat, "planned"))
            for week, kind, coat in wall.works:
                if kind == "paint":
                    agenda[week].append((self._paint, i))
                elif kind == "recoat":
                    agenda[week].append((self._recoat, i, coat, "planned"))
                elif kind == "strip":
                    agenda[week].append((self._strip, i))
                else:
                    agenda[week].append((self._repoint, i))
            for leak in wall.leaks:
                agenda[leak.start].append((self._leak, i, leak, True))
                agenda[leak.end].append((self._leak, i, leak, False))
        for h, house in enumerate(self.plan.houses):
            for week, height in house.floods:
                agenda[week].append((self._flood, h, height))
            for week in range(house.works_week, self.plan.weeks, 52):
                agenda[week].append((self._look_after, h))
            for week, note in ((house.dryer[0], "dehumidifier set up"), (house.heated_from, "cellar heated")):
                if week > house.first and self.rng.random() < 0.7:
                    self.life.events.append(Event(h, -1, week, "other", note=note))
        return agenda

    def furnish(self) -> None:
        """Walls as they stand when the grid begins: an older coat under what is put on later."""
        for i, wall in enumerate(self.plan.walls):
            if wall.first_week > 0:
                coat = coats.mortar(self.rng, str(self.rng.choice(["lime", "clay", "nhl"])))
                week = -int(self.rng.exponential(12) * 52)
            else:
                coat, week = wall.first_coat, wall.first_week
            self.column.put_on(i, coat, max(-week / 52, 0.1))
            self._write(i, coat.layers, coat, week)

    def _write(self, wall: int, layers: tuple[Layer, ...], coat: System, week: int) -> None:
        for layer in layers:
            put = Put(wall, len(self.standing[wall]) + 1, layer, coat, week)
            self.standing[wall].append(put)
            self.life.puts.append(put)

    def _off(self, wall: int, week: int, reason: str) -> None:
        for put in self.standing[wall]:
            if put.what.kind != "repointing":
                put.removed, put.reason = week, reason
        self.standing[wall] = [put for put in self.standing[wall] if put.what.kind == "repointing"]
        self.number[wall] += 1

    def _recoat(self, week: int, wall: int, coat: System, reason: str) -> None:
        self._off(wall, week, reason)
        self.column.put_on(wall, coat)
        self._write(wall, coat.layers, coat, week)

    def _paint(self, week: int, wall: int) -> None:
        coat = self.column.coat[wall]
        if coat is None or coat.sd > 5:
            return
        name = str(self.rng.choice(["emulsion", "alkyd", "epoxy", "bitumen"], p=[0.35, 0.4, 0.15, 0.1]))
        painted = coats.finish(self.rng, coat, name)
        self.column.dress(wall, painted)
        self._write(wall, painted.layers[-1:], painted, week)

    def _strip(self, week: int, wall: int) -> None:
        self._off(wall, week, "planned")
        self.column.strip(wall)

    def _repoint(self, week: int, wall: int) -> None:
        if self.column.covered[wall, 0]:
            return
        joint = Layer(
            "repointing", str(self.rng.choice(["NHL 2", "lime_putty"])), "1:3", 20.0, np.nan, np.nan
        )
        self._write(wall, (joint,), _POINTING, week)
        self.column.coat_water[wall] += 1.0

    def _leak(self, week: int, wall: int, leak: Leak, begins: bool) -> None:
        cells = np.clip([leak.cell - 1, leak.cell, leak.cell + 1], 0, HEIGHTS - 1)
        if begins:
            self.column.leak[wall, cells, int(leak.rain_fed)] += leak.rate
            self.column.leak[wall, cells, 2] = leak.crack
            return
        self.column.leak[wall] = 0.0
        if leak.noted:
            house = self.plan.walls[wall].house
            self.life.events.append(Event(house, wall, week, "leak_mended"))

    def _flood(self, week: int, house: int, height: float) -> None:
        walls = [i for i, wall in enumerate(self.plan.walls) if wall.house == house]
        self.column.flood(walls, height)
        if self.rng.random() < 0.85:
            note = f"water stood {height:.1f} m high"
            self.life.events.append(Event(house, -1, week, "flood", note=note))

    def _look_after(self, week: int, house: int) -> None:
        """Once a year: patch what has fallen, or take a failed coat off and put on another."""
        column, rng, owner = self.column, self.rng, self.plan.houses[house]
        if week < owner.first:
            return
        for i, wall in enumerate(self.plan.walls):
            if wall.house != house or not column.covered[i, 0]:
                continue
            gone = column.gone[i].mean()
            if gone + column.mended[i] > RENEW_FROM and rng.random() < 0.1:
                taste = np.clip(owner.taste + rng.normal(0, 0.2), 0, 1)
                self._recoat(week, i, coats.draw(rng, float(taste)), "failed")
            elif gone > PATCH_FROM and rng.random() < 0.15:
                area = column.patch(i) * wall.length * wall.height
                if rng.random() < 0.85:
                    self.life.events.append(Event(house, i, week, "repair", area))


_POINTING = System((), 0.0, 0.0, 0.0, 1.0, 1.0, 0.0)
