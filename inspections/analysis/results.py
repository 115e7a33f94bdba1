"""What the analysis answers: an assessment of a section, in the contract's shape."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, fields, is_dataclass
from typing import Any

#: The six hypotheses, in the order of every table of the model.
HYPOTHESES = ("trapped_water", "water_entry", "condensation", "surface_wear", "drying_out", "stable")
INSUFFICIENT = "insufficient_data"
#: Under so many visits a verdict must be surer than from then on. Ours.
FEW_VISITS = 3
#: What a trial can conclude.
DIFFERENCE, NONE_SHOWN, CANNOT_TELL = "difference", "no_difference_shown", "cannot_tell"


def version_name(model: str, openings: int = 0, shift: float = 0.0, slope: float = 1.0) -> str:
    """What a result's version says: the model, and what ``openings`` of the owner's walls made of it."""
    return (
        model if (shift, slope) == (0.0, 1.0) else f"{model}, {openings} openings, {shift:+.2f}, {slope:.2f}"
    )


def version_parts(version: str) -> tuple[str, int]:
    """The model that a result's version names, and how many openings recalibrated it (0: none did)."""
    model, _, rest = version.partition(", ")
    count = rest.partition(" openings, ")[0]
    return model, int(count) if count.isdecimal() else 0


class Told:
    """A dataclass that gives itself in plain types."""

    __slots__ = ()

    def as_json(self) -> dict[str, Any]:
        """The contract's shape: plain types, dates as ISO 8601, unknown as None."""
        told: dict[str, Any] = plain(self)
        return told


@dataclass(frozen=True, slots=True)
class Evidence:
    """One piece of evidence: what was seen, and the log-odds it added for the verdict over the runner-up."""

    quantity: str
    weight: float
    statement: str


@dataclass(frozen=True, slots=True)
class TrendResult:
    """A rate with its 95 % interval, p-value and count; None where the readings give none."""

    rate_per_year: float | None
    low: float | None
    high: float | None
    p_value: float | None
    readings: int
    first: dt.date
    last: dt.date
    unit: str
    method: str


@dataclass(frozen=True, slots=True)
class LogOdds:
    """``prior`` and the weights of the evidence add up to ``total``, after calibration."""

    against: str
    prior: float
    total: float


@dataclass(frozen=True, slots=True)
class Forecast:
    """When the affected share of the coat is expected to reach the threshold; None: not within 30 years."""

    quantity: str
    threshold: float
    expected: dt.date | None
    early: dt.date | None
    late: dt.date | None


@dataclass(frozen=True, slots=True)
class Advice:
    """The reading that would most change an unsure verdict, and why."""

    quantity: str
    reason: str


@dataclass(frozen=True, slots=True)
class SectionAssessment(Told):
    """What the readings up to ``as_of`` say of one section."""

    building: str
    section: str
    as_of: dt.date
    verdict: str
    probability: dict[str, float]
    log_odds: LogOdds
    since: dt.date | None
    evidence: tuple[Evidence, ...]
    trends: dict[str, TrendResult]
    forecast: Forecast | None
    advice: tuple[Advice, ...]
    next_inspection: dt.date | None


def plain(value: Any) -> Any:
    """Dates as ISO 8601, tuples as lists, dataclasses as dictionaries, also within what holds others."""
    if value is None or isinstance(value, (str, float, int)):
        return value
    if isinstance(value, dict):
        return {key: plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, dt.date):
        return value.isoformat()
    if is_dataclass(value):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)}
    return value
