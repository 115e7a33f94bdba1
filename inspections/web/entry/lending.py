"""Lending an evidence sheet: who may, for whom and how long, and the links that were made."""

from __future__ import annotations

from collections.abc import Callable

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from inspections.domain.sheets import MOST_DAYS, NAME_LENGTH, is_open, key_of
from inspections.models import LentSheet
from inspections.web.entry.forms import number, text
from inspections.web.present import dates
from portfolio.domain.refusals import Invalid
from portfolio.vocabulary import Role

#: Who lends what the organisation found to others.
LENDING = (Role.OWNER, Role.MANAGER)


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

    def refuse(self, refused: Invalid) -> None:
        """Say in the form what is wrong."""
        for name, said in refused.errors:
            self.add_error(name, said)


def lend_by_form(
    request: HttpRequest, share: Callable[..., object], after: str, said: str, context: dict[str, object]
) -> HttpResponse:
    """Ask for whom and how long, ``share`` with the answers, then lead to ``after`` where the links are.

    ``said``: where the link is found; ``context``: whose sheet it is, its name, and the way back.
    """
    form = LendForm(request.POST or None, initial={"days": "30"})
    if request.method == "POST" and form.is_valid():
        try:
            share(**form.cleaned_data)
        except Invalid as refused:
            form.refuse(refused)
        else:
            messages.success(request, said)
            return redirect(after)
    return render(request, "wythe/entry/lend.html", {"form": form, "now": timezone.now(), **context})


def links(request: HttpRequest, sheet: LentSheet) -> dict[str, object]:
    """A link to a sheet as its makers see it."""
    until = dates.day(sheet.expires_at.date())
    taken = sheet.revoked_at
    return {
        "for_whom": sheet.for_whom,
        "is_open": is_open(sheet),
        "until": until,
        "address": request.build_absolute_uri(reverse("lent-sheet", args=[key_of(sheet)])),
        "take_back": reverse("take-back-sheet", args=[sheet.pk]),
        "ended": f"taken back {dates.day(taken.date())}" if taken else f"ended {until}",
    }
