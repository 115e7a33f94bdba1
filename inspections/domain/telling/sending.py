"""Sending the mails that are due."""

from __future__ import annotations

import datetime as dt
import logging
import random
import smtplib
import time
from collections.abc import Callable
from typing import Final
from uuid import UUID

from django.conf import settings
from django.core.mail import EmailMessage, get_connection
from django.db import OperationalError
from django.utils import timezone
from django.utils.module_loading import import_string

from inspections.domain.telling import claiming
from inspections.domain.telling.raising import wishes_of
from inspections.models import Mail
from inspections.vocabulary import Delivery
from portfolio.busy import is_busy
from portfolio.models import User

log = logging.getLogger(__name__)

#: By name, since how a mail looks is the pages' concern, and they stand above the domain.
LETTER: Final = "inspections.web.mails.letter.write"
#: The server's answers after which it is certain that it has not taken the mail (RFC 5321, section 4.2.5:
#: it answers for the whole of the data, once).
REFUSED: Final = (
    smtplib.SMTPHeloError,
    smtplib.SMTPSenderRefused,
    smtplib.SMTPRecipientsRefused,
    smtplib.SMTPDataError,
    smtplib.SMTPNotSupportedError,
)
#: A mail that is sent must be noted as such, though others are at the database; seconds between the tries.
PATIENCE: Final = (0.0, 0.5, 2.0, 5.0)
Clock = Callable[[], dt.datetime]


def send_due(clock: Clock = timezone.now) -> int:
    """Send every mail whose time has come, urgent ones first; how many were sent."""
    if not settings.EMAIL_HOST:
        return 0
    claiming.recover(clock())
    return sum(_send_all(clock, urgent=urgent) for urgent in (True, False))


def _send_all(clock: Clock, *, urgent: bool) -> int:
    people = claiming.waiting(clock()).filter(urgent=urgent).order_by().values_list("person", flat=True)
    ids = list(people.distinct())
    # Several processes may go through the same people: each in an order of its own, they seldom meet.
    random.shuffle(ids)
    return sum(_send_to(pk, clock, urgent=urgent) for pk in ids)


def _send_to(pk: UUID, clock: Clock, *, urgent: bool) -> bool:
    """Send one person what is due; whether a mail was sent. A busy database is tried again the next time."""
    try:
        person = User.objects.select_related("mail_settings").get(pk=pk)
        mail = claiming.claim(person, clock(), urgent=urgent) if _wants_mail(person) else None
        return mail is not None and _send(mail, clock)
    except OperationalError as error:
        if not is_busy(error):
            raise
        log.warning("A mail to %s waits for the database", pk)
        return False


def _send(mail: Mail, clock: Clock) -> bool:
    try:
        message: EmailMessage = import_string(LETTER)(mail, clock())
        message.message()  # What can't be made into a mail is known before a server is asked.
    except OperationalError:
        raise
    except Exception as error:
        log.exception("Mail %s could not be written", mail.pk)
        claiming.note_failed(mail, clock(), f"It could not be written: {error!r}")
        return False
    return _give(mail, message, clock)


def _wants_mail(person: User) -> bool:
    wishes = wishes_of(person)
    return person.is_active and bool(person.email) and (wishes is None or wishes.wants_mail)


def _give(mail: Mail, message: EmailMessage, clock: Clock) -> bool:
    """Give the mail to the server and note what became of it; whether it was sent."""
    connection = get_connection()
    try:
        connection.open()
    except (OSError, smtplib.SMTPException) as error:
        claiming.note_failed(mail, clock(), f"The mail server could not be reached: {error}")
        return False
    try:
        if not claiming.hand_over(mail, clock()):
            return False
        message.connection = connection
        message.send()
    except REFUSED as error:
        claiming.note_failed(mail, clock(), f"The mail server refused it: {error}")
        return False
    except (OSError, smtplib.SMTPException) as error:
        claiming.note_uncertain(mail, clock(), f"The mail server was lost while it took the mail: {error}")
        return False
    finally:
        _close(connection)
    _insist(mail, clock)
    return True


def _insist(mail: Mail, clock: Clock) -> None:
    for pause in PATIENCE:
        time.sleep(pause)
        try:
            claiming.note_sent(mail, clock())
            return
        except OperationalError:
            log.warning("Mail %s is sent; noting so waits for the database", mail.pk)


def _close(connection: object) -> None:
    try:
        connection.close()  # type: ignore[attr-defined]
    except (OSError, smtplib.SMTPException):
        log.info("The mail server went away before it was taken leave of")


def stuck(now: dt.datetime) -> int:
    """Claims of which nobody has said for too long what became of them."""
    long_ago = now - dt.timedelta(seconds=settings.CLAIM_SECONDS)
    return Mail.objects.filter(state=Delivery.CLAIMED, claimed_at__lt=long_ago).count()
