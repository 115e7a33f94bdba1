"""Pages of what was done to a wall and what happened to it."""

from __future__ import annotations

import datetime as dt
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from inspections.queries import entry, pages
from inspections.queries.due import today_at
from inspections.records.tables import EVENTS, TREATMENTS
from inspections.web.entry import forms, saving
from inspections.web.entry.access import form_page, opened_to_write, page
from inspections.web.present import cautions, dates, words
from portfolio.models import Building, Section, Treatment
from portfolio.vocabulary import RemovalReason

#: Where the session keeps the currency that was written last.
CURRENCY = "currency"


@form_page
def new_treatment(request: HttpRequest, pk: UUID) -> HttpResponse:
    """A layer that was put on a section."""
    found = opened_to_write(request, pages.find_section, pk)
    coats = entry.standing_coats(found.organisation, found.record)
    initial = first_values(request, today_at(found.record.building), "applied_on")
    initial["layer"] = str(max((coat.layer for coat in coats), default=0) + 1)
    form = forms.TreatmentForm(request.POST or None, initial=initial, system=found.user.units)
    if request.method == "POST" and form.is_valid():
        treatment = saving.enter(found, TREATMENTS, form, saving.place_cells(found.record))
        if treatment is not None:
            remember_currency(request, form)
            messages.success(request, f"Written down: {words.coat_name(treatment)}.")
            return redirect("section", pk)
    return page(
        request,
        "work",
        found,
        form=form,
        title="Something was put on",
        lead="One layer at a time, from the wall outward.",
        standing=[words.coat_name(coat) for coat in coats],
        cautions=cautions,
        button="Save",
        **_of_section(found.record),
    )


@form_page
def remove_treatment(request: HttpRequest, pk: UUID) -> HttpResponse:
    """That a layer came off."""
    found = opened_to_write(request, entry.find_treatment, pk)
    treatment: Treatment = found.record
    removed = treatment.removed_on or today_at(treatment.section.building)
    initial = {"removed_on": removed.isoformat(), "removal_reason": treatment.removal_reason}
    form = forms.RemovalForm(request.POST or None, initial=initial, system=found.user.units)
    if request.method == "POST" and form.is_valid():
        why = RemovalReason(form.cleaned_data["removal_reason"]).label
        if saving.correct(found, TREATMENTS, form, f"came off: {why}") is not None:
            messages.success(request, f"Written down: {words.coat_name(treatment)} came off.")
            return redirect("section", treatment.section_id)
    return page(
        request,
        "work",
        found,
        form=form,
        title=f"{words.capital(words.coat_name(treatment))} came off",
        lead=f"Put on {dates.day(treatment.applied_on)}, layer {treatment.layer}.",
        cautions=cautions,
        button="Save",
        **_of_section(treatment.section),
    )


@form_page
def new_event(request: HttpRequest, pk: UUID) -> HttpResponse:
    """What happened to a section."""
    found = opened_to_write(request, pages.find_section, pk)
    form = _event_form(request, found.record.building, found.user.units)
    if request.method == "POST" and form.is_valid():
        event = saving.enter(found, EVENTS, form, saving.place_cells(found.record))
        if event is not None:
            remember_currency(request, form)
            messages.success(
                request, f"Written down: {event.get_kind_display()}, {dates.day(event.happened_on)}."
            )
            return redirect("section", pk)
    return page(request, "work", found, **_event_page(form), **_of_section(found.record))


@form_page
def new_house_event(request: HttpRequest, pk: UUID) -> HttpResponse:
    """What happened to a house as a whole."""
    found = opened_to_write(request, pages.find_building, pk)
    form = _event_form(request, found.record, found.user.units)
    if request.method == "POST" and form.is_valid():
        event = saving.enter(found, EVENTS, form, {"building": found.record.code})
        if event is not None:
            remember_currency(request, form)
            messages.success(
                request, f"Written down: {event.get_kind_display()}, {dates.day(event.happened_on)}."
            )
            return redirect("building", pk)
    return page(request, "work", found, **_event_page(form), building=found.record)


def _event_form(request: HttpRequest, building: Building, system: str) -> forms.EventForm:
    initial = first_values(request, today_at(building), "happened_on")
    initial["kind"] = request.GET.get("kind", "")
    return forms.EventForm(request.POST or None, initial=initial, system=system)


def _event_page(form: forms.EventForm) -> dict[str, object]:
    return {
        "form": form,
        "title": "Something happened",
        "lead": "A repair, a leak that was mended, a flood, a heavy rain, a look at the sources.",
        "cautions": cautions,
        "button": "Save",
    }


# What these and other forms share --------------------------------------------------------------------------


def first_values(request: HttpRequest, today: dt.date, *days: str) -> dict[str, str]:
    """Today, and the currency that was written last."""
    return {**dict.fromkeys(days, today.isoformat()), "currency": request.session.get(CURRENCY, "")}


def remember_currency(request: HttpRequest, form: forms.Costed) -> None:
    if form.cleaned_data["currency"]:
        request.session[CURRENCY] = form.cleaned_data["currency"]


def _of_section(section: Section) -> dict[str, object]:
    return {"building": section.building, "section": section, "section_name": words.wall_name(section)}
