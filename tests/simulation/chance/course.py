"""The walls' course: wetness behind and at the face, water passed, patches lost, in steps of five days.

Wetness behind (a share of what the wall can hold) and at the face are Ornstein-Uhlenbeck-like: each is drawn
to where arriving and leaving water would hold it, with shocks that the sections of a house and the two sides
of a wall have partly in common. The face's step is the exact one of its linear process.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inspections.analysis.records import YEAR, FloatArray
from tests.simulation.chance.places import Fault, House, Walls
from tests.simulation.chance.water import STEP, Flood, Forces
from tests.simulation.chance.weather import Rng
from tests.simulation.chance.works import Ledger, Systems

#: Vapour permeability of still air in g/(m day Pa): 2e-10 kg/(m s Pa), from the method's text by memory.
DELTA = 0.0173
#: Air film at the face, in metres of air; and what the dry depth of a wall adds where it is empty behind.
FILM, DRY_DEPTH = 0.015, 0.22
#: Wetness above which liquid goes on to the face, and that at which a wall's own vapour is nearly saturated.
FLOWS, MOIST = 0.4, 0.07
#: Share in which a bare patch counts for the rest of the section, since it dries its own surroundings.
BARE = 0.3
#: Steps between two looks by the owner.
LOOK = 36


@dataclass(slots=True)
class Course:
    """Histories (K, S). Shares are 0 to 1; ``fresh`` in kg/m²; ``liquid`` (to the face), ``passes`` (what the
    coat would pass from a full wall) and ``arrives`` in g/m² a day; ``dew`` in hours a day; ``soft`` in mm.

    ``loosened`` is the share that came loose in the step, ``cause`` the last day on which new wet work, an
    uncovering, a flood or the end of a leak gave the wall reason to dry.
    """

    day: FloatArray
    behind: FloatArray
    face: FloatArray
    fresh: FloatArray
    liquid: FloatArray
    passes: FloatArray
    arrives: FloatArray
    dew: FloatArray
    hollow: FloatArray
    fallen: FloatArray
    mended: FloatArray
    loosened: FloatArray
    sd: FloatArray
    thick: FloatArray
    outlet: FloatArray
    covered: FloatArray
    soft: FloatArray
    bloom: FloatArray
    cause: FloatArray
    ledger: Ledger


def live(
    rng: Rng, houses: list[House], walls: Walls, force: Forces, floods: list[Flood], faults: list[Fault]
) -> Course:
    """Let all walls live through all steps."""
    steps, n = force.arrives.shape
    coats = Systems(rng, houses, walls)
    coats.plan(float(force.day[0]), faults)
    course = Course(force.day, *(np.zeros((steps, n)) for _ in range(18)), coats.ledger)
    course.arrives, course.dew = force.arrives, force.dew
    begins = np.array([house.begin for house in houses])[walls.house]
    behind = np.clip(0.05 + 0.008 * force.arrives.mean(axis=0) + rng.normal(0, 0.1, n), 0.03, 0.95)
    face, fresh, bloom = np.full(n, 0.08), np.zeros(n), np.zeros(n)
    soft, damp = rng.gamma(0.5, 2.0, n), np.zeros(n)
    shocks = _shocks(rng, steps, walls.house)
    lag = 1 - np.exp(-STEP / rng.uniform(2.0, 12.0, n))
    crack = walls.seeps * 0.25
    queue, checked = list(floods), np.zeros(n, dtype=bool)
    for k in range(steps):
        day = force.day[k]
        coats.damp = np.maximum(behind - 0.15, 0)
        coats.work(k, day)
        if k % LOOK == 0:
            coats.look(k, day, damp)
            _take_over(coats, begins, checked, day)
        while queue and queue[0].day < day + STEP:
            flood = queue.pop(0)
            behind = np.minimum(behind + flood.wets, 1.0)
            face = np.where(flood.wets > 0, 0.9, face)
            coats.cause[flood.wets > 0] = day
        fresh += coats.brought
        behind = np.minimum(behind + 0.15 * coats.brought / walls.holds, 1.0)
        coats.brought[:] = 0.0
        hollow, fallen = coats.patches.shares()
        bare = np.where(coats.covered, BARE * fallen, 1.0)
        # What leaves: vapour through the coat and the bare part, liquid to the face, and what finds a drain.
        over = force.back[k] * (1 - np.exp(-(behind + 0.02) / MOIST)) - force.air[k]
        dry = FILM + DRY_DEPTH * (1 - behind) ** 2
        ways = (1 - bare) / (dry + coats.sd) + bare / dry
        vapour = DELTA * np.maximum(over, -100) * ways
        full = np.maximum(behind - FLOWS, 0) / (1 - FLOWS)
        flow = (1 - bare) * coats.flow + bare * walls.carries
        limit = 20 + DELTA / FILM * np.maximum(force.room[k] - force.air[k], 0)
        open_to = np.clip(crack * (0.2 + 3 * (hollow + fallen)) + 0.4 * walls.seeps * bare, 0, 0.6)
        seep = np.where(coats.outlet, 0, open_to) * force.quick[k]
        liquid = np.minimum(flow * full, limit) + seep
        down = walls.drains * np.maximum(behind - 0.65, 0) ** 2 * 6 + np.where(coats.outlet, 8 * behind, 0)
        take = (force.arrives[k] - seep) * (1 - behind**6)
        behind = behind + STEP * (take - vapour - (liquid - seep) - down) / (1000 * walls.holds)
        behind = np.clip(behind + 0.02 * shocks[0, k] * np.sqrt(STEP / YEAR), 0.02, 1.0)
        fresh *= np.exp(-STEP / (30 * (1 + np.minimum(coats.sd, 1))))
        # The face goes where its sources hold it.
        humid = np.clip(force.air[k] / force.room[k], 0, 1)
        shown = np.minimum(walls.shows / (1 + coats.sd) + 0.8 * fallen * coats.covered, 1)
        own = shown * behind**2 * np.where(coats.outlet, 0, 1)
        salty = 0.55 * walls.salt / (1 + np.exp(-(humid - 0.72) / 0.04))
        dewy = 0.5 * np.clip(force.dew[k] / 18, 0, 1) ** 1.5
        still = (1 - own) * np.exp(-liquid / 14 - fresh / 2.2) * (1 - salty) * (1 - dewy)
        target = 1 - (1 - 0.08 * humid**2) * still
        face = np.clip(face + lag * (target - face) + 0.02 * shocks[1, k], 0.01, 1.0)
        damp += (STEP / 200) * (1 - np.exp(-liquid / 14) - damp)
        # The coat's clocks, the mortar, and salts that bloom where water leaves as vapour.
        wet = np.clip((behind - 0.4) / 0.5, 0, 1)
        closed = coats.sd / (coats.sd + 0.5)
        age = np.maximum(day - coats.since, 0) / YEAR
        hazard = 0.0006 + 0.001 * coats.stiff + 0.0028 * walls.wear + 0.028 * wet * closed
        hazard += 0.025 * walls.salt * wet + 0.03 * walls.frost * force.winter[k] * (0.15 + behind)
        hazard += 0.03 * coats.stiff * np.exp(-age / 0.7) * (walls.wear > 2)
        hazard *= (
            (1 + 2 * (hollow + fallen)) * np.where(coats.outlet, 0.1, 1) * np.where(day < begins, 0.35, 1)
        )
        falls = 0.15 + 0.15 * wet + 0.4 * walls.frost * force.winter[k]
        loosened = coats.patches.run(hazard * STEP / YEAR, falls * STEP / YEAR)
        soft = soft + walls.softens * wet * (0.4 + 0.6 * closed) * STEP / YEAR
        bloom = (
            bloom + (walls.salt * np.clip(vapour / 25, 0, 1) * 0.4 * (1 - bloom) - 0.06 * bloom) * STEP / YEAR
        )
        through = DELTA * np.maximum(force.back[k] - force.air[k], 0)
        passes = through * ((1 - bare) / (FILM + coats.sd) + bare / FILM) + flow
        now = (behind, face, fresh, liquid, passes, hollow, fallen, coats.patches.mended, loosened)
        for history, value in zip(_histories(course), now, strict=True):
            history[k] = value
        course.sd[k], course.thick[k], course.soft[k], course.bloom[k] = coats.sd, coats.thick, soft, bloom
        course.outlet[k], course.covered[k], course.cause[k] = coats.outlet, coats.covered, coats.cause
    return course


def _histories(course: Course) -> tuple[FloatArray, ...]:
    return (
        course.behind,
        course.face,
        course.fresh,
        course.liquid,
        course.passes,
        course.hollow,
        course.fallen,
        course.mended,
        course.loosened,
    )


def _shocks(rng: Rng, steps: int, house: np.ndarray) -> FloatArray:
    """Standard normal shocks (2, steps, S) behind and at the face, alike within a house and between them."""
    common = rng.normal(size=(2, steps, int(house.max()) + 1))[:, :, house]
    own = rng.normal(size=(2, steps, len(house)))
    shocks = np.sqrt(0.35) * common + np.sqrt(0.65) * own
    shocks[1] = 0.4 * shocks[0] + np.sqrt(1 - 0.16) * shocks[1]
    return shocks


def _take_over(coats: Systems, begins: FloatArray, checked: np.ndarray, day: float) -> None:
    """A coat that hung in rags when care began was mended before: that it had lasted is a condition."""
    for s in np.flatnonzero(~checked & (day >= begins - LOOK * STEP)):
        checked[s] = True
        hollow, fallen = (share[s] for share in coats.patches.shares())
        if fallen > 0.15 or hollow > 0.4:
            coats.patches.patch(int(s))
            coats.patches.mended[s] = 0.0
