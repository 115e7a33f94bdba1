"""What is sent: JSON in bounded size, of the stated fields alone. What the fields mean is the domain's."""

from __future__ import annotations

import json
import uuid
from collections.abc import Collection, Mapping
from difflib import get_close_matches
from typing import IO, Any, ClassVar

from rest_framework import serializers
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser

from portfolio.api.refusals import TooLarge
from portfolio.domain.refusals import Invalid

#: Of a request's body. The most rows that are taken at once stay well under it.
MOST_BYTES = 8 * 1024 * 1024
WHOLE = ""
#: So many errors are given at once, and so much of a name that is none.
MOST_ERRORS, LONGEST_NAME = 50, 40


class StrictJson(BaseParser):
    """JSON as RFC 8259 has it, in UTF-8: no NaN, nothing nested too deeply to be read, no broken text."""

    media_type = "application/json"

    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> Any:
        body = stream.read(MOST_BYTES + 1)
        if len(body) > MOST_BYTES:
            raise TooLarge(f"Send at most {MOST_BYTES // 1024 // 1024} MiB at once.")
        try:
            text = body.decode()
            data = json.loads(text, parse_constant=_refuse_constant)
            if "\\u" in text:
                json.dumps(data, ensure_ascii=False).encode()  # half a surrogate pair is no text
        except (ValueError, RecursionError) as error:
            raise ParseError(f"This is not JSON: {error}.") from error
        return data


def _refuse_constant(name: str) -> None:
    raise ValueError(f"{name} is no number of JSON")


def object_of(data: Any, known: Collection[str]) -> dict[str, Any]:
    """A sent object whose values are text, numbers, true, false or null; unknown fields are refused."""
    if not isinstance(data, dict):
        raise Invalid([(WHOLE, "Send one JSON object.")])
    errors = [(_shown(name), unknown_field(name, known)) for name in data if name not in known]
    errors += [
        (name, "Send text, a number, true, false or null.")
        for name, value in data.items()
        if name in known and isinstance(value, (dict, list))
    ]
    if errors:
        raise Invalid(errors[:MOST_ERRORS])
    return data


def _shown(name: str) -> str:
    """A sent name as it may be repeated in a message: short, without control characters."""
    return "".join(letter if letter.isprintable() else "�" for letter in name[:LONGEST_NAME]) or "(no name)"


def unknown_field(name: str, known: Collection[str]) -> str:
    close = get_close_matches(name[:60], known, n=1, cutoff=0.75)
    hint = f"did you mean {close[0]}?" if close else f"there are: {', '.join(known)}."
    return f"There is no such field to write; {hint}"


def rows_of(data: Any, most: int) -> list[dict[str, Any]]:
    """A sent list of flat objects."""
    if not isinstance(data, list) or not data:
        raise Invalid([(WHOLE, "Send a list of rows, each a JSON object.")])
    if len(data) > most:
        raise TooLarge(f"Send at most {most:,} rows at once.")
    for number, row in enumerate(data, 1):
        if not isinstance(row, dict) or any(isinstance(value, (dict, list)) for value in row.values()):
            raise Invalid([(WHOLE, f"Row {number} is not a flat JSON object.")])
    return data


def uuid_of(value: Any) -> uuid.UUID | None:
    """The client's id for a new record, if it gives one."""
    if value is None:
        return None
    try:
        return uuid.UUID(value)
    except (ValueError, AttributeError, TypeError):
        raise Invalid([("id", "Send a UUID, such as one from uuidgen, or leave it out.")]) from None


class Shape(serializers.Serializer[Any]):
    """A small payload with fields of its own; others are refused."""

    is_strict: ClassVar[bool] = True

    @classmethod
    def of(cls, data: Any, *, partial: bool = False) -> dict[str, Any]:
        """The payload's values."""
        shape = cls(data=object_of(data, cls().fields.keys()), partial=partial)
        shape.is_valid(raise_exception=True)
        values: dict[str, Any] = shape.validated_data
        return values


class ReasonShape(Shape):
    """Why it is done."""

    reason = serializers.CharField(min_length=1, max_length=500, help_text="Why; it stays in the history.")


class NoShape(Shape):
    """Nothing is to be sent."""
