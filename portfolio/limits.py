"""How often somebody may do something, counted in the cache in windows of fixed length.

The cache is Redis where there is one, so that all processes count together; else each process counts alone.
"""

from __future__ import annotations

import hashlib
import ipaddress
import math
import time
from dataclasses import dataclass

from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest

#: What one customer of a provider commonly has to themselves (RFC 6177, section 2): one limit for all of it.
IPV6_NETWORK_BITS = 64


@dataclass(frozen=True, slots=True)
class Limit:
    """At most ``count`` times in each window of ``seconds``."""

    name: str
    count: int
    seconds: int

    def take(self, *who: str) -> int:
        """Count one more; the seconds to wait if that is one too many, else 0."""
        now = time.time()
        key = self._key(who, now)
        cache.add(key, 0, timeout=self.seconds)
        try:
            taken = cache.incr(key)
        except ValueError:  # It ran out between the two lines.
            return 0
        return 0 if taken <= self.count else math.ceil(self.seconds - now % self.seconds)

    def give_back(self, *who: str) -> None:
        """Count one less: what was taken turned out to be nothing to limit."""
        key = self._key(who, time.time())
        if cache.get(key, 0) > 0:
            cache.decr(key)

    def forget(self, *who: str) -> None:
        """Begin again at nought."""
        cache.delete(self._key(who, time.time()))

    def _key(self, who: tuple[str, ...], now: float) -> str:
        digest = hashlib.sha256("\0".join(who).encode("utf-8", "replace")).hexdigest()
        return f"limit:{self.name}:{int(now // self.seconds)}:{digest}"


def address_of(request: HttpRequest | None) -> str:
    """Where a request comes from: a single IPv4 address, or an IPv6 network.

    A trusted proxy appends the address it saw to ``X-Forwarded-For``; what stands before that, anybody can
    have written.
    """
    if request is None:
        return ""
    address: str = request.META.get("REMOTE_ADDR", "")
    if settings.TRUST_PROXY:
        address = request.META.get("HTTP_X_FORWARDED_FOR", "").rpartition(",")[2].strip() or address
    try:
        parsed = ipaddress.ip_address(address)
    except ValueError:
        return address
    if isinstance(parsed, ipaddress.IPv4Address):
        return address
    return str(ipaddress.ip_network((address, IPV6_NETWORK_BITS), strict=False))
