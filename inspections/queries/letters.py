"""What a mail tells of: the reminders that it holds with all that stands about them, in few queries."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from statistics import median
from uuid import UUID

from django.db.models import F, Q

from inspections.models import LIVE_FLAG_STATES, Assessment, Flag, Mail, Plan, Reading, Reminder
from inspections.queries.pages import Areas, Stretch, latest_areas
from inspections.vocabulary import Quantity, Subject
from portfolio.models import Section, Treatment

#: An earlier verdict is looked for no further back.
LOOKED_BACK = dt.timedelta(days=400)
_SUMMED = (Quantity.HOLLOW_AREA, Quantity.SPALL_AREA, Quantity.SALT_AREA)
#: A local day and the value of that day, in the canonical unit.
Points = list[tuple[dt.date, float]]


@dataclass(slots=True)
class Told:
    """One thing that a mail tells, with what stands of it now."""

    reminder: Reminder
    stretch: Stretch | None = None
    plan: Plan | None = None
    flag: Flag | None = None
    reading: Reading | None = None
    #: The verdict before the present one, and the last day on which it stood.
    before: tuple[str, dt.date] | None = None


def told_by(mail: Mail) -> list[Told]:
    """All that the mail tells, in no order."""
    rows = list(
        Reminder.objects.filter(mail=mail).select_related("organisation", "building", "section__building")
    )
    ids = {subject: [row.subject_id for row in rows if row.subject == subject] for subject in Subject}
    plans = {plan.pk: plan for plan in Plan.objects.filter(pk__in=ids[Subject.PLAN])}
    flags = {flag.pk: flag for flag in Flag.objects.filter(pk__in=ids[Subject.FLAG])}
    readings = {one.pk: one for one in Reading.objects.filter(pk__in=ids[Subject.READING])}
    sections = {row.section.pk: row.section for row in rows if row.section is not None}
    stretches = _stretches(sections)
    before = _before(stretches, mail.day)
    told = []
    for row in rows:
        one = Told(row, stretches.get(row.section_id) if row.section_id else None)
        one.plan, one.flag = plans.get(row.subject_id), flags.get(row.subject_id)
        one.reading = readings.get(row.subject_id)
        one.before = before.get(row.section_id) if row.section_id else None
        told.append(one)
    return told


def areas_of(told: Iterable[Told]) -> Areas:
    """The latest areas of the sections that are told of."""
    by_organisation: dict[UUID, list[Told]] = defaultdict(list)
    for one in told:
        if one.stretch:
            by_organisation[one.reminder.organisation_id].append(one)
    areas: Areas = {}
    for some in by_organisation.values():
        areas |= latest_areas(some[0].reminder.organisation, [one.stretch.section for one in some])  # type: ignore[union-attr]
    return areas


def days_of(quantities: Mapping[UUID, tuple[str, str]]) -> dict[UUID, Points]:
    """For each section one quantity, read in one unit, by local day: areas summed, all else its median."""
    if not quantities:
        return {}
    wanted = Q()
    for section, (quantity, unit) in quantities.items():
        scale = {"instrument__scale": unit} if unit in ("relative", "percent_wme", "percent_mass") else {}
        wanted |= Q(section=section, quantity=quantity, **scale)
    # A value beyond the instrument's range is a slip, which the analysis sets aside too.
    slips = Q(value__gt=F("instrument__maximum")) | Q(value__lt=F("instrument__minimum"))
    rows = Reading.objects.filter(wanted, voided_at__isnull=True).exclude(slips).order_by("visit__day")
    days: dict[UUID, dict[dt.date, list[float]]] = defaultdict(lambda: defaultdict(list))
    for section, day, value in rows.values_list("section_id", "visit__day", "value"):
        days[section][day].append(value)
    return {
        section: [(day, _of_a_day(quantities[section][0], values)) for day, values in by_day.items()]
        for section, by_day in days.items()
    }


def building_days(reading: Reading) -> Points:
    """All readings of the same quantity of the same house as a whole, by local day."""
    rows = Reading.objects.filter(
        building=reading.building_id,
        section__isnull=True,
        quantity=reading.quantity,
        voided_at__isnull=True,
    ).order_by("visit__day")
    days: dict[dt.date, list[float]] = defaultdict(list)
    for day, value in rows.values_list("visit__day", "value"):
        days[day].append(value)
    return [(day, max(values)) for day, values in days.items()]


def _of_a_day(quantity: str, values: list[float]) -> float:
    return sum(values) if quantity in _SUMMED else median(values)


def _stretches(sections: Mapping[UUID, Section]) -> dict[UUID, Stretch]:
    stretches = {pk: Stretch(section) for pk, section in sections.items()}
    for assessment in Assessment.objects.filter(current=True, section__in=sections):
        stretches[assessment.section_id].assessment = assessment
    for flag in Flag.objects.filter(state__in=LIVE_FLAG_STATES, section__in=sections):
        stretches[flag.section_id].flags.append(flag)
    coats = Treatment.objects.standing().filter(section__in=sections).order_by("applied_on", "layer")
    for treatment in coats:
        stretches[treatment.section_id].treatments.append(treatment)
    return stretches


def _before(stretches: Mapping[UUID, Stretch], today: dt.date) -> dict[UUID, tuple[str, dt.date]]:
    """Of each section the last verdict that differs from the present one."""
    earlier = Assessment.objects.filter(
        section__in=stretches, current=False, as_of__gte=today - LOOKED_BACK
    ).order_by("as_of")
    before: dict[UUID, tuple[str, dt.date]] = {}
    for section, verdict, day in earlier.values_list("section_id", "verdict", "as_of"):
        own = stretches[section].assessment
        if own is not None and verdict != own.verdict:
            before[section] = verdict, day
    return before
