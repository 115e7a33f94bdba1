"""Headers that every answer carries, and the answers where the only trouble is that it must wait."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from http import HTTPStatus

from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.views.defaults import server_error as usual_server_error

from portfolio import busy
from portfolio.sign_in import TooManyTries

API_ROOT = "/api/"
PAGES = "portfolio.pages"
#: Nothing from other hosts and nothing inline: pages are plain HTML, one style sheet and small scripts.
POLICY = "; ".join(
    (
        "default-src 'self'",
        "img-src 'self' data:",
        "object-src 'none'",
        "base-uri 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)
#: Features of the browser that no page needs. (A file field takes a photo without any of them.)
UNUSED_FEATURES = ("camera", "display-capture", "geolocation", "microphone", "payment", "usb")
HEADERS = {
    "Content-Security-Policy": POLICY,
    "Permissions-Policy": ", ".join(f"{feature}=()" for feature in UNUSED_FEATURES),
    "Cross-Origin-Resource-Policy": "same-origin",
}

#: Of a request with its files: a zip of records may have that much.
MOST_BODY_BYTES = 64 * 1024 * 1024

Answer = Callable[[HttpRequest], HttpResponse]


def secure_headers(get_response: Answer) -> Answer:
    """Set the headers that Django's own middleware doesn't, on every answer."""

    def middleware(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        return response

    return middleware


def bounded_bodies(get_response: Answer) -> Answer:
    """Refuse a request that says it is larger than anything taken here, before any of it is read."""

    def middleware(request: HttpRequest) -> HttpResponse:
        size = request.META.get("CONTENT_LENGTH") or "0"
        if size.isdecimal() and int(size) > MOST_BODY_BYTES:
            return _too_large(request)
        return get_response(request)

    return middleware


def pages_alone(get_response: Answer) -> Answer:
    """Look for pages among the pages, so that the API is imported by who first asks it."""

    def middleware(request: HttpRequest) -> HttpResponse:
        if not request.path_info.startswith(API_ROOT):
            request.urlconf = PAGES
        return get_response(request)

    return middleware


class MustWait:
    """Tell people who try too often, or come while the database is busy, when to come again.

    The API answers its own views' errors in the same way, as problem details.
    """

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if isinstance(exception, TooManyTries):
            return _wait(request, HTTPStatus.TOO_MANY_REQUESTS, exception.wait)
        if busy.is_busy(exception):
            return _wait(request, HTTPStatus.SERVICE_UNAVAILABLE, busy.RETRY_AFTER)
        return None


def server_error(request: HttpRequest) -> HttpResponse:
    """The answer to an error nobody has answered: for a busy database, to come again."""
    if busy.is_busy(sys.exc_info()[1]):
        return _wait(request, HTTPStatus.SERVICE_UNAVAILABLE, busy.RETRY_AFTER)
    return usual_server_error(request)


def _wait(request: HttpRequest, status: HTTPStatus, seconds: int) -> HttpResponse:
    response = (
        _problem(request, status)
        if request.path.startswith(API_ROOT)
        else HttpResponse(_page(status, seconds), status=status)
    )
    response["Retry-After"] = str(seconds)
    response["Cache-Control"] = "no-store"
    return response


def _too_large(request: HttpRequest) -> HttpResponse:
    status, most = HTTPStatus.REQUEST_ENTITY_TOO_LARGE, MOST_BODY_BYTES // 2**20
    if request.path.startswith(API_ROOT):
        return _problem(request, status, f"Send at most {most} MiB at once.")
    return HttpResponse(render_to_string("413.html", {"most": most}), status=status)


def _page(status: HTTPStatus, seconds: int) -> str:
    # Without the request, so that whoever is signed in is not asked of a busy database.
    return render_to_string(f"{status.value}.html", {"minutes": math.ceil(seconds / 60)})


def _problem(request: HttpRequest, status: HTTPStatus, detail: str = busy.MESSAGE) -> HttpResponse:
    # Loaded only where it is needed: the framework's views, and so its settings, come with it.
    from rest_framework.request import Request

    from portfolio.api.problems import problem

    return problem(Request(request), status, detail)
