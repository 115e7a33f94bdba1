"""Sections' rates beside those of the organisation's sections with the same coat and exposure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import asdict, dataclass
from typing import Any
from uuid import UUID

import numpy as np

from inspections.analysis.pooling import Pooled, error_of, pooled_rates
from inspections.queries.alike import Likeness, Rated, moisture_scales, rates_of_alike
from portfolio.models import Organisation

#: Units that are a meter's own scale: pooled only where all the organisation's meters share one.
SCALES = frozenset({"relative"})
#: The unit of areas, which are pooled as shares of the section's own.
AREA = "m2"


@dataclass(frozen=True, slots=True)
class Alike:
    """A rate a year drawn towards those of sections alike, in its trend's unit, with its 95 % limits.

    ``sections`` had a rate, in ``houses``; their ``mean`` (where areas are pooled, that of a section of
    this size) has the error ``mean_error``; they spread by ``between_sd`` within a house and by ``house_sd``
    between houses.
    """

    rate: float
    low: float
    high: float
    sections: int
    houses: int
    mean: float
    mean_error: float
    between_sd: float
    house_sd: float


def as_json(trends: Mapping[str, dict[str, Any]], alike: Mapping[str, Alike]) -> dict[str, Any]:
    """By quantity the section's own rate and the one drawn to its like, in plain types."""
    return {
        quantity: {
            "unit": trend["unit"],
            "readings": trend["readings"],
            "own": _interval(trend["rate_per_year"], trend["low"], trend["high"]),
            "pooled": _pooled(alike.get(quantity)),
        }
        for quantity, trend in trends.items()
    }


def _interval(rate: float | None, low: float | None, high: float | None) -> dict[str, float | None]:
    return {"rate_per_year": rate, "low": low, "high": high}


def _pooled(alike: Alike | None) -> dict[str, Any] | None:
    if alike is None:
        return None
    told = asdict(alike)
    return {"rate_per_year": told.pop("rate"), **told}


def drawn_rates(
    organisation: Organisation, likeness: Mapping[UUID, Likeness]
) -> dict[UUID, dict[str, Alike]]:
    """By section and quantity its rate drawn to those of its like; none where too few are alike."""
    groups = rates_of_alike(organisation, set(likeness.values()))
    wanted: dict[Likeness, set[UUID]] = defaultdict(set)
    for section, group in likeness.items():
        wanted[group].add(section)
    asked = {group: _asked(groups[group], own) for group, own in wanted.items()}
    scaled = any(unit in SCALES for own in asked.values() for _, unit in own)
    one_scale = scaled and moisture_scales(organisation) == 1
    found: dict[UUID, dict[str, Alike]] = {section: {} for section in likeness}
    for group, own in wanted.items():
        for quantity, unit in asked[group]:
            if unit not in SCALES or one_scale:
                for section, alike in _drawn(groups[group], own, quantity, unit).items():
                    found[section][quantity] = alike
    return found


def _asked(rates: Mapping[UUID, Rated], sections: Collection[UUID]) -> list[tuple[str, str]]:
    """The quantities, each in a unit, that any of ``sections`` has a trend of."""
    found = {
        (quantity, str(trend["unit"]))
        for section in sections
        if section in rates
        for quantity, trend in rates[section].trends.items()
    }
    return sorted(found)


def _drawn(
    rates: Mapping[UUID, Rated], sections: Collection[UUID], quantity: str, unit: str
) -> dict[UUID, Alike]:
    """By section, of those asked for, the rate of one quantity drawn to the whole group's."""
    rows = [
        (section, one.house, _size(one.area, unit), one.trends[quantity])
        for section, one in rates.items()
        if quantity in one.trends and one.trends[quantity]["unit"] == unit and _size(one.area, unit)
    ]
    if not rows:
        return {}
    size = np.array([size for _, _, size, _ in rows])
    house = np.array([house.hex for _, house, _, _ in rows])
    wanted = np.array([section in sections for section, _, _, _ in rows])
    rate, low, high = (np.array([_number(trend[name]) for *_, trend in rows]) for name in _COLUMNS)
    pooled = pooled_rates(rate / size, error_of(low, high) / size, house, wanted)
    if pooled is None:
        return {}
    return {rows[i][0]: _of_section(pooled, i, float(size[i])) for i in np.flatnonzero(wanted).tolist()}


def _of_section(pooled: Pooled, i: int, size: float) -> Alike:
    return Alike(
        rate=float(pooled.rate[i]) * size,
        low=float(pooled.low[i]) * size,
        high=float(pooled.high[i]) * size,
        sections=pooled.sections,
        houses=pooled.houses,
        mean=pooled.mean * size,
        mean_error=pooled.mean_error * size,
        between_sd=pooled.between_sd * size,
        house_sd=pooled.house_sd * size,
    )


_COLUMNS = ("rate_per_year", "low", "high")


def _size(area: float | None, unit: str) -> float:
    """What a rate is divided by to compare sections; 0 where it is unknown."""
    return (area or 0.0) if unit == AREA else 1.0


def _number(value: Any) -> float:
    return np.nan if value is None else float(value)
