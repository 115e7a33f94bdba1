"""The evidence sheet: for the organisation's people, and by a signed link for whoever holds it."""

from __future__ import annotations

from collections.abc import Callable
from http import HTTPStatus
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from inspections.domain.comparing import compare_trial
from inspections.domain.evidence import costs, pictures
from inspections.domain.photos import PictureMissing, file_name, open_thumbnail
from inspections.domain.sheets import MOST_DAYS, NAME_LENGTH, is_open, revoke_sheet, share_sheet, shared_sheet
from inspections.models import Photo, SharedSheet, Trial
from inspections.queries import entry
from inspections.queries.trials import find_sheet, photos_of, standing_allocations
from inspections.web.entry.access import Opened, form_page, opened, opened_to_write, require
from inspections.web.entry.forms import number, text
from inspections.web.entry.trials import LENDING
from inspections.web.present import sheet as presented
from portfolio.domain.refusals import Invalid, Refusal
from portfolio.files import private_file
from portfolio.models import Organisation
from portfolio.vocabulary import Units

#: Nobody's search engine keeps it, and no page that it leads to learns its address.
PRIVATE = {"X-Robots-Tag": "noindex, nofollow", "Referrer-Policy": "no-referrer"}


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


@form_page
def sheet(request: HttpRequest, pk: UUID) -> HttpResponse:
    """A trial's sheet for the organisation's own people."""
    found: Opened[Trial] = opened(request, entry.find_trial, pk)

    def address(photo: Photo) -> str:
        return reverse("photo-thumbnail", args=[photo.pk])

    return _sheet(request, found.record, found.organisation, address, found.user.units)


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


@require_safe
@never_cache
def lent(request: HttpRequest, key: str) -> HttpResponse:
    """A sheet by its link, without an account."""
    lent_sheet = _known(key)
    if not is_open(lent_sheet):
        response = render(request, "wythe/sheet_ended.html", status=HTTPStatus.GONE)
    else:

        def address(photo: Photo) -> str:
            return reverse("lent-photo", args=[key, photo.pk])

        trial = lent_sheet.trial
        response = _sheet(request, trial, trial.organisation, address, Units.SI, lent_sheet)
    for name, value in PRIVATE.items():
        response[name] = value
    return response


@require_safe
def lent_photo(request: HttpRequest, key: str, pk: UUID) -> HttpResponseBase:
    """A photo that a lent sheet shows, small."""
    lent_sheet = _known(key)
    allocations = standing_allocations(lent_sheet.trial)
    shown = {photo.pk: photo for own in photos_of(allocations).values() for photo in own}
    if not is_open(lent_sheet) or pk not in shown:
        raise Http404("No such photo on this sheet.")
    photo = shown[pk]
    try:
        response = private_file(open_thumbnail(photo), photo.content_type, file_name(photo))
    except PictureMissing:
        raise Http404("The picture's file is not on this machine.") from None
    response["X-Robots-Tag"] = PRIVATE["X-Robots-Tag"]
    return response


def _known(key: str) -> SharedSheet:
    found = shared_sheet(key)
    if found is None:
        raise Http404("There is no such sheet.")
    return found


def _sheet(
    request: HttpRequest,
    trial: Trial,
    organisation: Organisation,
    address: Callable[[Photo], str],
    system: str,
    lent_sheet: SharedSheet | None = None,
) -> HttpResponse:
    allocations = standing_allocations(trial)
    context = {"organisation": organisation, "trial": trial, "lent": lent_sheet, "now": timezone.now()}
    try:
        comparison = compare_trial(trial)
    except Refusal as refused:
        return render(request, "wythe/sheet.html", {**context, "refused": str(refused)})
    shown = presented.present(
        trial.question or f"Trial {trial.code}",
        comparison,
        allocations,
        costs(allocations, comparison),
        pictures(allocations, comparison),
        address,
        system,
    )
    return render(request, "wythe/sheet.html", {**context, "sheet": shown})
