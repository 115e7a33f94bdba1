"""Signed links: who holds one may do the one thing that it says, without signing in."""

from __future__ import annotations

from enum import StrEnum
from typing import Final
from uuid import UUID

from django.conf import settings
from django.core import signing
from django.urls import reverse

from inspections.models import Reminder
from portfolio.models import User

SALT: Final = "wythe.mails"
#: A link of an old mail opens no more; one that ends all mails always does.
LASTS_S: Final = 90 * 24 * 3600


class Do(StrEnum):
    """What a link is for."""

    LATER = "later"
    HAND_OVER = "hand-over"
    END = "end"


def token(do: Do, pk: UUID) -> str:
    return signing.dumps([do.value, str(pk)], salt=SALT)


def read(text: str) -> tuple[Do, UUID] | None:
    """What a link is for, and for which row; None where it was not made here, or long ago."""
    try:
        do, pk = signing.loads(text, salt=SALT)
        if do != Do.END:
            signing.loads(text, salt=SALT, max_age=LASTS_S)
        return Do(do), UUID(pk)
    except (signing.BadSignature, ValueError, TypeError):
        return None


def to_answer(do: Do, reminder: Reminder) -> str:
    return absolute(reverse("mail-link", args=[token(do, reminder.pk)]))


def to_end(person: User) -> str:
    return absolute(reverse("mail-link", args=[token(Do.END, person.pk)]))


def absolute(path: str) -> str:
    """The whole address of a page."""
    return f"{settings.SITE_URL}{path}"
