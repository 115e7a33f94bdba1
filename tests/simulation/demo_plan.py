"""What the simulator is told for the demonstration: which walls the sections make up, and its trials.

Neither touches how water moves or what is read; a section keeps the exposure and the supply that it was
drawn with.
"""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from tests.simulation.book import day_number
from tests.simulation.physical import Style, draw_style
from tests.simulation.physical.climate import STEP
from tests.simulation.physical.coats import RECIPES, System, draw_layer
from tests.simulation.physical.plan import Coating, Plan, Section

FIRST_YEAR, YEARS, HOUSES = 2015, 12, 12
LAST_DAY = dt.date(2026, 10, 31)

#: Houses by number that came under care later than the rest, and when; the last has just been taken on.
TAKEN_ON = {11: dt.date(2021, 4, 1), 12: dt.date(2026, 8, 1)}

#: When the river last came up, and the houses by number that it came into.
FLOOD, FLOODED = dt.date(2026, 8, 10), (9, 10)

COMPASS = ("North", "East", "South", "West")
#: The wall between two cellars of one house.
MIDDLE = "Middle"
#: Most sections of one exposure on one wall, as long as another wall is free.
ON_ONE_WALL = 2
#: Exposures whose walls the trials take: outer ones of the house's own.
OUTER = ("soil", "street", "garden")


class NoPairs(ValueError):
    """The portfolio has too few pairs of like walls for the trials."""


@dataclass(frozen=True, slots=True)
class Arm:
    """One treatment under test: its name and its layers from the wall outward."""

    name: str
    layers: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Allotted:
    """One section's arm, in its pair."""

    section: Section
    arm: str
    block: str
    sequence: int


@dataclass(slots=True)
class Trial:
    """Two arms side by side on pairs of neighbouring sections, bare until then."""

    code: str
    question: str
    first: Arm
    second: Arm
    begins: dt.date
    ends: dt.date
    allocated_by: str
    note: str
    least: int
    most: int
    allotted: list[Allotted] = field(default_factory=list)


def again(code: str, begins: dt.date, ends: dt.date, least: int) -> Trial:
    """The first trial's question, asked again on two pairs if there are so many."""
    return Trial(
        code=code,
        question="Does a hydraulic lime coat outlast a cement coat beside it? Asked again (invented)",
        first=Arm("cement", ("cement",)),
        second=Arm("hydraulic lime", ("nhl 3.5",)),
        begins=begins,
        ends=ends,
        allocated_by="random",
        note="Drawn by lot within the pair, after both stretches had been read (invented)",
        least=least,
        most=2,
    )


def demo_trials() -> list[Trial]:
    """The trials, not yet allotted: the first takes the pairs that are most alike.

    In the second the mason gave his usual coat the drier stretch of each pair. The third and the fourth ask
    the first one's question again, on the few pairs that are left; the last is only planned.
    """
    return [
        Trial(
            code="T1",
            question="Does a hydraulic lime coat outlast a cement coat beside it, in these invented houses?",
            first=Arm("cement", ("cement",)),
            second=Arm("hydraulic lime", ("nhl 3.5",)),
            begins=dt.date(2016, 5, 2),
            ends=dt.date(2027, 5, 2),
            allocated_by="random",
            note="Drawn by lot within the pair, after both stretches had been read (invented)",
            least=6,
            most=6,
        ),
        Trial(
            code="T2",
            question="Does painted cement keep as well as lime and limewash, in these invented houses?",
            first=Arm("cement and paint", ("cement", "oil paint")),
            second=Arm("lime and limewash", ("lime", "limewash")),
            begins=dt.date(2018, 5, 7),
            ends=dt.date(2028, 5, 7),
            allocated_by="judgement",
            note="The mason chose which stretch he thought dry enough for which coat (invented)",
            least=4,
            most=4,
        ),
        again("T3", dt.date(2017, 5, 8), dt.date(2027, 5, 8), least=2),
        again("T4", dt.date(2019, 5, 6), dt.date(2029, 5, 6), least=1),
        Trial(
            code="T5",
            question="Does clay plaster keep as well as lime plaster on dry walls, in these invented houses?",
            first=Arm("clay", ()),
            second=Arm("lime", ()),
            begins=dt.date(2027, 5, 3),
            ends=dt.date(2033, 5, 3),
            allocated_by="random",
            note="",
            least=0,
            most=0,
        ),
    ]


def demo_style(seed: int) -> Style:
    """Habits drawn as for any other portfolio, but with the years and the country of this one.

    It is a river town of old houses: leaks come as often as the simulator has them come anywhere, and
    are slow to be found; most cellars are unheated; two coats in five are dense. Its people take
    pains: most houses are gone round three or four times a year, with the full kit.
    These habits were chosen so that there is something of each kind to see, and that it can be seen.
    """
    drawn = draw_style(np.random.default_rng([seed, 1]))
    return replace(
        drawn,
        first_year=FIRST_YEAR,
        asked_month=LAST_DAY.month,
        asked_day=LAST_DAY.day,
        customary_share=1.0,
        leak_rate=0.02,
        mend_chance=0.1,
        unheated_share=0.7,
        dense_share=0.4,
        yearly_share=0.0,
        often_share=0.6,
        kits=(0.05, 0.1, 0.25, 0.6),
    )


class Arranger:
    """Puts sections on walls and allots the trials; :attr:`trials` tells afterwards who got what."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng([seed, 2])
        self.trials = demo_trials()

    def arrange(self, plan: Plan) -> None:
        """Change the plan before its first day."""
        by_house: dict[int, list[Section]] = defaultdict(list)
        for section in plan.sections:
            by_house[section.house].append(section)
        for sections in by_house.values():
            self._build_walls(sections)
        plan.floods += [(_step(FLOOD), number - 1) for number in FLOODED]
        pairs = sorted(_pairs(by_house), key=_contrast)
        for trial in self.trials:
            if len(pairs) < trial.least:
                raise NoPairs(f"too few pairs of like walls are left for {trial.code}")
            self._allot(trial, pairs[: trial.most])
            pairs = pairs[trial.most :]

    # Walls ------------------------

    def _build_walls(self, sections: list[Section]) -> None:
        """Give each section a wall by what it adjoins, and lay a wall's sections side by side."""
        front = int(self.rng.integers(4))
        ahead, left, behind, right = (COMPASS[(front + turn) % 4] for turn in range(4))
        choices = {
            "street": (ahead, left, right, behind),
            "party_wall": (left, right, behind, ahead),
            "garden": (behind, right, left, ahead),
            "soil": (right, left, behind, ahead),
        }
        exposure: dict[str, str] = {}
        length: dict[str, float] = defaultdict(float)
        for adjoins in ("street", "party_wall", "garden", "soil", "interior"):
            own = [section for section in sections if section.adjoins == adjoins]
            for number, section in enumerate(own):
                if adjoins == "interior":
                    wall = MIDDLE
                elif number % ON_ONE_WALL:
                    wall = own[number - 1].wall
                else:
                    free = [wall for wall in choices[adjoins] if wall not in exposure]
                    wall = (free or list(choices[adjoins]))[0]
                    exposure[wall] = adjoins
                section.wall, section.start_m = wall, round(length[wall], 2)
                length[wall] += section.length_m

    # Trials ------------------------

    def _allot(self, trial: Trial, pairs: list[tuple[Section, Section]]) -> None:
        for number, pair in enumerate(pairs, start=1):
            for_first = self._gets_first_arm(trial, pair)
            step = _step(trial.begins) + 2 * number
            for order, section in enumerate(pair):
                arm = trial.first if section is for_first else trial.second
                section.coatings = [Coating(None, 0, step), Coating(self._system(arm), step)]
                trial.allotted.append(Allotted(section, arm.name, f"pair {number}", 2 * number - 1 + order))

    def _gets_first_arm(self, trial: Trial, pair: tuple[Section, Section]) -> Section:
        if trial.allocated_by == "random":
            return pair[int(self.rng.integers(2))]
        return min(pair, key=lambda section: section.supply)

    def _system(self, arm: Arm) -> System:
        return System(tuple(draw_layer(self.rng, RECIPES[name]) for name in arm.layers))


def _pairs(by_house: dict[int, list[Section]]) -> Iterator[tuple[Section, Section]]:
    """Neighbours of one exposure on one wall, in houses that were there from the beginning."""
    for house, sections in by_house.items():
        if house + 1 in TAKEN_ON:
            continue
        walls: dict[tuple[str, str], list[Section]] = defaultdict(list)
        for section in sections:
            if section.adjoins in OUTER:
                walls[section.wall, section.adjoins].append(section)
        yield from ((wall[0], wall[1]) for wall in walls.values() if len(wall) >= ON_ONE_WALL)


def _contrast(pair: tuple[Section, Section]) -> float:
    """How unlike the two stretches of a pair are in the water that comes to them."""
    return abs(math.log(pair[0].supply / pair[1].supply))


def _step(day: dt.date) -> int:
    return int((day_number(day) - day_number(dt.date(FIRST_YEAR, 1, 1))) // STEP)
