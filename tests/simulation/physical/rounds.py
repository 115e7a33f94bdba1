"""Going round: which section is visited when, by whom, and what the true state at that moment is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .climate import STEP, Climate, FloatArray, dew_point, saturation_pressure
from .life import History, Life
from .style import Style

IntArray = npt.NDArray[np.intp]
#: Events after which somebody may come to look.
PROMPTS = frozenset({"flood", "heavy_rain", "sump_failure"})
INSPECTORS = ("AB", "CD", "EF", "GH")


@dataclass(frozen=True, slots=True)
class Looks:
    """Looks at a section, one a row: the visit, the section, the house, the day and the minute of the day."""

    visit: IntArray
    section: IntArray
    house: IntArray
    step: IntArray
    day: IntArray
    minute: IntArray
    inspector: IntArray

    def __len__(self) -> int:
        return len(self.visit)


@dataclass(frozen=True, slots=True)
class Moment:
    """The true state of each look (rows as in :class:`Looks`), the room's air of that hour included."""

    fill: FloatArray
    face: FloatArray
    hollow: FloatArray
    lost: FloatArray
    soft: FloatArray
    salt: FloatArray
    salt_cover: FloatArray
    #: Years that a full wall has stood behind its coat.
    held: FloatArray
    covered: FloatArray
    free: FloatArray
    room_t: FloatArray
    room_rh: FloatArray
    face_t: FloatArray
    wall_t: FloatArray
    outdoor_t: FloatArray
    outdoor_rh: FloatArray
    #: 0 for a dry face to 1 for a face well below the dew point in that hour.
    sweat: FloatArray
    #: A yearly wave of unit amplitude with the section's own phase, and a slow walk of unit sd a root year.
    season: FloatArray
    walk: FloatArray


def draw_looks(rng: np.random.Generator, style: Style, life: Life, start_day: int) -> Looks:
    """Half-yearly to yearly rounds with jitter, some missed, and some more after something has happened."""
    visits: list[tuple[int, int, int]] = []  # house, day, inspector
    last = start_day + int(life.steps * STEP) - 1
    for h, house in enumerate(life.plan.houses):
        regular = rng.choice(len(INSPECTORS), 2)
        gap = 365.25 / house.visits_a_year
        due = start_day + style.first_round + rng.normal(0.0, 12.0)
        while due < last:
            if rng.random() >= style.missed_share:
                day = int(due + rng.normal(0.0, style.visit_jitter_days))
                visits.append((h, day, int(regular[int(rng.random() < 0.25)])))
            due += gap
        for event in life.events:
            if event.house == h and event.kind in PROMPTS and rng.random() < 0.3:
                day = start_day + int(event.step * STEP + rng.integers(1, 10))
                visits.append((h, day, int(regular[0])))
    by_day = {(h, min(max(day, start_day), last)): who for h, day, who in visits}
    return _looks(rng, life, sorted(by_day.items()), start_day)


def _looks(
    rng: np.random.Generator, life: Life, visits: list[tuple[tuple[int, int], int]], start_day: int
) -> Looks:
    house_of = np.array([section.house for section in life.plan.sections])
    rows = []
    for number, ((house, day), inspector) in enumerate(visits):
        start = int(rng.integers(9 * 60, 15 * 60))
        for order, section in enumerate(np.flatnonzero(house_of == house)):
            if rng.random() < 0.97:
                rows.append(
                    (number, section, house, (day - start_day) // STEP, day, start + 6 * order, inspector)
                )
    return Looks(*np.array(rows, dtype=np.intp).T)


def observe(rng: np.random.Generator, style: Style, life: Life, looks: Looks, time: FloatArray) -> Moment:
    """The true state at each look; hours of air within a step are drawn here."""
    h: History = life.history
    at = (looks.step, looks.section)
    climate: Climate = life.climate
    hours = rng.standard_normal((looks.visit.max() + 1, 4))[looks.visit]
    room_t = climate.room_t[at] + 0.8 * hours[:, 0]
    room_p = np.minimum(climate.room_p[at] * np.exp(0.05 * hours[:, 1]), 0.985 * saturation_pressure(room_t))
    ground_t = climate.ground_t[at]
    face_t = room_t - life.walls.face_cold[looks.section] * (room_t - ground_t)
    outdoor_t = climate.outdoor_t[at] + 2.0 * hours[:, 2]
    outdoor_rh = np.clip(climate.outdoor_p[at] / saturation_pressure(outdoor_t), 0.2, 1.0)
    sections = h.fill.shape[1]
    in_summer = rng.random(len(life.plan.houses)) < style.summer_peak_share
    house_of = np.array([section.house for section in life.plan.sections])
    phase = 0.16 + 0.5 * in_summer[house_of] + rng.uniform(-0.1, 0.1, sections)
    walk = np.cumsum(rng.standard_normal(h.fill.shape) * np.sqrt(STEP / 365.25), axis=0)
    salt = np.array([section.salt for section in life.plan.sections])
    return Moment(
        fill=h.fill[at],
        face=h.face[at],
        hollow=h.hollow[at],
        lost=h.lost[at],
        soft=h.soft[at],
        salt=salt[looks.section],
        salt_cover=h.salt_cover[at],
        held=h.held[at],
        covered=h.covered[at],
        free=h.free[at],
        room_t=room_t,
        room_rh=100 * room_p / saturation_pressure(room_t),
        face_t=face_t,
        wall_t=room_t - life.walls.wall_cold[looks.section] * (room_t - ground_t),
        outdoor_t=outdoor_t,
        outdoor_rh=100 * outdoor_rh,
        sweat=1 / (1 + np.exp((face_t - dew_point(room_p)) / 0.6)),
        season=np.cos(2 * np.pi * (time[looks.step] / 365.2425 - phase[looks.section])),
        walk=walk[at],
    )
