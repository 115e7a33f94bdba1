"""What the plan of a house rests on, up to a day, in a fixed number of queries."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from uuid import UUID

from django.db.models import Count, Max, Q

from inspections.analysis import schedule
from inspections.analysis.schedule import Known
from inspections.models import Action, Allocation, Flag, Policy, Reading, Visit
from inspections.vocabulary import FlagState, Verdict
from portfolio.models import Building, Event, Organisation, Section, Treatment
from portfolio.vocabulary import EventKind, Purpose

#: What happened to a house or wall that asks for a look soon after.
ASKING_EVENTS = (EventKind.FLOOD, EventKind.HEAVY_RAIN, EventKind.SUMP_FAILURE)


@dataclass(slots=True)
class LastLook:
    """The last visit that covered a section: how many readings of each quantity, and who went."""

    day: dt.date
    counts: dict[str, int] = field(default_factory=dict)
    person_id: UUID | None = None


@dataclass(slots=True)
class HouseKnown:
    """What the looks at a house and its sections rest on; the sections by id, without their verdicts."""

    sections: dict[UUID, Known]
    looks: dict[UUID, LastLook]
    entered_on: dt.date
    last_visit: dt.date | None
    events: list[dt.date]


def policy_of(organisation: Organisation) -> Policy:
    """The organisation's policy: its own, or the usual one that nobody has changed."""
    return Policy.objects.of(organisation).first() or Policy(organisation=organisation)


def as_schedule(row: Policy) -> schedule.Policy:
    """A stored policy as the analysis takes it."""
    return schedule.Policy(
        months={verdict: getattr(row, f"{verdict}_months") for verdict in Verdict.values},
        house_months=row.house_months,
        trial_months=row.trial_months,
        new_coat_months=tuple(int(part) for part in row.new_coat_months.split(",") if part.strip()),
        seasons=tuple((int(day[:2]), int(day[3:])) for day in (row.late_winter, row.late_summer) if day),
        flag_days=row.flag_days,
        event_days=row.event_days,
        round_days=row.round_days,
    )


def known_of(sections: Mapping[Building, Sequence[Section]], as_of: dt.date) -> dict[Building, HouseKnown]:
    """What is known of houses and their ``sections`` up to the end of a day, for their plans."""
    houses = list(sections)
    looks, last = _last_looks(houses, as_of), _last_visits(houses, as_of)
    flagged, events = _flagged(houses, as_of), _events(houses, as_of)
    coats, trials, follow_ups = _coats(houses, as_of), _trials(houses, as_of), _follow_ups(houses, as_of)
    return {
        house: HouseKnown(
            sections={
                one.pk: Known(
                    entered_on=_entered(one, house, as_of),
                    last_visit=looks[one.pk].day if one.pk in looks else None,
                    flagged_on=flagged.get(one.pk),
                    events=events[one.pk] + events[house.pk],
                    coats=coats[one.pk],
                    trials=trials[one.pk],
                    follow_ups=follow_ups[one.pk],
                )
                for one in own
            },
            looks=looks,
            entered_on=_entered(house, house, as_of),
            last_visit=last.get(house.pk),
            events=events[house.pk],
        )
        for house, own in sections.items()
    }


def _entered(record: Building | Section, building: Building, as_of: dt.date) -> dt.date:
    return min(record.entered_at.astimezone(building.zone).date(), as_of)


def _last_looks(houses: Sequence[Building], as_of: dt.date) -> dict[UUID, LastLook]:
    readings = Reading.objects.standing().filter(building__in=houses, section__isnull=False)
    until = readings.filter(visit__day__lte=as_of).order_by()
    last = dict(until.values_list("section_id").annotate(Max("visit__day")))
    looks = {section: LastLook(day) for section, day in last.items()}
    of_days = readings.filter(visit__day__in=set(last.values())).order_by()
    counted = of_days.values_list("section_id", "visit__day", "quantity", "visit__person_id")
    for section, day, quantity, person, count in counted.annotate(Count("id")):
        look = looks.get(section)
        if look is not None and look.day == day:
            look.counts[quantity] = look.counts.get(quantity, 0) + count
            look.person_id = person or look.person_id
    return looks


def _last_visits(houses: Sequence[Building], as_of: dt.date) -> dict[UUID, dt.date]:
    """The last day on which somebody was at a house or looked at the sources of its water."""
    visits = Visit.objects.standing().filter(building__in=houses, day__lte=as_of)
    checks = Event.objects.standing().filter(
        building__in=houses, section__isnull=True, kind=EventKind.SOURCE_CHECK, happened_on__lte=as_of
    )
    last: dict[UUID, dt.date] = {}
    for rows, day in ((visits, "day"), (checks, "happened_on")):
        for house, latest in rows.order_by().values_list("building_id").annotate(Max(day)):
            last[house] = max(latest, last.get(house, latest))
    return last


def _flagged(houses: Sequence[Building], as_of: dt.date) -> dict[UUID, dt.date]:
    """For each section the day of its latest flag that nobody had confirmed, dismissed or closed by then."""
    found = {}
    flags = Flag.objects.filter(section__building__in=houses, opened_on__lte=as_of)
    for flag in flags.select_related("section__building").order_by("opened_on"):
        ended = flag.closed_on
        if flag.state in (FlagState.CONFIRMED, FlagState.DISMISSED) and flag.answered_at:
            ended = flag.answered_at.astimezone(flag.section.building.zone).date()
        if ended is None or ended > as_of:
            found[flag.section_id] = flag.opened_on
    return found


def _events(houses: Sequence[Building], as_of: dt.date) -> dict[UUID, list[dt.date]]:
    """By section, or by house what happened to all of it."""
    events = Event.objects.standing().filter(
        building__in=houses, kind__in=ASKING_EVENTS, happened_on__lte=as_of
    )
    found: dict[UUID, list[dt.date]] = defaultdict(list)
    dated = events.order_by("happened_on").values_list("building_id", "section_id", "happened_on")
    for house, section, day in dated:
        found[section or house].append(day)
    return found


def _coats(houses: Sequence[Building], as_of: dt.date) -> dict[UUID, list[dt.date]]:
    """The days on which coats were put on that still stood then, but for patches and those found there."""
    coats = Treatment.objects.standing().filter(
        Q(removed_on__isnull=True) | Q(removed_on__gt=as_of),
        section__building__in=houses,
        found=False,
        applied_on__lte=as_of,
    )
    found: dict[UUID, list[dt.date]] = defaultdict(list)
    for section, day in coats.exclude(purpose=Purpose.PATCH).values_list("section_id", "applied_on"):
        found[section].append(day)
    return found


def _trials(houses: Sequence[Building], as_of: dt.date) -> dict[UUID, list[tuple[dt.date, dt.date | None]]]:
    allotted = Allocation.objects.standing().filter(
        section__building__in=houses, trial__voided_at__isnull=True, trial__started_on__lte=as_of
    )
    found: dict[UUID, list[tuple[dt.date, dt.date | None]]] = defaultdict(list)
    dated = allotted.values_list("section_id", "trial__started_on", "trial__planned_end_on")
    for section, start, end in dated:
        if start is not None:
            found[section].append((start, end))
    return found


def _follow_ups(houses: Sequence[Building], as_of: dt.date) -> dict[UUID, list[dt.date]]:
    actions = Action.objects.standing().filter(section__building__in=houses, done_on__lte=as_of)
    found: dict[UUID, list[dt.date]] = defaultdict(list)
    for section, day in actions.values_list("section_id", "follow_up_on"):
        if day is not None:
            found[section].append(day)
    return found
