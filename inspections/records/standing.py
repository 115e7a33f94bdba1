"""What a single row may name: looked up among the organisation's records when it is named."""

from __future__ import annotations

import uuid
from typing import Any
from zoneinfo import ZoneInfo

from inspections.models import Flag, Instrument, Photo, Trial, Visit
from inspections.records.cells import zone_of
from inspections.records.faults import Problem, shown
from inspections.records.places import House, Places
from portfolio.models import Building, Membership, Organisation, Section


class StandingPlaces(Places):
    """The organisation's records themselves. Another organisation's do not exist.

    ``record`` is one that is corrected: the person it names already may have left since.
    """

    def __init__(self, organisation: Organisation, record: Any = None) -> None:
        super().__init__(organisation.pk)
        self.organisation = organisation
        self.named = getattr(record, "person", None)

    def building(self, code: str) -> House:
        if code not in self.buildings:
            of_code = Building.objects.of(self.organisation).filter(code=code)
            row = of_code.values_list("pk", "timezone").first()
            if row is None:
                raise Problem(f"building {shown(code)} does not exist; mend the code, or enter it first")
            self.buildings[code] = House(row[0], _zone(row[1]))
        return self.buildings[code]

    def section(self, building: str, code: str) -> uuid.UUID:
        of_code = Section.objects.of(self.organisation).filter(building__code=building, code=code)
        return _first(of_code, "pk", f"section {shown(code)} of building {shown(building)}")

    def instrument(self, code: str) -> uuid.UUID:
        return _first(
            Instrument.objects.of(self.organisation).filter(code=code), "pk", f"instrument {shown(code)}"
        )

    def trial(self, code: str) -> uuid.UUID:
        return _first(Trial.objects.of(self.organisation).filter(code=code), "pk", f"trial {shown(code)}")

    def person(self, username: str) -> uuid.UUID:
        if self.named is not None and self.named.username == username:
            return self.named.pk
        members = Membership.objects.of(self.organisation).filter(user__username=username)
        return _first(members, "user_id", f"member {shown(username)}")

    def visit(self, pk: uuid.UUID) -> uuid.UUID:
        return _first(Visit.objects.of(self.organisation).filter(pk=pk), "building_id", f"visit {pk}")

    def flag(self, pk: uuid.UUID) -> uuid.UUID:
        return _first(Flag.objects.of(self.organisation).filter(pk=pk), "section_id", f"flag {pk}")

    def photo(self, pk: uuid.UUID) -> uuid.UUID:
        return _first(Photo.objects.of(self.organisation).filter(pk=pk), "building_id", f"photo {pk}")


def _zone(name: str) -> ZoneInfo | None:
    try:
        return zone_of(name)
    except Problem:
        return None


def _first(records: Any, field: str, what: str) -> uuid.UUID:
    found: uuid.UUID | None = records.values_list(field, flat=True).first()
    if found is None:
        raise Problem(f"{what} does not exist; mend it, or enter it first")
    return found
