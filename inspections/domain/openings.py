"""The opening ledger: what opened walls say of the verdicts, and which walls to open next."""

from __future__ import annotations

import datetime as dt
import hashlib
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from inspections.analysis.alarms import CALL
from inspections.analysis.openings import Opening, Truth, truth_of, worth_opening
from inspections.analysis.recalibration import LEAST, Recalibration
from inspections.domain.recalibrating import openings_of
from inspections.queries.openings import OpenedWall, current_probabilities, opened_walls
from portfolio.models import Organisation, Section

#: Walls to open in a year, at most: those from which most is learnt, and some at random, since only those
#: keep the estimate true for walls that nobody would open.
BY_WORTH, AT_RANDOM = 3, 2
#: A wall that was opened so lately is not suggested again.
REST = dt.timedelta(days=2 * 365)


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A wall worth opening; ``at_random`` or for what is learnt of itself."""

    section: Section
    probability: float
    at_random: bool


@dataclass(frozen=True, slots=True)
class OpeningLedger:
    """All that the openings tell: those that count, those that don't yet, and what to open next."""

    truth: Truth
    taught: Recalibration
    told: list[tuple[OpenedWall, bool]]
    untold: int
    suggestions: list[Suggestion]

    def as_json(self) -> dict[str, Any]:
        """In plain types, dates as ISO 8601; what too few openings tell of is None."""
        return {
            **asdict(self.truth),
            "recalibration": {"in_effect": self.taught.changes, "least": LEAST, **asdict(self.taught)},
            "openings": [
                {
                    **_place(wall.section),
                    "opened_on": wall.day.isoformat(),
                    "probability": wall.probability,
                    "held": held,
                }
                for wall, held in self.told
            ],
            "not_counted": self.untold,
            "suggestions": [
                {**_place(one.section), "probability": one.probability, "at_random": one.at_random}
                for one in self.suggestions
            ],
        }


def _place(section: Section) -> dict[str, str]:
    return {
        "building": section.building.code,
        "section": section.code,
        "section_id": str(section.pk),
    }


def opening_ledger(organisation: Organisation, today: dt.date) -> OpeningLedger:
    """The ledger of an organisation. An opening counts where something that tells was measured, and the
    section had been looked at before."""
    opened, walls = opened_walls(organisation), current_probabilities(organisation)
    told, counted = [], []
    for wall in opened:
        held = wall.held()
        if held is not None and wall.probability is not None:
            told.append((wall, held))
            counted.append(Opening(wall.probability, held))
    lately = {wall.section.pk for wall in opened if wall.day > today - REST}
    closed = [(section, chance) for section, chance in walls if section.pk not in lately]
    return OpeningLedger(
        truth=truth_of(counted, np.array([chance for _, chance in walls])),
        taught=openings_of(organisation, opened).taught(today),
        told=told,
        untold=len(opened) - len(told),
        suggestions=_suggested(closed, today.year),
    )


def _suggested(walls: list[tuple[Section, float]], year: int) -> list[Suggestion]:
    """The walls to open this year: the same ones however often the list is looked at."""
    ranked = sorted(walls, key=lambda wall: -worth_opening(wall[1]))[:BY_WORTH]
    found = [Suggestion(section, chance, at_random=False) for section, chance in ranked]
    taken = {section.pk for section, _ in ranked}
    rest = [(section, chance) for section, chance in walls if section.pk not in taken and chance < CALL]
    drawn = sorted(rest, key=lambda wall: hashlib.sha256(f"{year} {wall[0].pk}".encode()).digest())
    return found + [Suggestion(section, chance, at_random=True) for section, chance in drawn[:AT_RANDOM]]
