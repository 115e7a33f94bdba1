"""A portfolio's years: water, coats coming loose, leaks, and the owner's interventions."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .climate import STEP, Climate, FloatArray
from .coats import draw_outlet, draw_system
from .plan import Coating, Event, Plan
from .style import Style
from .water import CoatState, Leaks, Walls, Water, advance

#: Steps between two looks at what has come loose (a month), and between two decisions of the owner.
MONTH, HALF_YEAR, YEAR = 10, 61, 122
#: Share of a year in one month's look.
MONTH_YEARS = MONTH * STEP / 365.25
#: A gamma process comes loose in pieces: pieces per unit of area.
PIECES = 60.0


@dataclass(slots=True)
class History:
    """What truly went on: arrays (steps, sections). Fills and areas are shares, ``soft`` is in mm."""

    fill: FloatArray
    face: FloatArray
    sweat: FloatArray
    out: FloatArray
    excess: FloatArray
    seep: FloatArray
    hollow: FloatArray
    lost: FloatArray
    worn: FloatArray
    soft: FloatArray
    salt_cover: FloatArray
    held: FloatArray
    free: FloatArray
    covered: FloatArray
    drained: FloatArray

    @classmethod
    def empty(cls, steps: int, sections: int) -> History:
        """All zero."""
        return cls(*(np.zeros((steps, sections)) for _ in cls.__slots__))


@dataclass(slots=True)
class Damage:
    """Loosening so far, shape (sections,)."""

    hollow: FloatArray
    lost: FloatArray
    worn: FloatArray
    drive: FloatArray
    held: FloatArray
    soft: FloatArray
    salt_cover: FloatArray


@dataclass(slots=True)
class Frailty:
    """How readily each section is harmed, shape (sections,); rates in shares a year, ``delay`` in years."""

    wet_rate: FloatArray
    delay: FloatArray
    fall: FloatArray
    soft_rate: FloatArray


@dataclass(slots=True)
class Life:
    """A portfolio being lived in. :meth:`run` fills ``history``, the coatings of the plan, and ``events``."""

    rng: np.random.Generator
    style: Style
    plan: Plan
    climate: Climate
    steps: int
    events: list[Event] = field(default_factory=list)
    leak_starts: dict[int, list[int]] = field(default_factory=dict)
    floods: dict[int, list[int]] = field(default_factory=dict)
    history: History = field(init=False)
    water: Water = field(init=False)
    first_held: FloatArray = field(init=False)
    walls: Walls = field(init=False)
    coat: CoatState = field(init=False)
    leaks: Leaks = field(init=False)
    damage: Damage = field(init=False)
    frailty: Frailty = field(init=False)
    coming: dict[int, list[tuple[int, Coating]]] = field(init=False)

    def __post_init__(self) -> None:
        sections, rng, n = self.plan.sections, self.rng, len(self.plan.sections)
        self.history = History.empty(self.steps, n)
        capacity = np.array([section.capacity for section in sections])
        fill = np.array([section.first_fill for section in sections])
        zeros = np.zeros(n)
        self.water = Water(fill * capacity, zeros.copy(), zeros.copy(), zeros.copy(), zeros.copy())
        self.walls = Walls(
            supply=np.array([section.supply for section in sections]),
            capacity=capacity,
            face_cold=rng.uniform(0.1, 0.45, n),
            wall_cold=rng.uniform(0.5, 0.9, n),
            drain=np.where(rng.random(n) < 0.3, rng.uniform(0.0, 0.004, n), 0.0),
            wet_weight=rng.uniform(0.2, 0.9, n),
        )
        self.coat = CoatState.bare(n)
        self.leaks = Leaks(*(np.zeros(n) for _ in range(5)))
        self.damage = Damage(*(np.zeros(n) for _ in range(7)))
        self.frailty = Frailty(
            wet_rate=self.style.debond_rate * rng.lognormal(0.0, 0.6, n),
            delay=rng.gamma(2.0, 0.6, n),
            fall=0.15 * rng.lognormal(0.0, 0.6, n),
            soft_rate=rng.lognormal(np.log(1.5), 0.6, n),
        )
        self.coming = {}
        for i, section in enumerate(sections):
            for coating in section.coatings:
                self.coming.setdefault(coating.start, []).append((i, coating))

    # One run -------------------------------------------------------------------------------------

    def run(self) -> None:
        """Live through every step."""
        self._settle_in()
        self._draw_leaks_and_floods()
        for step in range(self.steps):
            for section, coating in self.coming.pop(step, ()):
                self._put(section, coating, step)
            for section in self.leak_starts.pop(step, ()):
                self._spring(section, step)
            for house in self.floods.pop(step, ()):
                self._flood(house, step)
            self._record(step)
            if step % MONTH == MONTH - 1:
                self._loosen(step)
            if step % HALF_YEAR == HALF_YEAR - 1 and step > HALF_YEAR:
                self._decide(step)

    def _settle_in(self) -> None:
        """Two years under the first coats, so that what was long in place is not still finding its level."""
        self.first_held = self.water.held
        for section, coating in self.coming[0]:
            self._put(section, coating, 0)
        none = np.zeros(len(self.plan.sections))
        for step in range(min(2 * YEAR, self.steps)):
            advance(self.water, self.walls, self.coat, self.leaks, self.climate, step, none, none)

    def _record(self, step: int) -> None:
        h, d = self.history, self.damage
        flows = advance(self.water, self.walls, self.coat, self.leaks, self.climate, step, d.hollow, d.lost)
        h.fill[step], h.face[step], h.sweat[step], h.out[step] = (
            flows.fill,
            flows.face,
            flows.sweat,
            flows.out,
        )
        h.excess[step] = self.water.excess / self.walls.capacity
        h.seep[step] = flows.seep
        h.hollow[step], h.lost[step], h.worn[step] = d.hollow, d.lost, d.worn
        h.soft[step], h.salt_cover[step], h.held[step] = d.soft, d.salt_cover, d.held
        h.free[step], h.covered[step], h.drained[step] = (
            self.coat.free,
            self.coat.covered,
            self.coat.drain > 0,
        )

    # Coats ---------------------------------------------------------------------------------------

    def _put(self, i: int, coating: Coating, step: int) -> None:
        """Put a system on a section, or leave it bare; what was on it before is gone."""
        coat, damage, system = self.coat, self.damage, coating.system
        if coat.covered[i]:
            self._uncover(i)
        bare = CoatState.bare(1)
        for name in CoatState.__slots__:
            getattr(coat, name)[i] = getattr(bare, name)[0]
        damage.hollow[i] = damage.lost[i] = damage.worn[i] = damage.drive[i] = damage.held[i] = 0.0
        if system is None:
            return
        coat.sd[i], coat.finish_sd[i], coat.carries[i] = system.sd, system.finish_sd, system.carries
        coat.face_capacity[i], coat.free[i], coat.covered[i] = system.face_capacity, system.free, True
        coat.loosens[i], coat.wears[i] = system.loosens, system.wears
        coat.drain[i] = 0.05 if coating.drains_to in ("drain", "sump") else 0.0
        if coating.fill > 0:
            self.water.pour(i, coating.fill * self.walls.capacity[i] - self.water.wall[i])
            self.water.excess[i] = 0.0
        if step > 0:
            room = max(0.9 * self.walls.capacity[i] - self.water.wall[i], 0.0)
            self.water.pour(i, min(0.7 * system.mixing_water, room), 0.3 * system.mixing_water)

    def _uncover(self, i: int) -> None:
        """A wall that was kept wet counts as newly uncovered: what it holds above a damp wall's store."""
        surplus = self.water.wall[i] - 0.4 * self.walls.capacity[i]
        self.water.excess[i] = max(self.water.excess[i], surplus, 0.0)

    # Sources -------------------------------------------------------------------------------------

    def _draw_leaks_and_floods(self) -> None:
        rng, style = self.rng, self.style
        exposed = np.array([section.adjoins != "interior" for section in self.plan.sections])
        years = self.steps * STEP / 365.25
        for i in np.flatnonzero(exposed):
            if rng.random() < 5 * style.leak_rate:
                self.leak_starts.setdefault(0, []).append(int(i))
            for step in rng.integers(0, self.steps, rng.poisson(style.leak_rate * years)):
                self.leak_starts.setdefault(int(step), []).append(int(i))
        for step, house in self.plan.floods:
            self.floods.setdefault(step, []).append(house)
        for house in range(len(self.plan.houses)):
            for step in rng.integers(0, self.steps, rng.poisson(style.flood_rate * years)):
                self.floods.setdefault(int(step), []).append(house)
            wettest = np.argsort(-self.climate.rain[:, 0])[: rng.integers(0, 4)]
            for step in wettest:
                self.events.append(Event(int(step), "heavy_rain", -1, house))

    def _spring(self, i: int, step: int) -> None:
        rng, leaks = self.rng, self.leaks
        leaks.size[i] = 0.3 * rng.lognormal(0.0, 0.6)
        leaks.since[i] = step
        leaks.ramp[i] = rng.choice([5.0, 120.0, 600.0]) * rng.uniform(0.5, 1.5)
        leaks.rainy[i] = rng.uniform(0.1, 0.95)
        leaks.through[i] = rng.beta(4.0, 0.8)

    def _flood(self, house: int, step: int) -> None:
        kind = "sump_failure" if self.plan.houses[house].has_sump and self.rng.random() < 0.6 else "flood"
        self.events.append(Event(step, kind, -1, house))
        for i, section in enumerate(self.plan.sections):
            if section.house == house and self.rng.random() < 0.8:
                level = self.rng.uniform(0.5, 0.95) * self.walls.capacity[i]
                self.water.pour(i, max(level - self.water.wall[i], 0.0), 0.5)

    # Harm ----------------------------------------------------------------------------------------

    def _loosen(self, step: int) -> None:
        """A month's loosening, falling, softening and salt."""
        d, f, coat, rng = self.damage, self.frailty, self.coat, self.rng
        fill = self.water.wall / self.walls.capacity
        wet = np.clip((fill - 0.5) / 0.4, 0.0, 1.0)
        dense = 1 - np.clip(coat.carries / 0.3, 0.0, 1.0)
        d.drive += wet * MONTH_YEARS
        passed = self.history.out[max(step + 1 - YEAR, 0) : step + 1].mean(axis=0)
        tight = dense * np.clip((0.03 - passed) / 0.015, 0.0, 1.0)  # what passes takes its salt to the face
        d.held += np.clip((fill - 0.35) / 0.15, 0.0, 1.0) * tight * MONTH_YEARS
        salt = np.array([section.salt for section in self.plan.sections])
        sticks = coat.covered & ~coat.free
        wet_rate = (
            f.wet_rate * wet * (0.25 + 0.75 * dense) * (1 + np.minimum(salt, 2.0)) * (d.drive > f.delay)
        )
        wear = np.array([section.wear for section in self.plan.sections])
        dry_rate = wear * np.where(coat.covered, 0.5 + 0.25 * (coat.loosens + coat.wears), 0.0)
        sound = 1 - d.hollow - d.lost
        grows = (1 + 2 * (d.hollow + d.lost)) * sticks * MONTH_YEARS
        by_water = np.minimum(rng.standard_gamma(PIECES * wet_rate * grows + 1e-12) / PIECES, 0.5 * sound)
        by_wear = np.minimum(rng.standard_gamma(PIECES * dry_rate * grows + 1e-12) / PIECES, 0.4 * sound)
        direct = np.where(coat.wears >= 2, 0.5, 0.2)
        falls = np.minimum(
            d.hollow, rng.standard_gamma(PIECES * f.fall * d.hollow * MONTH_YEARS + 1e-12) / PIECES
        )
        d.hollow += 0.9 * by_water + (1 - direct) * by_wear - falls
        d.lost += 0.1 * by_water + direct * by_wear + falls
        d.worn += by_wear
        d.soft += f.soft_rate * (2 * np.clip(fill - 0.55, 0.0, 1.0) + 0.03) * MONTH_YEARS
        brine = np.minimum(salt * coat.carries * np.clip(2 * fill, 0.0, 1.0), 1.0)
        d.salt_cover += (0.5 * brine * (1 - d.salt_cover) - 0.15 * d.salt_cover) * MONTH_YEARS

    # The owner -----------------------------------------------------------------------------------

    def _decide(self, step: int) -> None:
        """Patch, strip, recoat, mend or leave, by what can be seen."""
        rng, d = self.rng, self.damage
        seen = d.lost + 0.6 * d.hollow
        seeped = self.history.face[step - HALF_YEAR + 1 : step + 1].mean(axis=0)
        for i, section in enumerate(self.plan.sections):
            if seeped[i] > 0.3 and rng.random() < 0.5 * self.style.mend_chance:
                self._look_for_source(i, step)
            if not self.coat.covered[i] or step > self.steps - 20:
                continue
            chance = self.style.recoat_rate * np.clip((seen[i] - 0.1) / 0.3, 0.0, 1.0)
            if rng.random() < chance:
                if rng.random() < 0.5 and not self.coat.free[i]:
                    self._patch(i, step)
                else:
                    self._recoat(i, step, "failed")
            elif rng.random() < 0.004:
                self._recoat(i, step, str(rng.choice(["planned", "planned", "damage", "other"])))
            if rng.random() < 0.006:
                self.events.append(Event(step, "opening", i, section.house, on_coat=True))

    def _look_for_source(self, i: int, step: int) -> None:
        house = self.plan.sections[i].house
        if self.leaks.size[i] > 0 and self.rng.random() < 0.75:
            self.leaks.size[i] *= 0.0 if self.rng.random() < 0.85 else 0.4
            self.events.append(Event(step, "leak_mended", i, house))
        else:
            self.events.append(Event(step, "source_check", i, house))

    def _patch(self, i: int, step: int) -> None:
        d, share = self.damage, float(self.rng.uniform(0.5, 0.95))
        mended = share * (d.hollow[i] + d.lost[i])
        for values in (d.hollow, d.lost, d.worn):
            values[i] *= 1 - share
        house = self.plan.sections[i].house
        self.events.append(Event(step, "repair", i, house, area_share=float(mended), on_coat=True))

    def _recoat(self, i: int, step: int, reason: str) -> None:
        """Strip a section, and coat it again after days or months, or not within the record."""
        rng, coatings = self.rng, self.plan.sections[i].coatings
        coatings[-1].stop, coatings[-1].reason = step + 1, reason
        wait = int(rng.choice([1, 10, 60, 150]) * rng.uniform(0.5, 1.5)) + 1
        bare = Coating(None, step + 1, step + 1 + wait)
        coatings.append(bare)
        self.coming.setdefault(step + 1, []).append((i, bare))
        if step + 1 + wait < self.steps - 5:
            system = draw_system(rng, bool(rng.random() < self.style.dense_share))
            fresh = Coating(system, step + 1 + wait, drains_to=draw_outlet(rng, system))
            coatings.append(fresh)
            self.coming.setdefault(fresh.start, []).append((i, fresh))
