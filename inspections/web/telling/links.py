"""What the links of mails lead to: a page that says what one press will do, and the press."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from inspections.domain.telling import answering
from inspections.domain.telling.links import Do, read
from inspections.models import Reminder
from inspections.web.mails.items import named
from inspections.web.present import dates
from portfolio.domain.refusals import Invalid
from portfolio.models import User


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def answer(request: HttpRequest, signed: str) -> HttpResponse:
    """GET shows what can be done, and does nothing; POST does it."""
    found = read(signed)
    if found is None:
        return render(request, "wythe/mails/link.html", {"gone": True}, status=404)
    do, pk = found
    if do == Do.END:
        return _end(request, pk)
    reminder = Reminder.objects.select_related(
        "person__mail_settings", "organisation", "building", "section__building"
    )
    row = reminder.filter(pk=pk).first()
    if row is None or not answering.is_member(row):
        raise Http404("It is told no more.")
    return (_later if do == Do.LATER else _hand_over)(request, row)


def _end(request: HttpRequest, pk: UUID) -> HttpResponse:
    person = User.objects.filter(pk=pk).first()
    if person is None:
        raise Http404("No such person.")
    if request.method == "POST":
        answering.end_mails(person, timezone.now())
    return _page(request, "end", done=request.method == "POST", address=person.email)


def _later(request: HttpRequest, row: Reminder) -> HttpResponse:
    told, wrong = None, ""
    if request.method == "POST":
        try:
            told = answering.tell_later(
                reminder=row, days=_number(request.POST.get("days", "")), now=timezone.now()
            )
        except Invalid as refused:
            wrong = refused.errors[0][1]
    return _page(
        request,
        "later",
        done=told is not None,
        wrong=wrong,
        day=dates.day(told) if told else "",
        name=named(row),
        choices=[(days, dates.span(days)) for days in answering.USUAL_DAYS],
    )


def _number(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 4 else 0


def _hand_over(request: HttpRequest, row: Reminder) -> HttpResponse:
    takers = answering.takers(row)
    to, wrong = None, ""
    if request.method == "POST":
        to = next((one for one in takers if str(one.pk) == request.POST.get("to")), None)
        if to is None:
            wrong = "Choose somebody of the list."
        else:
            answering.give_to(reminder=row, to=to, now=timezone.now())
    return _page(
        request,
        "hand-over",
        done=to is not None,
        wrong=wrong,
        taker=str(to.get_full_name() or to.username) if to else "",
        name=named(row),
        takers=[(str(one.pk), one.get_full_name() or one.username) for one in takers],
    )


def _page(request: HttpRequest, do: str, **shown: Any) -> HttpResponse:
    return render(request, "wythe/mails/link.html", {"do": do, **shown})
