"""What rows may name: the buildings, sections, instruments and trials of the folder and of the records."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from inspections.models import Instrument, Trial
from inspections.records.cells import zone_of
from inspections.records.faults import Problem, shown
from portfolio.models import Building, Organisation, Section

#: Stands for whatever a file that could not be read would have held.
UNREAD = uuid.UUID(int=0)
UTC = ZoneInfo("UTC")


@dataclass(frozen=True, slots=True)
class House:
    """A building as other rows need it."""

    id: uuid.UUID
    #: None where the record names a zone that there is not.
    zone: ZoneInfo | None


@dataclass(slots=True)
class Places:
    """Code to id, for what stands already and for what the folder brings, which has its new id from here."""

    organisation_id: uuid.UUID
    buildings: dict[str, House] = field(default_factory=dict)
    sections: dict[tuple[str, str], uuid.UUID] = field(default_factory=dict)
    instruments: dict[str, uuid.UUID] = field(default_factory=dict)
    trials: dict[str, uuid.UUID] = field(default_factory=dict)
    #: Files too broken to say what they hold: a missing code is then not held against other files.
    unread: set[str] = field(default_factory=set)

    # What the folder brings ------------------------

    def add_building(self, code: str, timezone: str | None) -> uuid.UUID:
        known = self.buildings.get(code)
        zone = zone_of(timezone) if timezone else UTC
        house = House(known.id if known else uuid.uuid4(), zone)
        self.buildings[code] = house
        return house.id

    def add_section(self, building: str, code: str) -> uuid.UUID:
        return self.sections.setdefault((building, code), uuid.uuid4())

    def add_instrument(self, code: str) -> uuid.UUID:
        return self.instruments.setdefault(code, uuid.uuid4())

    def add_trial(self, code: str) -> uuid.UUID:
        return self.trials.setdefault(code, uuid.uuid4())

    # What other rows name ------------------------

    def building(self, code: str) -> House:
        house = self.buildings.get(code)
        if house:
            return house
        if "buildings" in self.unread:
            return House(UNREAD, UTC)
        raise Problem(_nowhere(f"building {shown(code)}", "buildings.csv"))

    def section(self, building: str, code: str) -> uuid.UUID:
        found = self.sections.get((building, code))
        if found:
            return found
        if "sections" in self.unread:
            return UNREAD
        raise Problem(_nowhere(f"section {shown(code)} of building {shown(building)}", "sections.csv"))

    def instrument(self, code: str) -> uuid.UUID:
        found = self.instruments.get(code)
        if found:
            return found
        if "instruments" in self.unread:
            return UNREAD
        raise Problem(_nowhere(f"instrument {shown(code)}", "instruments.csv"))

    def trial(self, code: str) -> uuid.UUID:
        found = self.trials.get(code)
        if found:
            return found
        if "trials" in self.unread:
            return UNREAD
        raise Problem(_nowhere(f"trial {shown(code)}", "trials.csv"))


def _nowhere(what: str, file: str) -> str:
    return f"no {what}, neither in this folder nor among the records; add it to {file} or mend the code"


def _zone(timezone: str) -> ZoneInfo | None:
    try:
        return zone_of(timezone)
    except Problem:
        return None


def places_of(organisation: Organisation) -> Places:
    """All that stands in the organisation, voided or not: a voided code is still taken."""
    places = Places(organisation.id)
    for code, id, timezone in Building.objects.of(organisation).values_list("code", "id", "timezone"):
        places.buildings[code] = House(id, _zone(timezone))
    for building, code, id in Section.objects.of(organisation).values_list("building__code", "code", "id"):
        places.sections[building, code] = id
    places.instruments.update(Instrument.objects.of(organisation).values_list("code", "id"))
    places.trials.update(Trial.objects.of(organisation).values_list("code", "id"))
    return places
