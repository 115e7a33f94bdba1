"""Visits follow from readings: one inspector in one building on one local day."""

from __future__ import annotations

import datetime as dt
import uuid

from inspections.models import Visit
from inspections.records.database import execute, fetch
from inspections.records.staging import Stage

#: So many visits are held in memory.
REMEMBERED = 200_000
KEY = ("building_id", "day", "inspector")

Key = tuple[uuid.UUID, dt.date, str]


class Visits:
    """The visit of each reading: one that stands already, or a new one that is staged with the rest.

    A building's standing visits are fetched when it first comes up. Once there are too many to remember, all
    are forgotten, and each is looked up by its own key when it comes up again.
    """

    def __init__(self) -> None:
        self.stage = Stage(Visit, KEY, KEY)
        self._known: dict[Key, uuid.UUID] = {}
        self._fetched: set[uuid.UUID] = set()
        self._one_by_one = False
        self._line = 0

    def id_of(self, building_id: uuid.UUID, day: dt.date, inspector: str) -> uuid.UUID:
        key = (building_id, day, inspector)
        id = self._known.get(key) or self._found(key)
        if id is None:
            id = self._known[key] = uuid.uuid4()
            self._line += 1
            self.stage.add(
                self._line, {"id": id, "building_id": building_id, "day": day, "inspector": inspector}
            )
        return id

    def inspectors(self, ids: set[uuid.UUID]) -> dict[uuid.UUID, str]:
        """Who made these visits, staged or live."""
        found = dict(Visit.objects.filter(id__in=ids).values_list("id", "inspector"))
        missing = [self.stage.driver_value("id", id) for id in ids - found.keys()]
        if missing:
            places = ", ".join(["%s"] * len(missing))
            rows = fetch(f"SELECT id, inspector FROM {self.stage.staged} WHERE id IN ({places})", missing)
            found.update((self.stage.field("id").to_python(id), inspector) for id, inspector in rows)
        return found

    def _found(self, key: Key) -> uuid.UUID | None:
        """A visit that is not in memory."""
        if len(self._known) > REMEMBERED:
            self._forget()
        if self._one_by_one:
            id = self._look_up(key)
            if id is not None:
                self._known[key] = id
            return id
        if key[0] not in self._fetched:
            self._fetch(key[0])
        return self._known.get(key)

    def _fetch(self, building_id: uuid.UUID) -> None:
        standing = Visit.objects.filter(building_id=building_id).values_list("day", "inspector", "id")
        self._known.update(((building_id, day, inspector), id) for day, inspector, id in standing)
        self._fetched.add(building_id)

    def _forget(self) -> None:
        self._known.clear()
        self.stage.flush()
        if not self._one_by_one:
            columns = ", ".join(self.stage.column(name) for name in KEY)
            execute(f"CREATE INDEX staged_visit_key ON {self.stage.staged} ({columns})")
            self._one_by_one = True

    def _look_up(self, key: Key) -> uuid.UUID | None:
        where = " AND ".join(f"{self.stage.column(name)} = %s" for name in KEY)
        values = [self.stage.driver_value(name, value) for name, value in zip(KEY, key, strict=True)]
        rows = fetch(
            f"SELECT id FROM {self.stage.staged} WHERE {where} UNION ALL "
            f"SELECT id FROM {self.stage.live} WHERE {where}",
            values * 2,
        )
        return self.stage.field("id").to_python(rows[0][0]) if rows else None
