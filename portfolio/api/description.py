"""The OpenAPI description of the whole API, open to everybody."""

from __future__ import annotations

from functools import cache
from typing import Any

from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.views import SpectacularAPIView
from rest_framework.request import Request
from rest_framework.response import Response

from portfolio.api.filters import refuse_unknown
from portfolio.api.renderers import Negotiation


@cache
def description() -> dict[str, Any]:
    """The description, generated once in a process: it is the same for everybody."""
    schema: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)
    return schema


class DescriptionView(SpectacularAPIView):
    """YAML, or JSON where that is asked for."""

    content_negotiation_class = Negotiation
    metadata_class = None
    http_method_names = ["get", "head"]

    def _get_schema_response(self, request: Request) -> Response:
        refuse_unknown(request, ["format"])
        return Response(description(), headers={"Content-Disposition": 'inline; filename="openapi.yaml"'})
