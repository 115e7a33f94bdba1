"""Answers that are kept as long as no record changes that they rest on."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from typing import TypeVar

from django.core.cache import cache

from portfolio import __version__

#: How long an answer is kept that nobody asks for again.
KEPT_SECONDS = 24 * 3600

Answer = TypeVar("Answer")


def kept(what: str, rests_on: object, answered: Callable[[], Answer]) -> Answer:
    """What ``answered`` gives, or gave when it was asked under the same ``rests_on``.

    ``rests_on`` is to be read from the records before anything else is, so that a change that comes while
    the answer is worked out is never missed: the answer then stands under a state that is over.
    """
    state = f"{__version__}\n{rests_on!r}"
    key = f"{what}:{hashlib.sha256(state.encode()).hexdigest()}"
    found: Answer | None = cache.get(key)
    if found is None:
        found = answered()
        cache.set(key, found, KEPT_SECONDS)
    return found
