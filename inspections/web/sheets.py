"""The evidence sheet for the organisation's own people, who lend it by a link and take that back."""

from __future__ import annotations

from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from inspections.domain.sheets import MOST_DAYS, NAME_LENGTH, revoke_sheet, share_sheet
from inspections.models import Photo, SharedSheet, Trial
from inspections.queries import entry
from inspections.queries.trials import find_sheet
from inspections.web.entry.access import Opened, form_page, opened, opened_to_write, require
from inspections.web.entry.forms import number, text
from inspections.web.entry.trials import LENDING
from inspections.web.sheet_files import as_file, as_page, of_trial
from inspections.web.views import member
from portfolio.domain.refusals import Invalid


class LendForm(forms.Form):
    """Whom the sheet is for, and how long."""

    for_whom = text(
        "For whom", "Such as the mason’s name.", needed="Say whom it is for.", maxlength=str(NAME_LENGTH)
    )
    days = number(
        "Days", f"How long the link serves, at most {MOST_DAYS}.", needed="Say how many days.", whole=True
    )

    def clean_days(self) -> int:
        typed = self.cleaned_data["days"].strip()
        if not (typed.isascii() and typed.isdecimal() and 1 <= int(typed) <= MOST_DAYS):
            raise forms.ValidationError(f"Say from 1 to {MOST_DAYS} days.")
        return int(typed)


@member
def sheet(request: HttpRequest, pk: UUID) -> HttpResponse:
    """A trial's sheet for the organisation's own people."""
    found: Opened[Trial] = opened(request, entry.find_trial, pk)
    back = reverse("trial", args=[pk])
    file = reverse("trial-sheet-file", args=[pk])
    return as_page(request, of_trial(found.record), _own_photo, found.user.units, back=back, file=file)


@member
def sheet_file(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The same as a PDF."""
    found: Opened[Trial] = opened(request, entry.find_trial, pk)
    return as_file(of_trial(found.record), _own_photo, found.user.units)


def _own_photo(photo: Photo) -> str:
    return reverse("photo-thumbnail", args=[photo.pk])


@form_page
def lend(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Make a link to a trial's sheet."""
    found: Opened[Trial] = opened_to_write(request, entry.find_trial, pk)
    require(found, LENDING)
    form = LendForm(request.POST or None, initial={"days": "30"})
    if request.method == "POST" and form.is_valid():
        try:
            share_sheet(trial=found.record, user=found.user, **form.cleaned_data)
        except Invalid as refused:
            for name, said in refused.errors:
                form.add_error(name, said)
        else:
            messages.success(request, "The link is made; it is among the trial’s links below.")
            return redirect(f"{reverse('trial', args=[pk])}#sheet")
    context = {
        "organisation": found.organisation,
        "trial": found.record,
        "form": form,
        "now": timezone.now(),
        "question": found.record.question or f"Trial {found.record.code}",
    }
    return render(request, "wythe/entry/lend.html", context)


@require_POST
@form_page
def take_back(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Take a link back."""
    found: Opened[SharedSheet] = opened_to_write(request, find_sheet, pk)
    require(found, LENDING)
    revoke_sheet(found.record)
    messages.success(request, f"The link for {found.record.for_whom} serves no longer.")
    return redirect(f"{reverse('trial', args=[found.record.trial_id])}#sheet")
