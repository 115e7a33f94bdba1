"""Visits follow from readings: one inspector in one building on one local day."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from inspections.models import Visit
from inspections.records.database import fetch
from inspections.records.staging import Stage

#: So many visits are remembered before those of other buildings are looked up again.
REMEMBERED = 200_000

Days = dict[tuple[dt.date, str], uuid.UUID]


class Visits:
    """The visit of each reading: one that stands already, or a new one that is staged with the rest."""

    def __init__(self) -> None:
        self.stage = Stage(Visit, ("building_id", "day", "inspector"), ("building_id", "day", "inspector"))
        self._known: dict[uuid.UUID, Days] = {}
        self._remembered = 0
        self._line = 0

    def id_of(self, building_id: uuid.UUID, day: dt.date, inspector: str) -> uuid.UUID:
        days = self._known.get(building_id)
        if days is None:
            days = self._recall(building_id)
        id = days.get((day, inspector))
        if id is None:
            id = days[day, inspector] = uuid.uuid4()
            self._remembered += 1
            self._line += 1
            values = {"id": id, "building_id": building_id, "day": day, "inspector": inspector}
            self.stage.add(self._line, values)
        return id

    def _recall(self, building_id: uuid.UUID) -> Days:
        """The building's visits, staged or live; those of others are forgotten where they grow too many."""
        if self._remembered > REMEMBERED:
            self._known.clear()
            self._remembered = 0
        self.stage.flush()
        days: Days = {}
        if self._line:
            days.update(self._staged(building_id))
        standing = Visit.objects.filter(building_id=building_id).values_list("day", "inspector", "id")
        days.update(((day, inspector), id) for day, inspector, id in standing)
        self._known[building_id] = days
        self._remembered += len(days)
        return days

    def _staged(self, building_id: uuid.UUID) -> Days:
        columns = ", ".join(self.stage.column(name) for name in ("day", "inspector", "id"))
        rows: list[tuple[Any, ...]] = fetch(
            f"SELECT {columns} FROM {self.stage.staged} WHERE {self.stage.column('building_id')} = %s",
            [self.stage.driver_value("building_id", building_id)],
        )
        to_day, to_id = (self.stage.field(name).to_python for name in ("day", "id"))
        return {(to_day(day), inspector): to_id(id) for day, inspector, id in rows}

    def inspectors(self, ids: set[uuid.UUID]) -> dict[uuid.UUID, str]:
        """Who made these visits, staged or live."""
        found = dict(Visit.objects.filter(id__in=ids).values_list("id", "inspector"))
        missing = ids - found.keys()
        if missing:
            values = [self.stage.driver_value("id", id) for id in missing]
            places = ", ".join(["%s"] * len(values))
            rows = fetch(f"SELECT id, inspector FROM {self.stage.staged} WHERE id IN ({places})", values)
            found.update((self.stage.field("id").to_python(id), inspector) for id, inspector in rows)
        return found
