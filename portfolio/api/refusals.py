"""Writing that is refused: the domain's reasons, and the API's own, each with its status."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any

from rest_framework.exceptions import APIException, ValidationError

from portfolio.domain.refusals import Conflict, Invalid, Refusal, Stale


class BadRows(APIException):
    """Rows that can't be entered: each error has its `row` from 1, its `column` and its `detail`."""

    status_code = HTTPStatus.BAD_REQUEST

    def __init__(self, errors: Sequence[Mapping[str, Any]], total: int) -> None:
        self.errors = list(errors)
        more = f" The first {len(self.errors)} are given." if total > len(self.errors) else ""
        super().__init__(f"{total:,} error{'' if total == 1 else 's'}, and nothing was saved.{more}")


class AtOdds(APIException):
    """The request is at odds with what stands in the records."""

    status_code = HTTPStatus.CONFLICT


class PreconditionFailed(APIException):
    """The record was changed since it was read."""

    status_code = HTTPStatus.PRECONDITION_FAILED


class PreconditionRequired(APIException):
    """A change must say which state of the record it is made to (RFC 6585, section 3)."""

    status_code = HTTPStatus.PRECONDITION_REQUIRED
    default_detail = "Send If-Match with the record's ETag as you read it, so that nobody's change is lost."


class TooLarge(APIException):
    """More was sent than is taken at once."""

    status_code = HTTPStatus.REQUEST_ENTITY_TOO_LARGE


def as_api_exception(refusal: Refusal) -> APIException:
    """What the API answers to a refusal of the domain."""
    if isinstance(refusal, Stale):
        return PreconditionFailed(str(refusal))
    if isinstance(refusal, Conflict):
        return AtOdds(str(refusal))
    if isinstance(refusal, Invalid):
        errors: dict[str, list[str]] = {}
        for field, text in refusal.errors:
            errors.setdefault(field, []).append(text)
        return ValidationError(errors)
    return AtOdds(str(refusal))
