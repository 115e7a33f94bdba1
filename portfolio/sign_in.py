"""Signing in by name and password, a limited number of times; every try that fails is noted in the log."""

from __future__ import annotations

import logging
from typing import Any

from django.contrib.auth.backends import ModelBackend
from django.http import HttpRequest

from portfolio.limits import Limit, address_of
from portfolio.models import User

QUARTER_HOUR = 15 * 60
#: Ours: a person who has forgotten which of their passwords it was gets through; a guesser does not, from one
#: address or from many. (OWASP ASVS 4.0.3, 2.2.1, allows a hundred failures an hour on one account.)
OF_NAME_FROM_ADDRESS = Limit("sign-in", count=10, seconds=QUARTER_HOUR)
OF_NAME = Limit("sign-in-name", count=25, seconds=QUARTER_HOUR)
OF_ADDRESS = Limit("sign-in-address", count=100, seconds=QUARTER_HOUR)
NAME_LENGTH = 150

log = logging.getLogger("portfolio.sign_in")


class TooManyTries(Exception):
    """Somebody has tried too often; ``wait`` is the seconds until they may try again."""

    def __init__(self, wait: int) -> None:
        super().__init__(wait)
        self.wait = wait


class LimitedBackend(ModelBackend):
    """Django's own check of name and password, behind limits for the name and for the address."""

    def authenticate(
        self,
        request: HttpRequest | None,
        username: str | None = None,
        password: str | None = None,
        **kwargs: Any,
    ) -> User | None:
        """The person, or None; raises :class:`TooManyTries` without looking at the password."""
        name = (username or "")[:NAME_LENGTH].casefold()
        address = address_of(request)
        tries = ((OF_NAME_FROM_ADDRESS, (name, address)), (OF_NAME, (name,)), (OF_ADDRESS, (address,)))
        # Counted before the password is checked, so that many tries at once don't slip through together.
        wait = max(limit.take(*who) for limit, who in tries)
        if wait:
            log.warning("Sign-in refused for %r from %s: too many tries", name, address)
            raise TooManyTries(wait)
        user = super().authenticate(request, username, password, **kwargs)
        if user is None:
            log.warning("Sign-in failed for %r from %s", name, address)
            return None
        for limit, who in tries:
            limit.give_back(*who)
        OF_NAME_FROM_ADDRESS.forget(name, address)
        log.info("Signed in: %r from %s", name, address)
        return user
