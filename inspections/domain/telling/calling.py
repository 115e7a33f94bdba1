"""Telling programs by webhook: each call is signed, tried until it is answered, and noted.

A call may arrive twice, where a process ended between the answer and its note; its id then is the same.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import hmac
import json
import logging
import secrets
import uuid
from collections.abc import Callable
from typing import Any, Final

from django.conf import settings
from django.db import OperationalError, transaction
from django.db.models import F, Q
from django.urls import reverse
from django.utils import timezone

from inspections.domain.telling import links
from inspections.domain.telling.outward import Refused, post
from inspections.models import Webhook, WebhookCall
from inspections.vocabulary import Delivery
from portfolio.busy import is_busy
from portfolio.domain.history import note_change
from portfolio.domain.refusals import Conflict
from portfolio.models import Organisation, User

log = logging.getLogger(__name__)

#: How long is waited before each further try; after the last it is given up, and shown as failed.
PAUSES: Final = tuple(dt.timedelta(minutes=minutes) for minutes in (1, 5, 30, 120, 720, 1440))
#: Random bytes of a secret; as many as its digest has.
SECRET_BYTES: Final = 32
AT_ONCE: Final = 200
Clock = Callable[[], dt.datetime]


def call_due(clock: Clock = timezone.now) -> int:
    """Make every call whose time has come; how many were answered."""
    now = clock()
    ids = list(_claimable(now).order_by("due_at").values_list("pk", flat=True)[:AT_ONCE])
    return sum(_call(pk, clock) for pk in ids)


def _claimable(now: dt.datetime) -> Any:
    gone = now - dt.timedelta(seconds=settings.CLAIM_SECONDS)
    free = Q(state__in=(Delivery.DUE, Delivery.FAILED), attempts__lte=len(PAUSES), due_at__lte=now)
    return WebhookCall.objects.filter(
        free | Q(state=Delivery.CLAIMED, claimed_at__lt=gone), webhook__is_on=True
    )


def _call(pk: uuid.UUID, clock: Clock) -> bool:
    claim = uuid.uuid4()
    try:
        if not _claim(pk, claim, clock()):
            return False
        call = WebhookCall.objects.select_related("webhook__organisation", "building", "section").get(pk=pk)
        status, error = _post(call, clock())
        _note(call, claim, clock(), status, error)
    except OperationalError as busy:
        if not is_busy(busy):
            raise
        log.warning("Call %s waits for the database", pk)
        return False
    return not error


def _claim(pk: uuid.UUID, claim: uuid.UUID, now: dt.datetime) -> bool:
    # The conditions that tell whether it is free are on the row itself, so that only one update changes it.
    gone = now - dt.timedelta(seconds=settings.CLAIM_SECONDS)
    free = Q(state__in=(Delivery.DUE, Delivery.FAILED), due_at__lte=now)
    mine = WebhookCall.objects.filter(free | Q(state=Delivery.CLAIMED, claimed_at__lt=gone), pk=pk)
    return bool(mine.update(state=Delivery.CLAIMED, claim=claim, claimed_at=now, attempts=F("attempts") + 1))


def _post(call: WebhookCall, now: dt.datetime) -> tuple[int | None, str]:
    body = json.dumps(payload(call), ensure_ascii=False).encode()
    stamp = str(int(now.timestamp()))
    headers = {
        "Content-Type": "application/json",
        "User-Agent": "Wythe",
        "Wythe-Id": str(call.pk),
        "Wythe-Timestamp": stamp,
        "Wythe-Signature": signature(call.webhook.secret, stamp, body),
    }
    try:
        status = post(call.webhook.url, body, headers)
    except (Refused, OSError) as error:
        return None, str(error) or type(error).__name__
    return status, "" if 200 <= status < 300 else f"It answered {status}."


def signature(secret: str, stamp: str, body: bytes) -> str:
    """HMAC-SHA256 (RFC 2104) of the timestamp, a full stop and the body, in hexadecimal."""
    return hmac.new(secret.encode(), stamp.encode() + b"." + body, hashlib.sha256).hexdigest()


def payload(call: WebhookCall) -> dict[str, Any]:
    """What a call says."""
    address = (
        reverse("section", args=[call.section_id])
        if call.section_id
        else reverse("building", args=[call.building_id])
    )
    return {
        "id": str(call.pk),
        "organisation": call.webhook.organisation.slug,
        "subject": call.subject,
        "subject_id": str(call.subject_id),
        "stage": call.stage,
        "day": call.day.isoformat(),
        "building": call.building.code,
        "section": call.section.code if call.section else None,
        "detail": call.detail,
        "raised_at": call.raised_at.isoformat(),
        "url": links.absolute(address),
    }


def _note(call: WebhookCall, claim: uuid.UUID, now: dt.datetime, status: int | None, error: str) -> None:
    own = WebhookCall.objects.filter(pk=call.pk, claim=claim, state=Delivery.CLAIMED)
    if not error:
        own.update(state=Delivery.SENT, sent_at=now, status=status, error="")
        return
    pause = PAUSES[min(call.attempts, len(PAUSES)) - 1]
    own.update(state=Delivery.FAILED, due_at=now + pause, status=status, error=error[:500])


# What people decide ------------------------------------------------------------------------------------


@transaction.atomic
def add_webhook(
    *, organisation: Organisation, user: User, values: dict[str, Any], webhook_id: uuid.UUID | None = None
) -> Webhook:
    """Let a program be told. Its secret is to be shown this once."""
    hook = Webhook.objects.create(
        id=webhook_id or uuid.uuid4(),
        organisation=organisation,
        entered_by=user,
        secret=secrets.token_hex(SECRET_BYTES),
        **values,
    )
    note_change(
        record=hook, organisation=organisation, user=user, fields={"url": [None, hook.url]}, reason="added"
    )
    return hook


@transaction.atomic
def add_webhook_once(
    *, organisation: Organisation, user: User, values: dict[str, Any], webhook_id: uuid.UUID | None
) -> tuple[Webhook, bool]:
    """The same under a client's id; the second value is False where that was done before."""
    there = Webhook.objects.filter(pk=webhook_id).first() if webhook_id else None
    if there is None:
        return add_webhook(organisation=organisation, user=user, values=values, webhook_id=webhook_id), True
    same = there.organisation_id == organisation.pk
    if same and all(getattr(there, name) == value for name, value in values.items()):
        return there, False
    raise Conflict("This id is taken by another webhook; make a new one.")


@transaction.atomic
def remove_webhook(*, webhook: Webhook, organisation: Organisation, user: User) -> None:
    """Tell the program no more; what it was told is forgotten with it."""
    note_change(
        record=webhook,
        organisation=organisation,
        user=user,
        fields={"url": [webhook.url, None]},
        reason="removed",
    )
    webhook.delete()
