"""Who of an organisation was told of what, and the rules by which they are."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

from django.conf import settings
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from inspections.domain.telling.calling import PAUSES
from inspections.domain.telling.raising import ASCENT, wishes_of
from inspections.domain.telling.ruling import FIELDS, change_rules, kept_rules
from inspections.models import Reminder, WebhookCall
from inspections.models.telling import USUAL_HOUR
from inspections.queries.telling import delivery_log, failing_calls, in_doubt, members
from inspections.vocabulary import Delivery
from inspections.web.entry.access import form_page, opened_organisation, page
from inspections.web.mails.items import named
from inspections.web.present import words
from inspections.web.refused import told_by
from inspections.web.telling.forms import RulesForm
from portfolio.models import Membership, User
from portfolio.vocabulary import Role

DECIDING_ROLES = (Role.OWNER, Role.MANAGER)
ROWS_A_PAGE = 100
#: Of what is in doubt; more would only hide the rest.
MOST_IN_DOUBT = 50


@dataclass(frozen=True, slots=True)
class Line:
    """What somebody was, or is to be, told together."""

    when: str
    who: str
    state: str
    error: str
    what: str


@form_page
def reminders(request: HttpRequest) -> HttpResponse:
    """The log: what is in doubt first, then everything, the latest first."""
    found = opened_organisation(request, tuple(Role))
    before = timezone.now() - dt.timedelta(seconds=settings.CLAIM_SECONDS)
    rows = Paginator(delivery_log(found.organisation), ROWS_A_PAGE).get_page(request.GET.get("page"))
    zone = ZoneInfo(found.user.timezone)
    doubtful = in_doubt(found.organisation, before)[:MOST_IN_DOUBT]
    failing = failing_calls(found.organisation, before)[:MOST_IN_DOUBT]
    return page(
        request,
        "reminders",
        found,
        rows=rows,
        lines=_together(_line(row, zone, before) for row in rows),
        doubtful=_together(_line(row, zone, before) for row in doubtful),
        failing=[call_line(call, zone) for call in failing],
        people=[_wish(member) for member in members(found.organisation)],
        mails_are_on=bool(settings.EMAIL_HOST),
        zone=zone.key.replace("_", " "),
        may_decide=found.role in DECIDING_ROLES,
    )


@form_page
def rules(request: HttpRequest) -> HttpResponse:
    """How the organisation's people are told; for its owners and managers."""
    found = opened_organisation(request, DECIDING_ROLES)
    kept = kept_rules(found.organisation)
    form = RulesForm(
        request.POST if request.method == "POST" else None,
        initial={name: getattr(kept, name) for name in FIELDS},
    )
    if request.method == "POST" and form.is_valid():
        with told_by(form):
            change_rules(
                rules=kept, organisation=found.organisation, user=found.user, values=form.cleaned_data
            )
        if not form.errors:
            messages.success(request, "The rules are kept.")
            return redirect(f"{reverse('reminders')}?organisation={found.organisation.slug}")
    return page(request, "telling_rules", found, form=form)


def _together(lines: Iterable[Line]) -> list[Line]:
    """Lines that differ only in what was told, made one."""
    told: dict[Line, list[str]] = {}
    for line in lines:
        told.setdefault(replace(line, what=""), []).append(line.what)
    return [replace(line, what="; ".join(whats)) for line, whats in told.items()]


def _line(row: Reminder, zone: ZoneInfo, before: dt.datetime) -> Line:
    at = row.sent_at or row.due_at
    mail = row.mail
    state = row.get_state_display()
    if row.state == Delivery.CLAIMED and mail and mail.claimed_at < before:
        state = "being sent for too long"
    elif row.state == Delivery.DUE:
        state = "to be sent"
    shows_error = mail is not None and row.state in (Delivery.FAILED, Delivery.UNCERTAIN, Delivery.CLAIMED)
    return Line(
        when=_when(at, zone),
        who=_who(row.person),
        what=f"{words.capital(row.get_stage_display())}: {named(row)}",
        state=state,
        error=mail.error if mail and shows_error else "",
    )


def _wish(member: Membership) -> str:
    """Such as "Ida Marlpit, inspector: at 07:00, Europe/Brussels"."""
    user, wishes = member.user, wishes_of(member.user)
    who = f"{_who(user)}, {member.get_role_display()}"
    if member.role not in ASCENT:
        return f"{who}: is told nothing, as one who only reads"
    if not user.is_active or not user.email:
        return f"{who}: no address yet"
    if wishes and not wishes.wants_mail:
        return f"{who}: wants no mails"
    hour = wishes.hour if wishes else USUAL_HOUR
    return f"{who}: at {hour:02}:00, {user.timezone.replace('_', ' ')}"


def call_line(call: WebhookCall, zone: ZoneInfo) -> Line:
    given_up = call.state == Delivery.FAILED and call.attempts > len(PAUSES)
    state = "given up" if given_up else call.get_state_display()
    return Line(
        when=_when(call.due_at, zone),
        who=call.webhook.url,
        what=f"{words.capital(call.get_stage_display())}: {named(call)}",
        state=f"{state} ({words.counted(call.attempts, 'try', 'tries')})",
        error=call.error,
    )


def _when(at: dt.datetime, zone: ZoneInfo) -> str:
    local = at.astimezone(zone)
    return f"{local.day} {local:%b %Y %H:%M}"


def _who(person: User) -> str:
    return person.get_full_name() or person.username
