"""A file sent as multipart/form-data with the fields of its record, in bounded size."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import IO, Any, cast

from django.core.exceptions import SuspiciousOperation
from django.core.files.uploadedfile import UploadedFile
from rest_framework.exceptions import ParseError
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request

from portfolio.api.payloads import unknown_field
from portfolio.api.refusals import TooLarge
from portfolio.domain.refusals import Invalid

MULTIPART = "multipart/form-data"
#: Of a whole request with its file.
MOST_BYTES = 26 * 1024 * 1024


class Multipart(MultiPartParser):
    """Parts of a request, refused as a whole before any is read if they are too large."""

    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> Any:
        request = cast(Request, (parser_context or {})["request"])
        if int(request.META.get("CONTENT_LENGTH") or 0) > MOST_BYTES:
            raise TooLarge(f"Send at most {MOST_BYTES // 1024 // 1024} MiB at once.")
        try:
            return super().parse(stream, media_type, parser_context)
        except SuspiciousOperation as error:
            raise ParseError(f"This can't be taken apart: {error}") from error


def parts_of(
    request: Request, known: Collection[str], file_field: str
) -> tuple[dict[str, str], UploadedFile]:
    """The sent fields, each once, and the file; anything else is refused."""
    fields, files = cast(Any, request.POST), cast(Any, request.FILES)
    errors = [(name, unknown_field(name, [*known, file_field])) for name in fields if name not in known]
    errors += [(name, unknown_field(name, [file_field])) for name in files if name != file_field]
    errors += [
        (name, "Send this once.") for sent in (fields, files) for name in sent if len(sent.getlist(name)) > 1
    ]
    if file_field not in files:
        errors.append((file_field, "Send the file itself in this field."))
    if errors:
        raise Invalid(errors)
    return fields.dict(), files[file_field]
