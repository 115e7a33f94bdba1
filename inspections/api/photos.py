"""Photos: what is known of each, the picture itself, and its upload."""

from __future__ import annotations

from collections.abc import Callable
from http import HTTPStatus
from typing import Any, BinaryIO, cast

from django.http import FileResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.exceptions import NotFound
from rest_framework.parsers import BaseParser
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from inspections.api import filtersets, serializers
from inspections.api.entering import Corrected
from inspections.api.shapes import ID, row_schema
from inspections.domain.photos import PictureMissing, file_name, open_picture, open_thumbnail
from inspections.domain.pictures import CONTENT_TYPE
from inspections.models import Photo
from inspections.records.entering import fields_of_rows
from inspections.records.further import PHOTOS
from inspections.records.photos import UPLOADS, enter_photo
from portfolio.api.filters import EVERYWHERE, refuse_unknown
from portfolio.api.payloads import uuid_of
from portfolio.api.uploads import MULTIPART, Multipart, parts_of
from portfolio.files import private_file

FILE = "file"
MISSING = "The photo is known, but its file is not on this machine; bring it back from a backup."


def _upload_schema() -> dict[str, Any]:
    """The parts of an upload: all text, but for the picture."""
    row = row_schema(UPLOADS, "create")
    fields = {name: {**field, "type": "string"} for name, field in row["properties"].items()}
    picture = {"type": "string", "format": "binary", "description": "A JPEG, PNG or WebP picture."}
    return {**row, "properties": {FILE: picture, **fields}, "required": [FILE, *row.get("required", [])]}


class Jpeg(BaseRenderer):
    """The picture as it is kept."""

    media_type = CONTENT_TYPE
    format = "jpeg"
    render_style = "binary"


class PhotoViewSet(Corrected):
    """Photos: what is known of each; the picture is at its `file/` and, small, at its `thumbnail/`."""

    table = PHOTOS
    queryset = Photo.objects.select_related("building", "section", "entered_by")
    serializer_class = serializers.PhotoSerializer
    filterset_class = filtersets.PhotoFilters
    orderings = {
        "taken_at": ("taken_at",),
        "building": ("building__code", "taken_at"),
        "entered_at": ("entered_at",),
        "changed_at": ("changed_at",),
    }

    def get_parsers(self) -> list[BaseParser]:
        wanted = self.action_map.get(str(self.request.method).lower()) if self.request else None
        return [Multipart()] if wanted == "create" else super().get_parsers()

    def get_renderers(self) -> list[BaseRenderer]:
        return [Jpeg()] if self.action in ("file", "thumbnail") else super().get_renderers()

    @extend_schema(request={MULTIPART: _upload_schema()})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Keep a picture (201). One that is kept of the same section already is the same photo (200).

        It is turned upright and kept as JPEG without its metadata. Without `taken_at` its time is the
        camera's own.
        """
        refuse_unknown(request, EVERYWHERE)
        row, file = parts_of(request, [ID, *fields_of_rows(UPLOADS)], FILE)
        photo, is_new = enter_photo(
            organisation=self.organisation,
            user=self.user,
            photo_id=uuid_of(row.pop(ID, None)),
            row=row,
            file=cast(BinaryIO, file.file),
        )
        return self.answer_anew(photo, HTTPStatus.CREATED if is_new else HTTPStatus.OK)

    @extend_schema(responses={(200, CONTENT_TYPE): OpenApiTypes.BINARY})
    @action(detail=True, methods=["get"])
    def file(self, request: Request, *args: Any, **kwargs: Any) -> FileResponse:
        """The picture."""
        return self._picture(open_picture)

    @extend_schema(responses={(200, CONTENT_TYPE): OpenApiTypes.BINARY})
    @action(detail=True, methods=["get"])
    def thumbnail(self, request: Request, *args: Any, **kwargs: Any) -> FileResponse:
        """The picture with at most 400 pixels a side."""
        return self._picture(open_thumbnail)

    def _picture(self, opened: Callable[[Photo], BinaryIO]) -> FileResponse:
        photo: Photo = self.get_object()
        try:
            return private_file(opened(photo), photo.content_type, file_name(photo))
        except PictureMissing:
            raise NotFound(MISSING) from None

    @classmethod
    def payload_schema(cls, action: str) -> Any:
        return None if action == "create" else super().payload_schema(action)
