"""The paper that goes with a house, and each one's document."""

from __future__ import annotations

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

from inspections.api.entering import Entered
from inspections.domain.documents import (
    ENDINGS,
    PDF,
    DocumentMissing,
    document_name,
    open_document,
    store_document,
)
from inspections.domain.pictures import CONTENT_TYPE
from inspections.records.further import PAPERS
from portfolio.api.filters import (
    EVERYWHERE,
    Day,
    OfBuilding,
    RecordFilters,
    Text,
    Word,
    YesNo,
    refuse_unknown,
    span,
)
from portfolio.api.serializers import KEPT, RecordSerializer, code_of, code_or_null, id_of, id_or_null
from portfolio.api.uploads import MULTIPART, Multipart, parts_of
from portfolio.files import private_file
from portfolio.models import Paper
from portfolio.vocabulary import PaperKind, PaperState

FILE = "file"
MISSING = "The paper has no document, or its file is not on this machine."
_UPLOAD = {
    "type": "object",
    "properties": {FILE: {"type": "string", "format": "binary", "description": "A PDF, or a picture."}},
    "required": [FILE],
    "additionalProperties": False,
}


class PaperFilters(OfBuilding, RecordFilters):
    kind = Word(PaperKind.choices)
    state = Word(PaperState.choices)
    reference = Text()
    has_document = YesNo(field_name="sha256", lookup_expr="exact", method="filter_document")
    due_after, due_before = span(Day, "due_on")
    closed_after, closed_before = span(Day, "closed_on")

    def filter_document(self, queryset: Any, name: str, value: str) -> Any:
        return queryset.exclude(sha256="") if value == "true" else queryset.filter(sha256="")


class PaperSerializer(RecordSerializer):
    building = code_of("building")
    building_id = id_of()
    section = code_or_null("section")
    section_id = id_or_null()

    class Meta:
        model = Paper
        fields = (
            "id",
            "building",
            "building_id",
            "section",
            "section_id",
            "kind",
            "title",
            "reference",
            "issued_by",
            "issued_on",
            "due_on",
            "state",
            "closed_on",
            "note",
            "sha256",
            "content_type",
            "bytes",
            *KEPT,
        )
        read_only_fields = ("sha256", "content_type", "bytes")


class Pdf(BaseRenderer):
    """A document as it was sent."""

    media_type = PDF
    format = "pdf"
    render_style = "binary"


class Jpeg(Pdf):
    """A picture of a sheet."""

    media_type = CONTENT_TYPE
    format = "jpeg"


class PaperViewSet(Entered):
    """Violations, permits, inspections by authorities, access to a neighbour's wall: each with its day."""

    table = PAPERS
    queryset = Paper.objects.select_related("building", "section", "entered_by")
    serializer_class = PaperSerializer
    filterset_class = PaperFilters
    orderings = {
        "building": ("building__code", "entered_at"),
        "entered_at": ("entered_at",),
        "changed_at": ("changed_at",),
    }

    def get_parsers(self) -> list[BaseParser]:
        wanted = self.action_map.get(str(self.request.method).lower()) if self.request else None
        return [Multipart()] if wanted == "keep_document" else super().get_parsers()

    def get_renderers(self) -> list[BaseRenderer]:
        return [Pdf(), Jpeg()] if self.action == "document" else super().get_renderers()

    @extend_schema(responses={(200, kind): OpenApiTypes.BINARY for kind in ENDINGS})
    @action(detail=True, methods=["get"])
    def document(self, request: Request, *args: Any, **kwargs: Any) -> FileResponse:
        """The document, to be saved."""
        paper: Paper = self.get_object()
        try:
            return private_file(open_document(paper), paper.content_type, document_name(paper), download=True)
        except DocumentMissing:
            raise NotFound(MISSING) from None

    @extend_schema(request={MULTIPART: _UPLOAD})
    @document.mapping.post
    def keep_document(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Keep a document with the paper, in the place of one before. That stays in the history."""
        paper = self.to_change()
        refuse_unknown(request, EVERYWHERE)
        _, file = parts_of(request, [], FILE)
        kept = store_document(
            paper=paper, file=cast(BinaryIO, file.file), organisation=self.organisation, user=self.user
        )
        return self.answer_anew(kept)
