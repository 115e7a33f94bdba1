"""The answer of a trial, as plain data."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from inspections.analysis.allotment import Difference
from inspections.analysis.fairness import Imbalance, Layout
from inspections.analysis.trial_walls import FAILED_SHARE, Wall


class NotComparable(Exception):
    """The trial's outcome can't be compared as asked; the text says why and what would mend it."""


@dataclass(frozen=True, slots=True)
class Question:
    """A trial as it was set up; days are since 1970-01-01, NaN: not said.

    ``failed_share`` is the affected share at which the organisation calls a coat failed.
    """

    code: str
    outcome: str
    started: float
    planned_end: float = np.nan
    failed_share: float = FAILED_SHARE


@dataclass(frozen=True, slots=True)
class Arm:
    """An arm's walls with an outcome, and the mean of these with its 95 % interval (NaN: none)."""

    arm: str
    sections: int
    mean: float
    low: float
    high: float

    def years_until(self, share: float) -> tuple[float, float, float]:
        """Years until this share is lost at the arm's pace, at its fastest and its slowest (inf: never)."""

        def until(pace: float) -> float:
            return share / pace if pace > 0 else np.inf if pace == 0 else np.nan

        return until(self.mean), until(self.high), until(self.low)


@dataclass(frozen=True, slots=True)
class Needed:
    """Pairs of walls and years that would show a difference of this size; None: beyond any trial."""

    difference: float
    pairs: int | None
    years: int
    spread: float
    assumed: bool


@dataclass(frozen=True, slots=True)
class Comparison:
    """A trial's answer as of a day. ``found`` is None without two arms side by side.

    ``p_value`` is that of ``found`` or, of more than two arms, of all being alike. ``bias`` is the strength
    of a hidden bias that would explain the difference away, where nobody drew lots.
    """

    question: Question
    as_of: dt.date
    walls: tuple[Wall, ...]
    plan: Layout
    arms: tuple[Arm, ...]
    found: Difference | None
    p_value: float
    smallest_p: float
    adjusted: bool
    bias: float | None
    before: tuple[Imbalance, ...]
    fair: bool
    leans: str | None
    conclusion: str
    needed: Needed
    unit: str
    method: str
    statement: str = ""

    @property
    def by_lot(self) -> bool:
        """Whether every section's arm was drawn by lot."""
        return drawn_by_lot(self.walls)

    def as_json(self) -> dict[str, Any]:
        """The contract's shape: unknown numbers are None."""
        found = self.found
        return {
            "trial": self.question.code,
            "outcome": self.question.outcome,
            "as_of": self.as_of.isoformat(),
            "arms": [
                {
                    "arm": one.arm,
                    "sections": one.sections,
                    "mean": _number(one.mean),
                    "low": _number(one.low),
                    "high": _number(one.high),
                }
                for one in self.arms
            ],
            "estimate": _number(found.estimate) if found else None,
            "low": _number(found.low) if found else None,
            "high": _number(found.high) if found else None,
            "p_value": _number(self.p_value),
            "smallest_p": _number(self.smallest_p),
            "method": self.method,
            "before": [
                {
                    "quantity": one.quantity,
                    "standardised_difference": one.standardised_difference,
                    "low": _number(one.low),
                    "high": _number(one.high),
                }
                for one in self.before
            ],
            "fair": self.fair,
            "leans": self.leans,
            "conclusion": self.conclusion,
            "needed": {
                "difference": self.needed.difference,
                "pairs": self.needed.pairs,
                "years": self.needed.years,
            },
            "statement": self.statement,
        }


def drawn_by_lot(walls: Sequence[Wall]) -> bool:
    """Whether every section's arm was drawn by lot."""
    return all(wall.place.allocated_by == "random" for wall in walls)


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
