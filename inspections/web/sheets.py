"""The evidence sheet for the organisation's own people, who lend it by a link and take that back."""

from __future__ import annotations

from functools import partial
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_POST

from inspections.domain.sheets import revoke_sheet, share_sheet
from inspections.models import Photo, SharedCoatSheet, SharedSheet, Trial
from inspections.queries import entry
from inspections.queries.sheets import find_sheet
from inspections.web.entry.access import Opened, form_page, opened, opened_to_write, require
from inspections.web.entry.lending import LENDING, lend_by_form
from inspections.web.sheet_files import as_file, as_page, of_trial
from inspections.web.views import member


@member
def sheet(request: HttpRequest, pk: UUID) -> HttpResponse:
    """A trial's sheet for the organisation's own people."""
    found: Opened[Trial] = opened(request, entry.find_trial, pk)
    back = reverse("trial", args=[pk])
    file = reverse("trial-sheet-file", args=[pk])
    return as_page(request, of_trial(found.record), own_photo, found.user.units, back=back, file=file)


@member
def sheet_file(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The same as a PDF."""
    found: Opened[Trial] = opened(request, entry.find_trial, pk)
    return as_file(of_trial(found.record), own_photo, found.user.units)


def own_photo(photo: Photo) -> str:
    return reverse("photo-thumbnail", args=[photo.pk])


@form_page
def lend(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Make a link to a trial's sheet."""
    found: Opened[Trial] = opened_to_write(request, entry.find_trial, pk)
    require(found, LENDING)
    back = reverse("trial", args=[pk])
    context = {
        "organisation": found.organisation,
        "name": f"of {found.record.code}",
        "back": back,
        "back_to": found.record.question or f"Trial {found.record.code}",
    }
    share = partial(share_sheet, trial=found.record, user=found.user)
    said = "The link is made; it is among the trial’s links below."
    return lend_by_form(request, share, f"{back}#sheet", said, context)


@require_POST
@form_page
def take_back(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Take a link back."""
    found: Opened[SharedSheet | SharedCoatSheet] = opened_to_write(request, find_sheet, pk)
    require(found, LENDING)
    revoke_sheet(found.record)
    messages.success(request, f"The link for {found.record.for_whom} serves no longer.")
    if isinstance(found.record, SharedSheet):
        return redirect(f"{reverse('trial', args=[found.record.trial_id])}#sheet")
    return redirect(f"{reverse('coat-sheets')}?organisation={found.organisation.slug}#lent")
