"""A section's rates beside those of the organisation's sections with the same coat and exposure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from uuid import UUID

import numpy as np

from inspections.analysis.pooling import error_of, pooled_rates
from inspections.queries.alike import Rates, moisture_scales, rates_of_alike
from portfolio.models import Organisation, Section, Treatment

#: Units that are a meter's own scale: pooled only where all the organisation's meters share one.
SCALES = frozenset({"relative"})
#: The unit of areas, which are pooled as shares of the section's own.
AREA = "m2"


@dataclass(frozen=True, slots=True)
class Alike:
    """A rate a year drawn towards those of sections alike, in its trend's unit, with its 95 % limits."""

    rate: float
    low: float
    high: float
    sections: int


def drawn_rates(organisation: Organisation, section: Section, coat: Treatment | None) -> dict[str, Alike]:
    """The section's rates by quantity, drawn to those of its like; none where too few are alike."""
    if coat is None:
        return {}
    rates = rates_of_alike(organisation, section, coat)
    _, own = rates.get(section.pk, (None, {}))
    if SCALES & {trend["unit"] for trend in own.values()} and moisture_scales(organisation) != 1:
        own = {name: trend for name, trend in own.items() if trend["unit"] not in SCALES}
    found = {}
    for quantity, trend in own.items():
        alike = _drawn(section.pk, quantity, trend["unit"], rates)
        if alike is not None:
            found[quantity] = alike
    return found


def _drawn(key: UUID, quantity: str, unit: str, rates: Rates) -> Alike | None:
    rows = [
        (section, _size(area, unit), trends[quantity])
        for section, (area, trends) in rates.items()
        if quantity in trends and trends[quantity]["unit"] == unit and _size(area, unit)
    ]
    keys = [section for section, _, _ in rows]
    if key not in keys:
        return None
    size = np.array([size for _, size, _ in rows])
    rate, low, high = (np.array([_number(trend[name]) for _, _, trend in rows]) for name in _COLUMNS)
    pooled = pooled_rates(rate / size, error_of(low, high) / size)
    if pooled is None:
        return None
    i = keys.index(key)
    drawn, least, most = (float(column[i] * size[i]) for column in (pooled.rate, pooled.low, pooled.high))
    return Alike(drawn, least, most, pooled.sections)


_COLUMNS = ("rate_per_year", "low", "high")


def _size(area: float | None, unit: str) -> float:
    """What a rate is divided by to compare sections; 0 where it is unknown."""
    return (area or 0.0) if unit == AREA else 1.0


def _number(value: Any) -> float:
    return np.nan if value is None else float(value)
