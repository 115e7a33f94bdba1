"""Claiming what is to be sent, so that of many processes one sends it, and noting what became of it.

Every step is a conditional update that counts only if it changed a row. A mail is claimed, said to be
handed over just before it is, and then noted as sent. Who dies before the second step has sent nothing, and
another goes on; who dies after it may have sent, and nobody can tell: that mail is `uncertain` and never sent
again by itself, but what it said is told in the next day's mail.
"""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Final
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import F, QuerySet

from inspections.domain.telling.applying import settled
from inspections.domain.telling.raising import wishes_of
from inspections.domain.telling.times import next_mail
from inspections.models import Mail, Reminder
from inspections.models.telling import USUAL_HOUR
from inspections.vocabulary import Delivery
from portfolio.models import User

#: States from which a reminder may be claimed, once its time has come.
WAITING: Final = (Delivery.DUE, Delivery.FAILED, Delivery.UNCERTAIN)
#: How long is waited before each further try; then the next day's mail tells it.
PAUSES: Final = tuple(dt.timedelta(minutes=minutes) for minutes in (1, 5, 30, 120, 360))
#: Of an error's text.
LONGEST_ERROR: Final = 500


class _Nothing(Exception):
    """There was nothing to claim after all."""


def waiting(now: dt.datetime) -> QuerySet[Reminder]:
    """What may be told now."""
    return Reminder.objects.filter(state__in=WAITING, due_at__lte=now)


def claim(person: User, now: dt.datetime, *, urgent: bool) -> Mail | None:
    """Claim all that the person is to be told now as one mail; None if another was quicker, or none may go.

    Of the daily mails there is one for a day: a failed one is tried again, any other is not.
    """
    own = waiting(now).filter(person=person, urgent=urgent)
    own.filter(pk__in=settled(own.select_related("organisation"), now)).update(state=Delivery.SETTLED)
    try:
        with transaction.atomic():
            mail = _row(person, now, urgent)
            own.filter(state=Delivery.UNCERTAIN).update(again=True)
            taken = own.update(state=Delivery.CLAIMED, mail=mail, attempts=F("attempts") + 1)
            if not taken:
                raise _Nothing
    except (_Nothing, IntegrityError):
        return None
    return mail


def _row(person: User, now: dt.datetime, urgent: bool) -> Mail:
    """The mail's row in our name: a new one, or the day's that failed."""
    day = now.astimezone(ZoneInfo(person.timezone)).date()
    ours = {
        "state": Delivery.CLAIMED,
        "claim": uuid.uuid4(),
        "claimed_at": now,
        "handed_at": None,
        "address": person.email,
    }
    if not urgent:
        failed = Mail.objects.filter(person=person, day=day, urgent=False, state=Delivery.FAILED)
        if failed.update(**ours, error=""):
            return Mail.objects.get(person=person, day=day, urgent=False)
    return Mail.objects.create(person=person, day=day, urgent=urgent, **ours)


# What became of it -----------------------------------------------------------------------------------------


def hand_over(mail: Mail, now: dt.datetime) -> bool:
    """Say that the mail is about to be given to the server; False if it is no longer ours to give."""
    return bool(_ours(mail).filter(state=Delivery.CLAIMED, handed_at=None).update(handed_at=now))


@transaction.atomic
def note_sent(mail: Mail, now: dt.datetime) -> None:
    """The server has taken it."""
    held = (Delivery.CLAIMED, Delivery.UNCERTAIN)
    if _ours(mail).filter(state__in=held).update(state=Delivery.SENT, sent_at=now, error=""):
        mail.reminders.filter(state__in=held).update(state=Delivery.SENT, sent_at=now)


@transaction.atomic
def note_failed(mail: Mail, now: dt.datetime, error: str) -> None:
    """It was not sent, for certain: it is tried again a while later, and at last with the next day's mail."""
    failed = {"state": Delivery.FAILED, "error": error[:LONGEST_ERROR]}
    if not _ours(mail).filter(state=Delivery.CLAIMED).update(**failed):
        return
    for row in mail.reminders.filter(state=Delivery.CLAIMED):
        if row.attempts <= len(PAUSES):
            new: dict[str, object] = {"due_at": now + PAUSES[row.attempts - 1]}
        else:
            new = {"due_at": _next_day(mail, now), "attempts": 0, "urgent": False}
        Reminder.objects.filter(pk=row.pk, state=Delivery.CLAIMED).update(state=Delivery.FAILED, **new)


@transaction.atomic
def note_uncertain(mail: Mail, now: dt.datetime, error: str) -> None:
    """Nobody can tell whether it was sent: what it said goes into the next day's mail."""
    unsure = {"state": Delivery.UNCERTAIN, "error": error[:LONGEST_ERROR]}
    if _ours(mail).filter(state=Delivery.CLAIMED).update(**unsure):
        mail.reminders.filter(state=Delivery.CLAIMED).update(
            state=Delivery.UNCERTAIN, due_at=_next_day(mail, now), urgent=False, attempts=0
        )


def recover(now: dt.datetime) -> int:
    """Take back the claims of processes that are gone; how many there were."""
    gone = Mail.objects.filter(
        state=Delivery.CLAIMED, claimed_at__lt=now - dt.timedelta(seconds=settings.CLAIM_SECONDS)
    )
    mails = list(gone.select_related("person__mail_settings"))
    for mail in mails:
        if mail.handed_at is None:
            note_failed(mail, now, "The process that was to send it ended before it did.")
        else:
            note_uncertain(mail, now, "The process that sent it ended before it could note whether it had.")
    return len(mails)


def _ours(mail: Mail) -> QuerySet[Mail]:
    return Mail.objects.filter(pk=mail.pk, claim=mail.claim)


def _next_day(mail: Mail, now: dt.datetime) -> dt.datetime:
    wishes = wishes_of(mail.person)
    hour = wishes.hour if wishes else USUAL_HOUR
    return next_mail(now, hour, ZoneInfo(mail.person.timezone), after=mail.day)
