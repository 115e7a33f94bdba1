"""The base of every view of the API: who may read, what is in scope, and in which shapes it is given."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from functools import cache
from http import HTTPStatus
from typing import Any, ClassVar, cast

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.exceptions import NotFound
from rest_framework.mixins import ListModelMixin, RetrieveModelMixin
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse
from rest_framework.routers import SimpleRouter
from rest_framework.views import APIView
from rest_framework.viewsets import GenericViewSet

from portfolio import queries
from portfolio.api.authentication import MemberRequest
from portfolio.api.columns import Columns
from portfolio.api.conditions import entity_tag, require_match
from portfolio.api.errors import NOT_FOUND
from portfolio.api.filters import EVERYWHERE, Filters, refuse_unknown
from portfolio.api.pagination import TIE_BREAK
from portfolio.api.payloads import StrictJson
from portfolio.api.renderers import Json, Negotiation
from portfolio.api.schema import Description
from portfolio.models import Organisation, ScopedQuerySet, User
from portfolio.vocabulary import WRITING_ROLES, Role


class Base(APIView):
    """What all views share. Answers are one organisation's: no cache may keep them."""

    content_negotiation_class = Negotiation
    metadata_class = None
    http_method_names = ["get", "head", "post", "put", "patch", "delete"]
    parser_classes = [StrictJson]
    schema = Description()

    #: Whether it can be answered before a person of several organisations has said which.
    across_organisations: ClassVar[bool] = False
    #: Who writes, where anything can be written.
    writing_roles: ClassVar[Collection[Role]] = WRITING_ROLES

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        response = super().finalize_response(request, response, *args, **kwargs)
        response.headers.setdefault("Cache-Control", "private, no-store")
        return response

    @property
    def user(self) -> User:
        return cast(MemberRequest, self.request).user

    @property
    def organisation(self) -> Organisation:
        """The organisation that is asked about; permissions have seen to it that there is one."""
        organisation = cast(MemberRequest, self.request).organisation
        assert organisation is not None
        return organisation


class Listed(Base, ListModelMixin, GenericViewSet[Any]):
    """A list in one of its stated orders, each a name with its fields; the first is the usual one."""

    orderings: ClassVar[Mapping[str, Sequence[str]]]
    filterset_class: ClassVar[type[Filters]]
    #: The usual order, where an index has it: a page that is filtered by nothing is read along that.
    indexed_ordering: ClassVar[str | None] = None

    def get_queryset(self) -> QuerySet[Any]:
        """The one place where an endpoint's records are scoped."""
        records = cast(ScopedQuerySet, super().get_queryset())
        return records.one_by_one(self.organisation) if self._is_walked() else records.of(self.organisation)

    def _is_walked(self) -> bool:
        asked = self.request.query_params
        return (
            self.indexed_ordering is not None
            and self.action == "list"
            and asked.get("ordering", self.indexed_ordering).lstrip("-") == self.indexed_ordering
            and not any(name in asked for name in self.filterset_class.base_filters)
        )

    @property
    def columns(self) -> Columns:
        return _columns_of(type(self))

    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        rows = self.paginate_queryset(self.filter_queryset(self.get_queryset()))
        assert rows is not None
        return self.get_paginated_response([self.columns.answer(row) for row in rows])


@cache
def _columns_of(view: type[Listed]) -> Columns:
    """The columns of a list and of its orders, told once in a process."""
    ordered = [field.lstrip("-") for fields in view.orderings.values() for field in fields]
    serializer = cast(Any, view.serializer_class)()
    return Columns(serializer, [*ordered, TIE_BREAK])


class Records(Listed, RetrieveModelMixin):
    """A list and each of its records, found by UUID or, where the kind has codes of its own, by code."""

    lookup_value_regex = "[^/]+"
    code_field: ClassVar[str | None] = None
    #: Whether a record changes, and so has an entity tag.
    is_tagged: ClassVar[bool] = True

    def get_renderers(self) -> list[BaseRenderer]:
        renderers = super().get_renderers()
        if self.action == "list" or self.action is None:
            return renderers
        return [renderer for renderer in renderers if isinstance(renderer, Json)]

    def get_object(self) -> Any:
        records = self.filter_queryset(self.get_queryset())
        record = queries.by_key(records, self.kwargs[self.lookup_field], self.code_field)
        if record is None:
            raise NotFound(NOT_FOUND)
        self.check_object_permissions(self.request, record)
        return record

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return self.answer(self.get_object())

    def answer(self, record: Any, status: int = HTTPStatus.OK) -> Response:
        """A record with its entity tag."""
        headers = {"ETag": entity_tag(record)} if self.is_tagged else None
        return Response(self.get_serializer(record).data, status=status, headers=headers)

    def answer_anew(self, record: Any, status: int = HTTPStatus.OK) -> Response:
        """A record that was written, read as a list reads it."""
        response = self.answer(self.get_queryset().get(pk=record.pk), status)
        if status == HTTPStatus.CREATED:
            basename = self.basename
            response["Location"] = reverse(f"{basename}-detail", [record.pk], request=self.request)
        return response

    def to_change(self) -> Any:
        """The addressed record, if the request says rightly which state of it is to be changed."""
        record = self.get_object()
        require_match(self.request, record)
        return record


class Root(Base):
    """The addresses of all lists."""

    across_organisations = True
    renderer_classes = [Json]
    names: ClassVar[Mapping[str, str]] = {}

    @extend_schema(
        operation_id="root",
        responses={
            (200, "application/json"): {
                "type": "object",
                "additionalProperties": {"type": "string", "format": "uri"},
            }
        },
    )
    def get(self, request: Request) -> Response:
        refuse_unknown(request, EVERYWHERE)
        return Response({name: reverse(url_name, request=request) for name, url_name in self.names.items()})


class Nowhere(Base):
    """Any other address of the API: a problem in the API's own shape, also for methods that don't exist."""

    across_organisations = True
    schema = None  # type: ignore[assignment]

    def get(self, request: Request) -> Response:
        raise NotFound(NOT_FOUND)


class Router(SimpleRouter):
    """Lists under their plural names, and the root that names them."""

    def addresses(self) -> dict[str, str]:
        """For each list its name and the name of its route."""
        return {prefix: f"{basename}-list" for prefix, _, basename in self.registry}
