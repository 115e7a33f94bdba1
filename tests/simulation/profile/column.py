"""The walls as columns of cells by height and depth, all walls of a portfolio together, a week at a step.

Water moves down the gradient of ``w**3`` (a capillary potential: wet stone conducts, dry stone hardly does),
sinks by its weight where the wall is nearly full, comes from footing, soil, splash and leaks, and leaves to
the room as vapour through the coats, as liquid through coats that suck, and to the outside above grade.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from tests.simulation.profile.climate import FILM, Climate, cell_heights
from tests.simulation.profile.coats import System
from tests.simulation.profile.places import COLUMNS, DEPTHS, HEIGHTS, STEP, Plan

FloatArray = npt.NDArray[np.float64]

#: Vapour conductivity of still air, kg/(m·day·Pa); and metres of air of the film before a face.
AIR = 2.0e-10 * 86400
FILM_SD = AIR / FILM

#: Depth in metres of the cells behind the coat.
SKIN_DEPTH = 0.12

#: Weeks in which the grid's first walls settle, and how much faster than time they do.
SETTLING, HASTE = 150, 2.5

#: Metres of air of a wall's dried-out inner skin, at most.
SKIN = 0.35

#: Metres of air by which the wall in a hole of a coat dries out before the wall beside it does.
HOLE = 0.3

#: Kilograms a day that a wet face can run down beyond what it evaporates, per m².
RUNS = 0.04

#: Fullness behind the coat above which it softens the bond, and the yearly damage of each cause at full
#: force. A bond's strength is about 1.
SOFTENS = 0.55
WET, CRYSTALS, FREEZES, PULLS, SHRINKS, AGES, PUSHES = 0.075, 0.08, 0.08, 0.004, 0.08, 0.0015, 0.04

#: Years that a coat takes to be steeped from behind: one that sucks, and how many more a dense one.
STEEPS, DENSER = 0.3, 4.0

#: Years from loose to fallen for an ordinary piece.
HANGS = 5.5


class Column:
    """State of S walls: ``w`` (S, Z, 3) is free water as a share of what the pores hold."""

    def __init__(self, rng: np.random.Generator, plan: Plan, climate: Climate) -> None:
        self.rng, self.plan, self.climate = rng, plan, climate
        walls = len(plan.walls)
        pores, thick = plan.of("pores")[:, None], plan.of("thickness")
        depth = np.stack(
            [np.full(walls, SKIN_DEPTH), 0.35 * (thick - SKIN_DEPTH), 0.65 * (thick - SKIN_DEPTH)], 1
        )
        self.capacity = (1000 * pores * depth)[:, None, :]
        dz = plan.of("height") / HEIGHTS
        self.rise = np.minimum(plan.of("rise") / dz**2, 0.02)[:, None, None]
        self.sink = self.rise * dz[:, None, None] / 1.3
        self.inner, self.middle = plan.of("inner")[:, None], plan.of("middle")[:, None]
        self.soil = plan.of("soil")[:, None]
        under = plan.of("below")[:, None] - cell_heights(plan)
        self.open_air = 9e-6 * (under < 0) * (plan.of("soil")[:, None] > 0)
        self.splash = 0.016 * plan.of("splash")[:, None] * np.exp(-(((under + 0.08) / 0.25) ** 2))
        self.salt_in = plan.of_house("salt")[:, None]
        self.pressure = np.clip(under, 0, None) / 2.0

        foot = np.clip(plan.of("foot") - 0.05, 0.1, 0.95)[:, None]
        self.w = np.repeat(np.clip(foot * np.linspace(0.9, 0.3, HEIGHTS), 0.06, 0.9)[:, :, None], DEPTHS, 2)
        self.leak = np.zeros((walls, HEIGHTS, 3))
        self.fresh = np.zeros(walls)
        self.coat_water = np.zeros(walls)
        self.salt_behind = 0.1 * rng.random((walls, HEIGHTS))
        self.salt_face = np.zeros((walls, HEIGHTS))
        self.soft = np.zeros((walls, HEIGHTS))
        self.steep = np.zeros((walls, HEIGHTS))
        self.passed = np.zeros((walls, HEIGHTS))
        self.liquid = np.zeros((walls, HEIGHTS))
        self._coat_arrays(walls)

    def _coat_arrays(self, walls: int) -> None:
        shape = (walls, HEIGHTS)
        self.coat: list[System | None] = [None] * walls
        for name in ("sd", "suck", "stiff", "shrinks", "bears", "age", "drain", "sheet", "covered", "sealed"):
            setattr(self, name, np.zeros((walls, 1)))
        self.suck[:], self.bears[:] = 0.3, 1.0
        self.damage = np.zeros(shape)
        self.strength = np.full((*shape, COLUMNS), np.inf)
        self.hold = np.ones((*shape, COLUMNS))
        self.hang = np.zeros((*shape, COLUMNS))
        self.loose = np.zeros((*shape, COLUMNS), dtype=bool)
        self.fallen = np.zeros((*shape, COLUMNS), dtype=bool)
        self.gone = np.ones(shape)
        self.dry_loss = np.zeros(walls)
        self.mended = np.zeros(walls)

    # Work on a wall ------------------------

    def put_on(self, wall: int, coat: System, years: float = 0.0) -> None:
        """A new coat, or one that has stood for ``years``."""
        self.strip(wall)
        self.dress(wall, coat)
        self.age[wall] = years
        self.covered[wall] = 1.0
        self.gone[wall] = 0.0
        rng = self.rng
        patch = rng.normal(size=(HEIGHTS, COLUMNS))
        patch = (patch + np.roll(patch, 1, 0) + np.roll(patch, 1, 1) + np.roll(patch, -1, 1)) / 2
        self.strength[wall] = coat.grip * np.exp(0.5 * patch)
        self.hold[wall] = rng.lognormal(0, 0.8, (HEIGHTS, COLUMNS))
        if years == 0:
            self.coat_water[wall] = coat.water
            room = (1 - self.w[wall, :, 0]) * self.capacity[wall, 0, 0]
            soaked = np.minimum(0.25 * coat.water, room)
            self.w[wall, :, 0] += soaked / self.capacity[wall, 0, 0]
            self.fresh[wall] += soaked.mean()

    def dress(self, wall: int, coat: System) -> None:
        """Give a wall's coat the numbers of ``coat``, its bond left as it is (a finish put over it)."""
        self.coat[wall] = coat
        self.sd[wall], self.suck[wall], self.stiff[wall] = coat.sd, coat.liquid, coat.stiff
        self.shrinks[wall], self.bears[wall] = coat.shrinks, coat.bears_salt
        self.drain[wall] = coat.drain in ("drain", "sump")
        self.sheet[wall] = coat.layers[0].binder == "polyethylene"
        self.sealed[wall] = min(1.0, coat.sd / (coat.sd + 0.4)) * (1 - min(1.0, coat.liquid / 0.06))

    def strip(self, wall: int) -> None:
        """Take the coat off: what it held back begins to leave."""
        wet = np.maximum(self.w[wall, :, :2] - 0.4, 0) * self.capacity[wall, 0, :2]
        self.fresh[wall] += wet.sum(axis=1).mean() * float(self.sealed[wall, 0])
        for name in ("sd", "stiff", "shrinks", "drain", "sheet", "covered", "sealed", "age"):
            getattr(self, name)[wall] = 0.0
        self.coat[wall] = None
        self.suck[wall], self.bears[wall] = 0.3, 1.0
        self.coat_water[wall] = 0.0
        self.damage[wall] = 0.0
        self.steep[wall] = 0.0
        self.strength[wall] = np.inf
        for name in ("hang", "loose", "fallen", "dry_loss", "mended", "salt_face"):
            getattr(self, name)[wall] = 0
        self.gone[wall] = 1.0
        self.salt_behind[wall] *= 0.6

    def patch(self, wall: int) -> float:
        """Mend what has fallen and half of what is loose; the share of the coat that was mended."""
        new = self.fallen[wall] | (self.loose[wall] & (self.rng.random((HEIGHTS, COLUMNS)) < 0.5))
        self.mended[wall] += self.fallen[wall].mean()
        self.strength[wall][new] = self.damage[wall].repeat(COLUMNS).reshape(HEIGHTS, COLUMNS)[
            new
        ] + self.rng.lognormal(-0.1, 0.4, new.sum())
        self.hang[wall][new] = 0.0
        self.loose[wall] &= ~new
        self.fallen[wall] &= ~new
        self.gone[wall] = self.fallen[wall].mean(axis=1)
        return float(new.mean())

    def flood(self, walls: list[int], height: float) -> None:
        """Water stood to ``height`` metres in the room: what it reached is full."""
        for wall in walls:
            reach = (np.arange(HEIGHTS) + 0.3) / HEIGHTS * self.plan.walls[wall].height < height
            to = np.array([0.97, 0.85, 0.7])
            gain = np.maximum(to - self.w[wall], 0) * reach[:, None]
            self.w[wall] += gain
            self.fresh[wall] += (gain * self.capacity[wall]).sum() / HEIGHTS
            self.coat_water[wall] += reach.mean() * (2.0 if self.covered[wall, 0] else 0.0)

    # A week ------------------------

    def step(self, week: int) -> None:
        """Move the water by one week."""
        climate, w = self.climate, self.w
        phi = w**3
        change = np.zeros_like(w)
        up = self.rise * (phi[:, :-1] - phi[:, 1:]) - self.sink * w[:, 1:] ** 8
        change[:, :-1] -= up
        change[:, 1:] += up
        below = climate.foot[week][:, None] - phi[:, 0]
        change[:, 0] += 1.5 * self.rise[:, 0] * np.where(below > 0, below, 0.4 * below)

        flow = np.zeros_like(w)
        to_face = self.inner * (phi[:, :, 1] - phi[:, :, 0])
        to_middle = self.middle * (phi[:, :, 2] - phi[:, :, 1])
        offered = climate.offer[week] - phi[:, :, 2]
        flow[:, :, 2] += self.soil * np.where(offered > 0, offered, 0.3 * offered) - to_middle
        rain, drought = climate.rain[week][:, None], climate.drought[week][:, None]
        flow[:, :, 2] += self.splash * rain * (1 - w[:, :, 2]) - self.open_air * drought * w[:, :, 2]
        flow[:, :, 1] += to_middle - to_face
        flow[:, :, 0] += to_face
        out, leaked = self._to_room(week, w[:, :, 0], phi[:, :, 0], flow)
        w += STEP * (HASTE if week < SETTLING else 1) * (change + flow / self.capacity)
        np.clip(w, 0.03, 1.0, out=w)

        held = (w * self.capacity).sum(axis=(1, 2)) / HEIGHTS
        left = np.minimum(1.0, 3 * self.fresh / held) * out.mean(axis=1) * STEP
        dried = self.coat_water * 0.14 / (1 + self.sd[:, 0])
        self.coat_water -= dried
        self.fresh += leaked * STEP - np.minimum(left, self.fresh)
        self.age += STEP / 365.25
        if week % 4 == 0:
            self._bond(week, 4 * STEP / 365.25)

    def _to_room(
        self, week: int, near: FloatArray, phi: FloatArray, flow: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Vapour and liquid that leave to the room, taken from ``flow``; leaks come in here as well."""
        climate = self.climate
        damp = 1 - np.exp(-near / 0.07)
        pull = climate.face_p[week] * (0.5 + 0.5 * damp) - climate.room_p[week][:, None]
        skin = FILM_SD + SKIN * np.maximum(1 - near / 0.4, 0)
        ease = (1 - self.gone) / (self.sd + skin) + self.gone / (skin + HOLE * (self.covered > 0))
        vapour = AIR * ease * np.maximum(pull, 0)
        leak = self.leak.copy()
        leak[:, :, 1] *= climate.rain[week][:, None] / 2.0
        coming = leak[:, :, 0] + leak[:, :, 1]
        straight = coming * leak[:, :, 2] * np.where(self.sealed > 0.6, 0.1, 1.0)
        suck = (
            np.minimum(self.suck, 0.3) * (1 - self.gone) + np.where(self.covered > 0, 0.06, 0.3) * self.gone
        )
        liquid = suck * phi * np.minimum(near / 0.3, 1)
        can = FILM * np.maximum(climate.face_p[week] - climate.room_p[week][:, None], 0) + RUNS
        liquid = np.minimum(liquid, can)
        have = np.maximum(near - 0.04, 0) * self.capacity[:, :, 0] / STEP * 0.6
        ratio = np.minimum(1.0, have / np.maximum(vapour + liquid, 1e-9))
        vapour, liquid = vapour * ratio, liquid * ratio
        drained = np.where(self.drain > 0, 0.06 * phi, 0.0)
        into = (coming - straight) * (1 - near)
        flow[:, :, 0] += 0.5 * into - vapour - liquid - drained
        flow[:, :, 1] += 0.5 * into
        self.passed, self.liquid = vapour + liquid + drained, liquid + straight
        self.salt_behind += STEP * self.salt_in * vapour * damp * 0.012
        self.salt_face += STEP * self.salt_in * self.liquid * 0.006
        np.minimum(self.salt_behind, 1.5, out=self.salt_behind)
        np.minimum(self.salt_face, 1.0, out=self.salt_face)
        return self.passed, into.mean(axis=1)

    def _bond(self, week: int, years: float) -> None:
        """What loosens the coat, cell by cell, and what falls of the loose."""
        near = self.w[:, :, 0]
        soaked = np.clip((near - SOFTENS) / (1 - SOFTENS), 0, 1)
        rate = WET * soaked * (0.2 + self.sealed) * (0.6 + 0.4 * self.stiff)
        rate += CRYSTALS * self.salt_behind * np.clip(self.passed / 0.01, 0, 1) / self.bears**2 * 0.5
        rate += FREEZES * self.climate.frost[week] * np.clip(near - 0.5, 0, 1)
        rate += PUSHES * self.sealed * self.pressure * np.clip((near - 0.85) / 0.15, 0, 1)
        rate += PULLS * self.stiff * (1 + 0.2 * self.climate.frost[week]) + AGES
        rate += SHRINKS * self.shrinks * np.exp(-self.age / 0.7)
        self.damage += years * rate * (self.covered > 0)
        loose = self.loose | (self.damage[:, :, None] > self.strength)
        new = loose & ~self.loose
        dry = np.clip((0.45 - near) / 0.05, 0, 1)
        self.dry_loss += (new.mean(axis=2) * dry).mean(axis=1)
        self.hang += years * loose * (0.6 + 0.6 * soaked + 0.3 * self.climate.frost[week])[:, :, None]
        self.fallen |= self.hang > HANGS * self.hold
        self.loose = loose
        self.gone = np.where(self.covered > 0, self.fallen.mean(axis=2), 1.0)
        # An open coat dries at its face, a dense one stays as wet as it was steeped.
        steep = near**2 * (0.2 + 0.8 * self.sealed)
        self.steep += np.minimum(years / (STEEPS + DENSER * self.sealed), 1) * (steep - self.steep)
        self.soft += years * 1.5 * np.clip((near - 0.6) / 0.4, 0, 1)
