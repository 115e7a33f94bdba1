"""Pages of a visit: when and whose, then section by section, then what is still missing."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from urllib.parse import urlencode
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from inspections.models import Instrument, Reading
from inspections.queries import entry, pages
from inspections.records import cells
from inspections.records.faults import Problem
from inspections.web.entry import help as helps
from inspections.web.entry import saving, visit
from inspections.web.entry.access import Opened, form_page, opened_to_write, page
from inspections.web.entry.forms import INITIALS_LENGTH, ReasonForm, VisitForm
from inspections.web.present import dates, words
from portfolio.models import Building, Section

#: Where the session keeps the initials.
INITIALS = "initials"


@dataclass(frozen=True, slots=True)
class Step:
    """One page of a visit: a section, or the house as a whole."""

    section: Section | None
    name: str
    href: str


@form_page
def start(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Which day, and who."""
    found = opened_to_write(request, pages.find_building, pk)
    now = timezone.now().astimezone(found.record.zone)
    initial = {
        "day": now.date().isoformat(),
        "time": f"{now:%H:%M}",
        "inspector": request.session.get(INITIALS, ""),
    }
    form = VisitForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        moment = _moment_of(form, found.record, now)
        if moment is not None:
            request.session[INITIALS] = form.cleaned_data["inspector"]
            query = urlencode({"by": form.cleaned_data["inspector"]})
            steps = _steps(found, visit.moment_text(moment), query)
            return redirect(steps[0].href)
    return page(request, "visit_start", found, form=form, house=words.house_name(found.record), pk=pk)


def _moment_of(form: VisitForm, building: Building, now: dt.datetime) -> dt.datetime | None:
    """The local time of the visit; None, and the form says why, where it is none."""
    try:
        day = cells.day(form.cleaned_data["day"])
    except Problem as problem:
        form.add_error("day", f"{problem}.")
        return None
    try:
        moment, _ = cells.moment(f"{day}T{form.cleaned_data['time'][:5]}", building.zone)
    except Problem as problem:
        form.add_error("time", f"{problem}.")
        return None
    if moment.astimezone(building.zone).date() > now.date():
        form.add_error("day", "This day is still to come; write the day of the visit.")
        return None
    return moment.astimezone(building.zone)


@form_page
def section(request: HttpRequest, pk: UUID, when: str, section_pk: UUID | None = None) -> HttpResponse:
    """The readings of one section, or of the house as a whole."""
    found = opened_to_write(request, pages.find_building, pk)
    local, moment = _moment(found.record, when)
    by = request.GET.get("by", "")[:INITIALS_LENGTH]
    steps = _steps(found, when, urlencode({"by": by}))
    at = next((i for i, one in enumerate(steps) if _pk(one.section) == section_pk), None)
    if at is None:
        raise Http404("No such section.")
    here = steps[at]
    standing = [
        one
        for one in entry.readings_at(found.organisation, found.record, moment)
        if one.section_id == section_pk
    ]
    instruments = entry.instruments(found.organisation)
    after = steps[at + 1].href if at + 1 < len(steps) else _href(found.record, when, by)
    errors: list[str] = []
    if request.method == "POST":
        scales = {one.code: one.scale for one in instruments}
        rows = visit.typed_rows(request.POST, found.user.units, scales)
        of_visit = {
            "building": found.record.code,
            "section": here.section.code if here.section else "",
            "taken_at": f"{local:%Y-%m-%dT%H:%M}",
            "inspector": by,
        }
        taken_back = entry.taken_back_at(found.organisation, found.record, section_pk, moment)
        before = saving.Before(standing, taken_back)
        errors = saving.save_readings(found, rows, of_visit, before)
        if not errors and not any(row.errors for row in rows):
            return redirect(after)
    else:
        latest = entry.latest_at_places(found.organisation, found.record, moment)
        own = [one for one in standing if one.visit.inspector == by]
        rows = visit.asked_rows(latest, section_pk, own, found.user.units, found.record.zone)
    return _section_page(request, found, rows, instruments, errors, steps, at, local, by, after)


def _section_page(
    request: HttpRequest,
    found: Opened[Building],
    rows: list[visit.Row],
    instruments: list[Instrument],
    errors: list[str],
    steps: list[Step],
    at: int,
    local: dt.datetime,
    by: str,
    after: str,
) -> HttpResponse:
    here = steps[at]
    return page(
        request,
        "visit_section",
        found,
        step=here,
        back=steps[at - 1].href if at else "",
        number=at + 1,
        count=len(steps),
        is_last=at + 1 == len(steps),
        after=after,
        groups=visit.groups_of(rows, instruments),
        free=[row for row in rows if row.free],
        free_open=any(row.free and (row.filled or row.errors) for row in rows),
        rows=len(rows),
        wrong=[row for row in rows if row.errors],
        errors=errors,
        choices=visit.quantity_choices(found.user.units, of_the_house=here.section is None),
        instruments=instruments,
        length_unit="in" if found.user.units == "us" else "mm",
        pk=found.record.pk,
        house=words.house_name(found.record),
        day=dates.day(local.date()),
        by=by,
        helps={"height": helps.HEIGHT, "qualifier": helps.QUALIFIER, "empty": helps.EMPTY},
    )


@form_page
def review(request: HttpRequest, pk: UUID, when: str) -> HttpResponse:
    """What was entered on the visit, and what is missing."""
    found = opened_to_write(request, pages.find_building, pk)
    local, moment = _moment(found.record, when)
    by = request.GET.get("by", "")[:INITIALS_LENGTH]
    readings = [
        one
        for one in entry.readings_at(found.organisation, found.record, moment)
        if one.visit.inspector == by
    ]
    latest = entry.latest_at_places(found.organisation, found.record, moment)
    reviewed = [
        _reviewed(step, readings, latest, found.user.units)
        for step in _steps(found, when, urlencode({"by": by}))
    ]
    return page(
        request,
        "visit_review",
        found,
        house=words.house_name(found.record),
        pk=pk,
        day=dates.day(local.date()),
        by=by,
        count=len(readings),
        steps=reviewed,
        complete=not any(one.missing for one in reviewed),
    )


@form_page
def take_back(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Take a reading back that is no reading of this place, and say why."""
    found = opened_to_write(request, entry.find_reading, pk)
    reading: Reading = found.record
    form = ReasonForm(request.POST or None, help_text=helps.TAKE_BACK, label="Why")
    local = reading.taken_at.astimezone(reading.building.zone)
    back = _href(reading.building, visit.moment_text(local), reading.visit.inspector)
    if request.method == "POST" and form.is_valid() and saving.take_back(found, form):
        messages.success(request, f"Taken back: {visit.entered_line(reading)}.")
        return redirect(back)
    return page(request, "take_back", found, form=form, line=visit.entered_line(reading), back=back)


def _reviewed(step: Step, readings: list[Reading], latest: entry.Latest, system: str) -> visit.Reviewed:
    own = [one for one in readings if one.section_id == _pk(step.section)]
    places = visit.places_to_read(latest, _pk(step.section))
    return visit.Reviewed(
        name=step.name,
        href=step.href,
        entered=visit.entered_lines(own),
        missing=visit.missing_lines(places, own, system),
    )


# The way through a visit ------------------------------------------------------------------------------------


def _steps(found: Opened[Building], when: str, query: str) -> list[Step]:
    """The house's sections wall by wall in the order of its drawing, then the house as a whole."""
    sections = sorted(entry.sections_of(found.organisation, found.record), key=round_order)
    walls = [words.wall_name(one) for one in sections]
    steps = [
        Step(
            one,
            words.section_name(one, alone_on_wall=walls.count(words.wall_name(one)) == 1),
            f"{reverse('visit-section', args=[found.record.pk, when, one.pk])}?{query}",
        )
        for one in sections
    ]
    href = f"{reverse('visit-house', args=[found.record.pk, when])}?{query}"
    return [*steps, Step(None, "The house as a whole", href)]


def round_order(section: Section) -> tuple[int, str, float, str]:
    """North, east, south, west, then by name; each wall from its left end on."""
    compass = words.compass_point(section.wall)
    at = "NESW".find(compass) if compass else 9
    return at, words.wall_name(section), section.start_m or 0.0, section.code


def _href(building: Building, when: str, by: str) -> str:
    return f"{reverse('visit-review', args=[building.pk, when])}?{urlencode({'by': by})}"


def _moment(building: Building, when: str) -> tuple[dt.datetime, dt.datetime]:
    """The visit's local time that an address names, and the same moment in UTC."""
    try:
        local = dt.datetime.strptime(when, "%Y-%m-%dT%H%M")
        moment, _ = cells.moment(f"{local:%Y-%m-%dT%H:%M}", building.zone)
    except ValueError:
        raise Http404("No such time.") from None
    return local, moment


def _pk(section: Section | None) -> UUID | None:
    return section.pk if section else None
