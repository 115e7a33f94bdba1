"""What each page shows, read in a fixed number of queries, always within one organisation."""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import reduce
from operator import or_
from uuid import UUID

from django.db.models import Count, F, Max, Prefetch, Q, QuerySet, Window

from inspections.models import (
    LIVE_FLAG_STATES,
    Action,
    Allocation,
    Assessment,
    Flag,
    Plan,
    Reading,
    Replay,
    Trial,
)
from inspections.vocabulary import OF_THE_BUILDING, Quantity
from portfolio.models import Building, Event, Membership, Organisation, Section, Treatment, User

#: Areas that are told with their latest level: the sum of a day.
_AREAS = (Quantity.HOLLOW_AREA, Quantity.SPALL_AREA, Quantity.SALT_AREA)


@dataclass(slots=True)
class Stretch:
    """A section with what is known of it now."""

    section: Section
    assessment: Assessment | None = None
    flags: list[Flag] = field(default_factory=list)
    treatments: list[Treatment] = field(default_factory=list)
    plan: Plan | None = None

    @property
    def due(self) -> dt.date | None:
        """When it is next to be inspected: as postponed, as planned, or as assessed."""
        if self.plan:
            return self.plan.falls_on
        return self.assessment.next_inspection if self.assessment else None


@dataclass(slots=True)
class House:
    """A building with its sections, in order."""

    building: Building
    stretches: list[Stretch] = field(default_factory=list)
    plan: Plan | None = None


@dataclass(frozen=True, slots=True)
class AreaLevel:
    """The sum of one area over a section on one day, m²."""

    day: dt.date
    area: float


#: By section and quantity.
Areas = dict[UUID, dict[str, AreaLevel]]


@dataclass(frozen=True, slots=True)
class Past:
    """What happened to a section and its house: events in time, actions and flags the latest first."""

    events: list[Event]
    actions: list[Action]
    flags: list[Flag]


@dataclass(frozen=True, slots=True)
class TrialArms:
    """A trial with its arms, the count of sections in each, and the ways they were allotted."""

    trial: Trial
    arms: dict[str, int]
    allocated_by: Counter[str]


def organisations_of(user: User) -> list[Organisation]:
    """The organisations a person belongs to, by name."""
    memberships = Membership.objects.filter(user=user).select_related("organisation")
    return sorted((membership.organisation for membership in memberships), key=lambda o: (o.name, o.slug))


def find_building(organisation: Organisation, pk: UUID) -> Building | None:
    """The building, if the organisation has it."""
    found: Building | None = Building.objects.of(organisation).standing().filter(pk=pk).first()
    return found


def find_section(organisation: Organisation, pk: UUID) -> Section | None:
    """The section with its building, if the organisation has it."""
    sections = Section.objects.of(organisation).standing().filter(building__voided_at__isnull=True)
    found: Section | None = sections.select_related("building").filter(pk=pk).first()
    return found


def houses(organisation: Organisation, building: Building | None = None) -> list[House]:
    """Every house (or one) with its sections, their current assessments, live flags, coats and plans."""
    buildings = Building.objects.of(organisation).standing()
    sections = Section.objects.of(organisation).standing()
    if building is not None:
        buildings, sections = buildings.filter(pk=building.pk), sections.filter(building=building)
    found = {own.pk: House(own) for own in buildings.order_by("code")}
    stretches: dict[UUID, Stretch] = {}
    for section in sections.order_by("building__code", "wall", "start_m", "code"):
        house = found.get(section.building_id)
        if house:
            section.building = house.building
            stretches[section.pk] = Stretch(section)
            house.stretches.append(stretches[section.pk])
    _fill(organisation, stretches, found, building)
    return list(found.values())


def _fill(
    organisation: Organisation,
    stretches: dict[UUID, Stretch],
    found: dict[UUID, House],
    building: Building | None,
) -> None:
    """Hang onto each section what belongs to it, in one query a kind."""
    of_one = {} if building is None else {"section__building": building}
    for assessment in Assessment.objects.of(organisation).filter(current=True, **of_one):
        if assessment.section_id in stretches:
            stretches[assessment.section_id].assessment = assessment
    for flag in Flag.objects.of(organisation).filter(state__in=LIVE_FLAG_STATES, **of_one):
        if flag.section_id in stretches:
            stretches[flag.section_id].flags.append(flag)
    coats = Treatment.objects.of(organisation).standing().filter(**of_one)
    for treatment in coats.order_by("applied_on", "layer"):
        if treatment.section_id in stretches:
            stretches[treatment.section_id].treatments.append(treatment)
    plans = Plan.objects.of(organisation).filter(paper__isnull=True)
    for plan in plans if building is None else plans.filter(building=building):
        if plan.section_id in stretches:
            stretches[plan.section_id].plan = plan
        elif plan.section_id is None and plan.building_id in found:
            found[plan.building_id].plan = plan


def latest_areas(organisation: Organisation, sections: Iterable[Section]) -> Areas:
    """For each section the latest day's sum of each area; one query, however many sections."""
    # From the sections to their readings: the other way the database would go through all of its houses'.
    # A reading that is only a bound would make the sum one: such days are left to the section's own page.
    areas = Section.objects.of(organisation).filter(
        pk__in=[section.pk for section in sections],
        readings__voided_at=None,
        readings__quantity__in=_AREAS,
        readings__qualifier="",
    )
    told = areas.annotate(
        quantity=F("readings__quantity"),
        day=F("readings__visit__day"),
        area=F("readings__value"),
        taken_at=F("readings__taken_at"),
    )
    last = told.annotate(last=Window(Max("day"), partition_by=["pk", "quantity"])).filter(last=F("day"))
    latest: Areas = defaultdict(dict)
    for key, quantity, day, area in last.order_by("taken_at").values_list("pk", "quantity", "day", "area"):
        before = latest[key].get(quantity)
        latest[key][quantity] = AreaLevel(day, area + (before.area if before else 0.0))
    return dict(latest)


def trials(organisation: Organisation) -> list[TrialArms]:
    """The organisation's trials with their arms and how those were allotted."""
    allocations = Prefetch(
        "allocations",
        Allocation.objects.of(organisation).standing().order_by("arm"),
        to_attr="standing_allocations",
    )
    found = Trial.objects.of(organisation).standing().order_by("code").prefetch_related(allocations)
    return [_arms(trial) for trial in found]


def _arms(trial: Trial) -> TrialArms:
    own: list[Allocation] = trial.standing_allocations  # type: ignore[attr-defined]
    return TrialArms(trial, dict(Counter(one.arm for one in own)), Counter(one.allocated_by for one in own))


def house_readings(organisation: Organisation, building: Building) -> list[tuple[Reading, int]]:
    """The latest reading of each quantity of the house as a whole, with how many there are; two queries."""
    readings = Reading.objects.of(organisation).standing().filter(building=building, section__isnull=True)
    known = readings.filter(quantity__in=OF_THE_BUILDING).order_by().values("quantity")
    counts = {row["quantity"]: row for row in known.annotate(last=Max("taken_at"), count=Count("id"))}
    if not counts:
        return []
    last = reduce(or_, (Q(quantity=name, taken_at=row["last"]) for name, row in counts.items()))
    latest = {reading.quantity: reading for reading in readings.filter(last)}
    return [(latest[name], counts[name]["count"]) for name in sorted(latest)]


def building_events(organisation: Organisation, building: Building) -> QuerySet[Event]:
    """What happened to the house and its walls, the latest first."""
    events: QuerySet[Event] = Event.objects.of(organisation).standing().filter(building=building)
    return events.select_related("section").order_by("-happened_on", "kind")


def past_of(organisation: Organisation, section: Section) -> Past:
    """What happened to a section, in three queries."""
    events = Event.objects.of(organisation).standing().filter(building=section.building_id)
    own = Q(section=section) | Q(section__isnull=True)
    return Past(
        events=list(events.filter(own).order_by("happened_on", "kind")),
        actions=list(
            Action.objects.of(organisation)
            .standing()
            .filter(section=section)
            .select_related("section__building", "flag")
        ),
        flags=list(Flag.objects.of(organisation).filter(section=section)),
    )


def replay_of(organisation: Organisation, section: Section) -> Replay | None:
    """What would have been said of a section at each past visit, if somebody has looked back on it."""
    found: Replay | None = Replay.objects.of(organisation).filter(section=section).defer("digests").first()
    return found


def section_readings(organisation: Organisation, section: Section) -> QuerySet[Reading]:
    """The section's readings, the latest first."""
    readings: QuerySet[Reading] = Reading.objects.of(organisation).standing().filter(section=section)
    return readings.select_related("instrument", "visit").order_by("-taken_at", "quantity", "height_mm", "id")
