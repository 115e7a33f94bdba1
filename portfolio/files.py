"""Files that are one organisation's own, as they are answered after scoping."""

from __future__ import annotations

from typing import BinaryIO

from django.http import FileResponse


def private_file(file: BinaryIO, content_type: str, name: str, *, download: bool = False) -> FileResponse:
    """A file for this person alone, of exactly this type; kept by no cache without asking anew."""
    response = FileResponse(file, as_attachment=download, filename=name, content_type=content_type)
    response["Cache-Control"] = "private, no-store" if download else "private, no-cache"
    response["X-Content-Type-Options"] = "nosniff"
    return response
