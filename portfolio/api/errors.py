"""What is wrong with a request, said so that the answer can name the place."""

from __future__ import annotations

from collections.abc import Mapping
from http import HTTPStatus

from rest_framework.exceptions import APIException, ValidationError

from portfolio import busy

NOT_FOUND = "There is nothing here under this address."


class BadParameters(ValidationError):
    """Query parameters that can't be answered: for each name, what is wrong with it."""

    def __init__(self, errors: Mapping[str, list[str]]) -> None:
        super().__init__(dict(errors))


class Busy(APIException):
    """Others were at the same records for too long; nothing was saved."""

    status_code = HTTPStatus.SERVICE_UNAVAILABLE
    default_detail = busy.MESSAGE
    wait = busy.RETRY_AFTER
