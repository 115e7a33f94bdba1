"""Programs that are told: for owners and managers."""

from __future__ import annotations

from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from inspections.domain.telling.calling import add_webhook, remove_webhook
from inspections.models import Webhook
from inspections.queries import telling
from inspections.web.entry.access import form_page, opened, opened_organisation, page, require
from inspections.web.telling.forms import WebhookForm
from inspections.web.telling.organisation import DECIDING_ROLES, call_line

LATEST = 50


@form_page
def webhooks(request: HttpRequest) -> HttpResponse:
    """Which programs are told, and one more."""
    found = opened_organisation(request, DECIDING_ROLES)
    form = WebhookForm(request.POST if request.method == "POST" else None)
    added = None
    if request.method == "POST" and form.is_valid():
        added = add_webhook(organisation=found.organisation, user=found.user, values=form.cleaned_data)
        form = WebhookForm()
    hooks = list(telling.webhooks(found.organisation))
    return page(request, "webhooks", found, form=form, hooks=hooks, added=added)


@form_page
def webhook(request: HttpRequest, pk: UUID) -> HttpResponse:
    """What one program was told; and telling it no more."""
    found = opened(request, telling.find_webhook, pk)
    require(found, DECIDING_ROLES)
    hook: Webhook = found.record
    if request.method == "POST":
        remove_webhook(webhook=hook, organisation=found.organisation, user=found.user)
        messages.success(request, "The program is told no more.")
        return redirect(f"{reverse('webhooks')}?organisation={found.organisation.slug}")
    zone = ZoneInfo(found.user.timezone)
    lines = [call_line(call, zone) for call in telling.latest_calls(hook, LATEST)]
    return page(request, "webhook", found, hook=hook, lines=lines)
