"""Evidence sheets as PDFs."""

from __future__ import annotations

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.exceptions import NotFound
from rest_framework.request import Request

from inspections.api.papers import Pdf
from inspections.models import Trial
from portfolio import queries
from portfolio.api.base import Base
from portfolio.api.errors import NOT_FOUND, BadParameters
from portfolio.api.filters import EVERYWHERE, refuse_unknown
from portfolio.api.problems import MEDIA_TYPE, ProblemSerializer
from portfolio.domain.refusals import Invalid

_PDF = {(200, Pdf.media_type): OpenApiTypes.BINARY}


class TrialSheetView(Base):
    """A trial's evidence sheet."""

    renderer_classes = [Pdf]

    @extend_schema(
        operation_id="trials_sheet",
        parameters=[
            OpenApiParameter(
                "code", OpenApiTypes.STR, OpenApiParameter.PATH, description="The trial's code or id."
            )
        ],
        responses={
            **_PDF,
            (409, MEDIA_TYPE): OpenApiResponse(
                ProblemSerializer, "The trial can't be answered as it was set up; the detail says why."
            ),
        },
    )
    def get(self, request: Request, code: str) -> HttpResponse:
        """One page for an owner or a mason, in the units of whoever asks."""
        from inspections.domain.sheet_files import trial_sheet

        refuse_unknown(request, EVERYWHERE)
        trial: Trial | None = queries.by_key(
            Trial.objects.of(self.organisation).standing(), code, code_field="code"
        )
        if trial is None:
            raise NotFound(NOT_FOUND)
        return _answer(trial_sheet(trial, self.user.units))


class CoatSheetView(Base):
    """The evidence sheet of a kind of coat."""

    renderer_classes = [Pdf]

    @extend_schema(
        operation_id="coat_sheet",
        parameters=[
            OpenApiParameter(
                "coat",
                OpenApiTypes.STR,
                required=True,
                description="Kind and binder with a comma between them, such as `parge_coat,NHL 3.5`.",
            ),
            OpenApiParameter("beside", OpenApiTypes.STR, description="One to set it beside, likewise."),
        ],
        responses={
            **_PDF,
            (409, MEDIA_TYPE): OpenApiResponse(ProblemSerializer, "No such coat is on record."),
        },
    )
    def get(self, request: Request) -> HttpResponse:
        """One page for an owner or a mason: how a coat has kept, how long it serves, what a year costs."""
        from inspections.domain.coat_evidence import coat_question
        from inspections.domain.sheet_files import coat_sheet

        refuse_unknown(request, ["coat", "beside", *EVERYWHERE])
        asked = request.query_params
        try:
            question = coat_question(asked.get("coat", ""), asked.get("beside", ""))
        except Invalid as refused:
            errors: dict[str, list[str]] = {}
            for name, text in refused.errors:
                errors.setdefault(name, []).append(text)
            raise BadParameters(errors) from refused
        return _answer(coat_sheet(self.organisation, question, self.user.units))


def _answer(content: bytes) -> HttpResponse:
    headers = {
        "Content-Disposition": 'attachment; filename="sheet.pdf"',
        "Cache-Control": "private, no-store",
    }
    return HttpResponse(content, content_type=Pdf.media_type, headers=headers)
