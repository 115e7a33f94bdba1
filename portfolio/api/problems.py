"""Errors as RFC 9457 problem details, in one shape from one handler."""

from __future__ import annotations

import logging
from collections.abc import Iterator, Mapping
from http import HTTPStatus
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse, JsonResponse
from rest_framework import serializers
from rest_framework.exceptions import APIException, ErrorDetail, NotFound, Throttled, ValidationError
from rest_framework.exceptions import PermissionDenied as Refused
from rest_framework.request import Request
from rest_framework.views import set_rollback

from portfolio import busy
from portfolio.api.errors import NOT_FOUND, BadParameters, Busy
from portfolio.api.refusals import BadRows, as_api_exception
from portfolio.domain.refusals import Refusal

MEDIA_TYPE = "application/problem+json"
UNEXPECTED = "Something went wrong on our side; it has been noted. Nothing was changed."
TOO_MANY = "Too many requests within a minute. Wait {} seconds, then go on."

log = logging.getLogger("django.request")


class ProblemErrorSerializer(serializers.Serializer[Any]):
    """One thing that is wrong, and where."""

    parameter = serializers.CharField(required=False, help_text="The query parameter that is wrong.")
    field = serializers.CharField(required=False, help_text="The field of the sent record that is wrong.")
    row = serializers.IntegerField(required=False, help_text="Of many rows, the one that is wrong, from 1.")
    column = serializers.CharField(required=False, help_text="The column that is wrong in that row.")
    detail = serializers.CharField(help_text="What is wrong with it, and how to mend it.")


class ProblemSerializer(serializers.Serializer[Any]):
    """Problem details, RFC 9457."""

    type = serializers.CharField(help_text="about:blank: the title is the status code's own.")
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    instance = serializers.CharField(help_text="The path that was asked for.")
    errors = ProblemErrorSerializer(many=True)  # type: ignore[assignment]


def problem_details(exception: Exception, context: Mapping[str, Any]) -> HttpResponse:
    """The answer to any exception that a view of the API raised."""
    request: Request = context["request"]
    known = _as_api_exception(exception)
    set_rollback()
    if known is None:
        log.error("Unexpected error: %s", request.path, exc_info=exception, extra={"request": request})
        return problem(request, HTTPStatus.INTERNAL_SERVER_ERROR, UNEXPECTED)
    errors: list[dict[str, Any]] = list(_errors(known))
    detail = "; ".join(_sentence(error) for error in errors) or str(known.detail)
    if isinstance(known, BadRows):
        errors, detail = [dict(error) for error in known.errors], str(known.detail)
    response = problem(request, HTTPStatus(known.status_code), detail, errors)
    if header := getattr(known, "auth_header", None):
        response["WWW-Authenticate"] = header
    if wait := getattr(known, "wait", None):
        response["Retry-After"] = f"{wait:.0f}"
    return response


def problem(
    request: Request, status: HTTPStatus, detail: str, errors: list[dict[str, Any]] | None = None
) -> HttpResponse:
    """A problem details answer, whatever media type was asked for."""
    body = {
        "type": "about:blank",
        "title": status.phrase,
        "status": status.value,
        "detail": detail,
        "instance": request.path,
        "errors": errors or [],
    }
    return JsonResponse(body, status=status, content_type=MEDIA_TYPE)


def _as_api_exception(exception: Exception) -> APIException | None:
    if isinstance(exception, Throttled):
        wait = getattr(exception, "wait", None)
        exception.detail = ErrorDetail(TOO_MANY.format(wait), exception.default_code)
    if isinstance(exception, APIException):
        return exception
    if isinstance(exception, Http404):
        return NotFound(NOT_FOUND)
    if isinstance(exception, PermissionDenied):
        return Refused()
    if busy.is_busy(exception):
        return Busy()
    if isinstance(exception, Refusal):
        return as_api_exception(exception)
    return None


def _errors(exception: APIException) -> Iterator[dict[str, str]]:
    """One entry for each message of a validation error, with the parameter or field it is about."""
    if not isinstance(exception, ValidationError):
        return
    place = "parameter" if isinstance(exception, BadParameters) else "field"
    for name, message in _messages(exception.detail):
        yield {place: name, "detail": message} if name else {"detail": message}


def _messages(detail: Any, path: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(detail, Mapping):
        for name, item in detail.items():
            yield from _messages(item, f"{path}.{name}" if path else str(name))
    elif isinstance(detail, list):
        for item in detail:
            yield from _messages(item, path)
    else:
        yield path, str(detail)


def _sentence(error: Mapping[str, str]) -> str:
    place = error.get("parameter") or error.get("field")
    return f"{place}: {error['detail']}" if place else error["detail"]
