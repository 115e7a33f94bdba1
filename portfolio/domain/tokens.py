"""Tokens: a program's keys to one organisation. The key is shown once; only its SHA-256 is kept."""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets

from django.utils import timezone

from portfolio import queries
from portfolio.models import Organisation, Token, User

#: Marks the key for people, and for programs that look for secrets left lying in files.
PREFIX = "wythe_"
#: Random bytes in a key; 256 bits, so that a plain SHA-256 of it can't be searched.
KEY_BYTES = 32


class TokenRefused(ValueError):
    """Why no token is issued, in words for the person who asked."""


def digest_of(key: str) -> str:
    """What is kept of a key."""
    return hashlib.sha256(key.encode()).hexdigest()


def issue_token(
    *, user: User, organisation: Organisation, name: str, expires_at: dt.datetime | None = None
) -> tuple[Token, str]:
    """Issue a token to a member of the organisation; the second value is the key, never seen again."""
    if queries.membership(user, organisation) is None:
        raise TokenRefused(
            f"{user.get_username()} is not a member of {organisation.slug}; add them to it first."
        )
    if expires_at is not None and expires_at <= timezone.now():
        raise TokenRefused("The token would have expired already; say a later time.")
    key = PREFIX + secrets.token_urlsafe(KEY_BYTES)
    token = Token.objects.create(
        user=user, organisation=organisation, name=name, digest=digest_of(key), expires_at=expires_at
    )
    return token, key


def revoke_token(token: Token) -> Token:
    """Refuse the token from now on. Revoking it again changes nothing."""
    Token.objects.filter(pk=token.pk, revoked_at__isnull=True).update(revoked_at=timezone.now())
    token.refresh_from_db(fields=["revoked_at"])
    return token
