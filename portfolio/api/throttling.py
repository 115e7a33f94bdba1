"""How many requests a program or a person may make: so many that only a runaway loop meets the limit."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.conf import settings
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from portfolio.limits import Limit, address_of
from portfolio.models import Token

# The framework's views are loaded after their throttles.
if TYPE_CHECKING:
    from rest_framework.views import APIView

MINUTE = 60


class RequestsAMinute(BaseThrottle):
    """One limit for each token, for each signed-in person, and for each address without either."""

    def allow_request(self, request: Request, view: APIView) -> bool:
        limit = Limit("api", settings.API_REQUESTS_A_MINUTE, MINUTE)
        self._wait = limit.take(*_who(request))
        return not self._wait

    def wait(self) -> float:
        return float(self._wait)


def _who(request: Request) -> tuple[str, str]:
    if isinstance(request.auth, Token):
        return "token", str(request.auth.pk)
    if request.user and request.user.is_authenticated:
        return "user", str(request.user.pk)
    return "address", address_of(request._request)
