"""What the forms start from: where a house is usually read, what was read last, and what is chosen from."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from functools import reduce
from operator import or_
from uuid import UUID

from django.db.models import Q, QuerySet

from inspections.models import Allocation, Flag, Instrument, Reading, Trial
from portfolio.models import Building, Event, Membership, Organisation, Section, Treatment
from portfolio.vocabulary import EventKind

#: A section is offered every place that was read on so many of its last days: not all is read each time.
LAST_DAYS = 3


@dataclass(frozen=True, slots=True)
class Place:
    """Where on a section a quantity is read; with the section and the time it tells readings apart."""

    quantity: str
    height_mm: float | None = None
    depth_mm: float | None = None
    point: str = ""
    replicate: int = 1


#: By section (None: the house as a whole), the latest reading of each place.
Latest = dict[UUID | None, dict[Place, Reading]]


def place_of(reading: Reading) -> Place:
    """The place that a reading was taken at."""
    return Place(reading.quantity, reading.height_mm, reading.depth_mm, reading.point, int(reading.replicate))


def latest_at_places(organisation: Organisation, building: Building, before: dt.datetime) -> Latest:
    """The latest reading before a moment at each place of the house's sections, in two queries."""
    readings = Reading.objects.of(organisation).standing().filter(building=building, taken_at__lt=before)
    days: dict[UUID | None, list[dt.date]] = defaultdict(list)
    pairs = readings.order_by("-visit__day").values_list("section_id", "visit__day").distinct()
    for section, day in pairs:
        if len(days[section]) < LAST_DAYS:
            days[section].append(day)
    if not days:
        return {}
    wanted = reduce(or_, (Q(section=section, visit__day__in=own) for section, own in days.items()))
    latest: Latest = defaultdict(dict)
    for reading in readings.filter(wanted).select_related("instrument", "visit").order_by("-taken_at"):
        latest[reading.section_id].setdefault(place_of(reading), reading)
    return dict(latest)


def readings_at(organisation: Organisation, building: Building, moment: dt.datetime) -> QuerySet[Reading]:
    """What was read in the house at a moment."""
    found: QuerySet[Reading] = Reading.objects.of(organisation).standing()
    return found.filter(building=building, taken_at=moment).select_related("instrument", "visit", "section")


def taken_back_at(
    organisation: Organisation, building: Building, section: UUID | None, moment: dt.datetime
) -> set[Place]:
    """The places of a section at which a reading of that moment was voided; their keys are taken."""
    found = Reading.objects.of(organisation).filter(building=building, section=section, taken_at=moment)
    return {place_of(reading) for reading in found.filter(voided_at__isnull=False)}


def find_reading(organisation: Organisation, pk: UUID) -> Reading | None:
    """The reading, voided or not, if the organisation has it and its house stands."""
    found: Reading | None = (
        Reading.objects.of(organisation)
        .filter(pk=pk, building__voided_at__isnull=True)
        .select_related("building", "section", "visit")
        .first()
    )
    return found


def sections_of(organisation: Organisation, building: Building) -> list[Section]:
    """The house's sections."""
    sections = Section.objects.of(organisation).standing().filter(building=building)
    return list(sections.select_related("building"))


def every_section(organisation: Organisation) -> list[Section]:
    """All sections of the organisation with their houses."""
    sections = Section.objects.of(organisation).standing().filter(building__voided_at__isnull=True)
    return list(sections.select_related("building").order_by("building__code", "wall", "start_m", "code"))


def instruments(organisation: Organisation) -> list[Instrument]:
    """The organisation's instruments in use."""
    return list(Instrument.objects.of(organisation).standing().order_by("code"))


def find_treatment(organisation: Organisation, pk: UUID) -> Treatment | None:
    """The treatment with its section, if the organisation has it."""
    found: Treatment | None = (
        Treatment.objects.of(organisation)
        .standing()
        .filter(pk=pk, section__voided_at__isnull=True, section__building__voided_at__isnull=True)
        .select_related("section__building")
        .first()
    )
    return found


def standing_coats(organisation: Organisation, section: Section) -> list[Treatment]:
    """What is on the section now, from the wall outward."""
    coats = Treatment.objects.of(organisation).standing().filter(section=section, removed_on__isnull=True)
    return list(coats.order_by("layer", "applied_on"))


def find_flag(organisation: Organisation, pk: UUID) -> Flag | None:
    """The flag with its section, if the organisation has it."""
    found: Flag | None = (
        Flag.objects.of(organisation)
        .filter(pk=pk, section__voided_at__isnull=True, section__building__voided_at__isnull=True)
        .select_related("section__building", "answered_by")
        .first()
    )
    return found


def source_check_since(organisation: Organisation, section: Section, day: dt.date) -> Event | None:
    """The latest look at the sources of the section's (or its whole house's) water since a day."""
    own = Q(section=section) | Q(section__isnull=True)
    checks = Event.objects.of(organisation).standing().filter(own, building=section.building_id)
    found: Event | None = (
        checks.filter(kind=EventKind.SOURCE_CHECK, happened_on__gte=day).order_by("-happened_on").first()
    )
    return found


def find_trial(organisation: Organisation, pk: UUID) -> Trial | None:
    """The trial, if the organisation has it."""
    found: Trial | None = Trial.objects.of(organisation).standing().filter(pk=pk).first()
    return found


def allocations(organisation: Organisation, trial: Trial) -> list[Allocation]:
    """The trial's sections, each with its arm."""
    own = Allocation.objects.of(organisation).standing().filter(trial=trial)
    return list(
        own.select_related("section__building").order_by("arm", "section__building__code", "section__code")
    )


def members(organisation: Organisation) -> list[Membership]:
    """Everybody in the organisation, by name."""
    return list(Membership.objects.of(organisation).select_related("user").order_by("user__username"))


def find_membership(organisation: Organisation, pk: UUID) -> Membership | None:
    """The membership, if it is of the organisation."""
    found: Membership | None = (
        Membership.objects.of(organisation).filter(pk=pk).select_related("user", "organisation").first()
    )
    return found
