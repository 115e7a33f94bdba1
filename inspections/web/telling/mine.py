"""A person's own settings: when and whether they are written to, and their calendar."""

from __future__ import annotations

from typing import cast
from zoneinfo import ZoneInfo

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from inspections.domain.telling import links
from inspections.domain.telling.answering import change_wishes
from inspections.domain.telling.calendars import calendar_of, close_calendar, digest_of, open_calendar
from inspections.domain.telling.raising import wishes_of
from inspections.models.telling import USUAL_HOUR
from inspections.queries.telling import person_of_calendar
from inspections.web.entry.access import form_page
from inspections.web.telling.forms import WishesForm
from portfolio.models import User

DO, OPEN, CLOSE = "do", "open-calendar", "close-calendar"


@form_page
def my_mails(request: HttpRequest) -> HttpResponse:
    """When and whether I am written to; and my calendar's address, shown once."""
    person = cast(User, request.user)
    asked = request.POST.get(DO, "") if request.method == "POST" else ""
    form = WishesForm(_initial(person))
    address = ""
    if asked == OPEN:
        address = links.absolute(reverse("calendar", args=[open_calendar(person)]))
    elif asked == CLOSE:
        close_calendar(person)
        messages.success(request, "The calendar’s address leads nowhere any more.")
        return redirect("my-mails")
    elif request.method == "POST":
        form = WishesForm(request.POST)
        if form.is_valid():
            change_wishes(person=person, values=form.cleaned_data, now=timezone.now())
            messages.success(request, "Kept.")
            return redirect("my-mails")
    person = User.objects.select_related("mail_settings").get(pk=person.pk)
    wishes = wishes_of(person)
    shown = {
        "form": form,
        "mails_are_on": bool(settings.EMAIL_HOST),
        "has_calendar": wishes is not None and wishes.calendar_digest is not None,
        "address": address,
        "local": timezone.now().astimezone(ZoneInfo(person.timezone)),
        "now": timezone.now(),
    }
    return render(request, "wythe/entry/my_mails.html", shown)


def _initial(person: User) -> dict[str, object]:
    wishes = wishes_of(person)
    return {
        "email": person.email,
        "timezone": person.timezone,
        "wants_mail": wishes is None or wishes.wants_mail,
        "hour": wishes.hour if wishes else USUAL_HOUR,
    }


@never_cache
@require_safe
def calendar(request: HttpRequest, secret: str) -> HttpResponse:
    """The calendar of whoever has this address; who knows it needs no other key."""
    person = person_of_calendar(digest_of(secret))
    if person is None:
        raise Http404("No calendar is here, or no longer.")
    return HttpResponse(calendar_of(person, timezone.now()), content_type="text/calendar; charset=utf-8")
