"""What the OpenAPI description says of every endpoint: problems, media types, who may ask."""

from __future__ import annotations

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from django.conf import settings
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.plumbing import ResolvedComponent
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse

from portfolio.api.problems import MEDIA_TYPE, ProblemSerializer

JSON, CSV = "application/json", "text/csv"
PROBLEMS = {
    400: "A query parameter is unknown, repeated, empty or has a bad value; `errors` names it.",
    401: "No token and no signed-in session, or a token that doesn't serve.",
    403: "Not for this person.",
    404: "It does not exist, or is another organisation's.",
    406: "None of the accepted media types is offered.",
    429: "Too many requests; `Retry-After` says how many seconds to wait.",
    500: "An error on our side.",
    503: "The database is busy and nothing was saved; `Retry-After` says when to send it again.",
}
PROBLEMS_OF_WRITING = {
    400: "What was sent is wrong somewhere; `errors` names each field, or row and column.",
    403: "For this role, reading only.",
    409: "It is at odds with what stands in the records already.",
    413: "More was sent than is taken at once.",
    415: "Only the described media type is taken.",
}
PROBLEMS_OF_CHANGING = {
    412: "The record was changed since it was read.",
    428: "`If-Match` is missing.",
}
ORGANISATION = OpenApiParameter(
    "organisation",
    OpenApiTypes.STR,
    description="The organisation's slug. A signed-in person of several says which; a token has its own.",
)
ENTITY_TAG = OpenApiParameter(
    "ETag",
    OpenApiTypes.STR,
    OpenApiParameter.HEADER,
    description="The tag of the record's state, to be sent as If-Match with a change.",
    response=[200, 201],
)
IF_MATCH = OpenApiParameter(
    "If-Match",
    OpenApiTypes.STR,
    OpenApiParameter.HEADER,
    required=True,
    description="The ETag of the record as it was read; it is changed only if nobody else has.",
)
LINK = OpenApiParameter(
    "Link",
    OpenApiTypes.STR,
    OpenApiParameter.HEADER,
    description="The next and previous pages (RFC 8288), where there are any; for CSV the only place.",
    response=[200],
)


#: What columns of whole numbers hold: nobody comes near it, and it is not the same on both engines.
COLUMN_LIMITS = {sign for bits in (15, 31, 63) for sign in (2**bits - 1, -(2**bits))}


def without_the_engine_s_limits(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """The description without the limits of the database's columns, so that it is the same on either."""
    for schema in result["components"]["schemas"].values():
        for field in schema.get("properties", {}).values():
            for bound in ("minimum", "maximum"):
                if field.get(bound) in COLUMN_LIMITS:
                    del field[bound]
            if field.get("format") == "int64":
                del field["format"]
    return result


class Description(AutoSchema):
    """An endpoint's description, with what is the same for all of them."""

    def get_override_parameters(self) -> list[Any]:
        own = [ORGANISATION, *super().get_override_parameters()]
        if self._is_list_view():
            return [*own, LINK]
        if not (self._is_of_a_record() and getattr(self.view, "is_tagged", False)):
            return own
        return [*own, ENTITY_TAG, *([IF_MATCH] if self._changes_a_record() else [])]

    def get_request_serializer(self) -> Any:
        told = getattr(self.view, "payload_schema", None)
        schema = told(getattr(self.view, "action", "")) if told else None
        return {JSON: schema} if schema else super().get_request_serializer()

    def _get_request_body(self, *args: Any, **kwargs: Any) -> Any:
        body = super()._get_request_body(*args, **kwargs)
        if body:
            body["required"] = True
        return body

    def _get_response_bodies(self, direction: Any = "response") -> dict[str, Any]:
        problems = self._problems(PROBLEMS)
        if self.method != "GET":
            problems |= self._problems(PROBLEMS_OF_WRITING, "OnWriting")
        if self._changes_a_record() and getattr(self.view, "is_tagged", False):
            problems |= self._problems(PROBLEMS_OF_CHANGING)
        answers = super()._get_response_bodies(direction)
        if "201" in answers:
            answers = {"200": answers["201"], **answers}
        return {**answers, **dict(sorted(problems.items()))}

    def _problems(self, descriptions: Mapping[int, str], when: str = "") -> dict[str, Any]:
        return {str(status): self._problem(status, text, when) for status, text in descriptions.items()}

    def _problem(self, status: int, description: str, when: str) -> dict[str, Any]:
        """A problem's answer, described once for all endpoints."""
        response = self._get_response_for_code(
            OpenApiResponse(ProblemSerializer, description), str(status), [MEDIA_TYPE]
        )
        component = ResolvedComponent(
            name=HTTPStatus(status).phrase.title().replace(" ", "") + when,
            type=ResolvedComponent.RESPONSE,
            schema=response,
            object=description,
        )
        self.registry.register_on_missing(component)
        reference: dict[str, Any] = component.ref
        return reference

    def _is_of_a_record(self) -> bool:
        """Whether one record is given back."""
        return getattr(self.view, "detail", False) or getattr(self.view, "action", None) == "create"

    def _changes_a_record(self) -> bool:
        return self.method != "GET" and bool(getattr(self.view, "detail", False))

    def _get_response_for_code(self, *args: Any, **kwargs: Any) -> dict[str, Any]:
        response: dict[str, Any] = super()._get_response_for_code(*args, **kwargs)
        content = response.get("content", {})
        if CSV in content:
            content[CSV] = {"schema": {"type": "string"}}
        return response

    def _postprocess_serializer_schema(self, schema: Any, serializer: Any, direction: Any) -> Any:
        """Every answer holds every field, except a problem's."""
        schema = super()._postprocess_serializer_schema(schema, serializer, direction)
        if getattr(serializer, "always_whole", False):
            schema["required"] = list(schema["properties"])
        if getattr(serializer, "is_strict", False):
            schema["additionalProperties"] = False
        return schema


class TokenScheme(OpenApiAuthenticationExtension):
    target_class = "portfolio.api.authentication.TokenAuthentication"
    name = "token"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, Any]:
        return {
            "type": "http",
            "scheme": "bearer",
            "description": "A token of one organisation: `Authorization: Bearer KEY`.",
        }


class SessionScheme(OpenApiAuthenticationExtension):
    target_class = "portfolio.api.authentication.SessionAuthentication"
    name = "session"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, Any]:
        return {"type": "apiKey", "in": "cookie", "name": settings.SESSION_COOKIE_NAME}
