"""What the room's air does to a section: dew between its layers, and the risk of mould."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

import numpy as np

from inspections.analysis.layers_dew import Dew, Missing, dew_in_layers
from inspections.analysis.logs import LEAST_COVERAGE, Log, daily
from inspections.analysis.mould_risk import MouldRisk, mould_behind, mould_on_face
from inspections.analysis.records import FloatArray
from inspections.models import LogSeries
from inspections.queries.logs import logs_of
from inspections.queries.series import building_record, date_of, day_number
from inspections.vocabulary import Quantity
from portfolio.models import Section

Logged = list[tuple[LogSeries, Log]]


@dataclass(frozen=True, slots=True)
class RoomAir:
    """``dew`` or why none is told; ``mould`` of the places that were logged for long enough, if any."""

    as_of: dt.date
    dew: Dew | Missing
    mould: tuple[MouldRisk, ...]

    def as_json(self) -> dict[str, Any]:
        """Plain types, days as ISO 8601; ``dew`` is None where ``missing`` says what lacks."""
        dew = None if isinstance(self.dew, Missing) else self.dew
        missing = self.dew if isinstance(self.dew, Missing) else None
        return {
            "as_of": self.as_of.isoformat(),
            "dew": dew and _dew_json(dew),
            "missing": missing
            and {
                "no_coats": missing.no_coats,
                "quantities": [
                    {"quantity": quantity, "quarters": list(quarters)}
                    for quantity, quarters in missing.lacking
                ],
            },
            "mould": [_mould_json(risk) for risk in self.mould],
        }


def _dew_json(dew: Dew) -> dict[str, Any]:
    rows = zip(dew.held.tolist(), dew.least.tolist(), dew.most.tolist(), dew.passing.tolist(), strict=True)
    names = ("held", "least", "most", "to_the_room")
    return {
        "months": [{"month": i, **dict(zip(names, row, strict=True))} for i, row in enumerate(rows, start=1)],
        "dries": dew.dries,
        "cases": dew.cases,
        "left": dew.left,
        "wall_humidity_read": dew.wall_humidity_read,
        "depth_mm": dew.depth_mm,
    }


def _mould_json(risk: MouldRisk) -> dict[str, Any]:
    classes = [name.replace(" ", "_") for name in risk.index]
    rows = zip(*(values.tolist() for values in risk.index.values()), strict=True)
    return {
        "behind": risk.behind,
        "known": risk.known,
        "humid": risk.humid,
        "days": [
            {"day": date_of(day).isoformat(), **dict(zip(classes, row, strict=True))}
            for day, row in zip(risk.day.tolist(), rows, strict=True)
        ],
    }


def room_air(section: Section, as_of: dt.date) -> RoomAir:
    """Of a section, from what was read and logged by the end of ``as_of``."""
    record = building_record(section.building)
    day = day_number(as_of)
    own = next(one for one in record.sections if one.code == section.code).until(day)
    logged = [(series, log.where(log.day <= day)) for series, log in logs_of(section)]
    dew = dew_in_layers(own, record.readings.until(day), day, _days(logged))
    risks = (_behind(logged), _on_face(logged))
    return RoomAir(as_of, dew, tuple(one for one in risks if one is not None))


def _days(logged: Logged) -> dict[str, tuple[FloatArray, FloatArray]]:
    """Daily means by quantity, of days that were covered well enough."""
    parts: dict[str, list[tuple[FloatArray, FloatArray]]] = defaultdict(list)
    for series, log in logged:
        periods = daily(log)
        whole = periods.coverage >= LEAST_COVERAGE
        parts[series.quantity].append((periods.start[whole], periods.mean[whole]))
    return {
        quantity: tuple(np.concatenate(column) for column in zip(*own, strict=True))  # type: ignore[misc]
        for quantity, own in parts.items()
    }


def _behind(logged: Logged) -> MouldRisk | None:
    """Of the place in the wall where both temperature and humidity were logged, the longest such."""
    found = []
    for one, temperature in logged:
        for other, humidity in logged:
            pair = (one.quantity, other.quantity)
            if pair == (Quantity.IN_WALL_TEMPERATURE, Quantity.IN_WALL_HUMIDITY) and _place(one) == _place(
                other
            ):
                found.append(mould_behind(temperature, humidity))
    return max((one for one in found if one), key=lambda risk: len(risk.day), default=None)


def _place(series: LogSeries) -> tuple[object, ...]:
    return series.section_id, series.height_mm, series.depth_mm, series.point


def _on_face(logged: Logged) -> MouldRisk | None:
    """Of the face whose temperature was logged, with the air of the section's own logger or the house's."""
    by_quantity: dict[str, Log] = {}
    for series, log in logged:
        by_quantity.setdefault(series.quantity, log)
    needed = (Quantity.SURFACE_TEMPERATURE, Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY)
    if not all(quantity in by_quantity for quantity in needed):
        return None
    return mould_on_face(*(by_quantity[quantity] for quantity in needed))
