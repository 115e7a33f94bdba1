"""What is wrong with a request, said so that the answer can name the place."""

from __future__ import annotations

from collections.abc import Mapping

from rest_framework.exceptions import ValidationError

NOT_FOUND = "There is nothing here under this address."


class BadParameters(ValidationError):
    """Query parameters that can't be answered: for each name, what is wrong with it."""

    def __init__(self, errors: Mapping[str, list[str]]) -> None:
        super().__init__(dict(errors))
