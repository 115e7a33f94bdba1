"""Pages by cursor: a page starts after a row, not at a count, so that new rows neither shift nor repeat any.

The cursor holds the values of the ordering's fields in the row it starts from, with the row's id as the
tie-break, so that even thousands of rows with the same value are paged through; it is signed, so that only
cursors that were given out are read.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from typing import Any

from django.core import signing
from django.core.exceptions import ImproperlyConfigured
from django.db.models import Field, Model, Q, QuerySet
from rest_framework.pagination import BasePagination
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.urls import remove_query_param, replace_query_param
from rest_framework.views import APIView

from portfolio.api.columns import Columns, Row
from portfolio.api.errors import BadParameters

DEFAULT_PAGE_SIZE = 100
LARGEST_PAGE_SIZE = 1000
TIE_BREAK = "id"
_SALT = "portfolio.api.cursor"


@dataclass(frozen=True, slots=True)
class Cursor:
    """Where a page starts: after the row with these values, or before it when going back."""

    ordering: str
    values: Sequence[Any]
    backwards: bool = False

    def encode(self) -> str:
        values = [_plain(value) for value in self.values]
        return signing.dumps([self.ordering, values, self.backwards], salt=_SALT)

    @classmethod
    def decode(cls, text: str) -> Cursor:
        try:
            ordering, values, backwards = signing.loads(text, salt=_SALT)
        except signing.BadSignature as error:
            raise BadParameters(
                {"cursor": ["This is no cursor of ours; follow next and previous as they are given."]}
            ) from error
        return cls(ordering, values, backwards)


class CursorPages(BasePagination):
    """`{next, previous, results}`, in one of the view's stated orders; rows are read as its columns."""

    request: Request
    columns: Columns
    page: list[Row]
    next_cursor: Cursor | None
    previous_cursor: Cursor | None

    def paginate_queryset(self, queryset: Any, request: Request, view: APIView | None = None) -> list[Any]:
        self.request = request
        self.columns = view.columns  # type: ignore[union-attr]
        size = page_size(request)
        ordering, fields = chosen_ordering(request, orderings_of(view))
        cursor = self._cursor(ordering)
        backwards = cursor is not None and cursor.backwards
        if cursor is not None:
            queryset = queryset.filter(_beyond(queryset.model, fields, cursor))
        rows = self._rows(queryset, _reversed(fields) if backwards else fields, size + 1)
        more, page = len(rows) > size, rows[:size]
        self.page = page[::-1] if backwards else page
        has_next, has_previous = (True, more) if backwards else (more, cursor is not None)
        self.next_cursor = self._at(ordering, fields, -1, False) if has_next else None
        self.previous_cursor = self._at(ordering, fields, 0, True) if has_previous else None
        return self.page

    def _rows(self, queryset: QuerySet[Any], fields: Sequence[str], most: int) -> list[Row]:
        """The first rows in that order. They are sorted by their keys, before anything else is joined."""
        keys = queryset.order_by(*fields).values("pk")[:most]
        rows = queryset.model._default_manager.filter(pk__in=keys).order_by(*fields)
        return list(rows.values_list(*self.columns.paths))

    def get_paginated_response(self, data: Any) -> Response:
        links = {"next": self._link(self.next_cursor), "previous": self._link(self.previous_cursor)}
        header = ", ".join(f'<{url}>; rel="{relation}"' for relation, url in links.items() if url)
        return Response({**links, "results": data}, headers={"Link": header} if header else None)

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        link = {"type": ["string", "null"], "format": "uri"}
        return {
            "type": "object",
            "required": ["next", "previous", "results"],
            "properties": {"next": link, "previous": link, "results": schema},
        }

    def get_schema_operation_parameters(self, view: APIView) -> list[dict[str, Any]]:
        names = list(orderings_of(view))
        return [
            _parameter("cursor", "Where the page starts, as given in next and previous.", {"type": "string"}),
            _parameter(
                "page_size",
                f"Rows on a page: {DEFAULT_PAGE_SIZE} if not said, {LARGEST_PAGE_SIZE} at most.",
                {"type": "integer", "minimum": 1},
            ),
            _parameter(
                "ordering",
                f"The order of the rows, `{names[0]}` if not said; a leading hyphen reverses it.",
                {"type": "string", "enum": [sign + name for name in names for sign in ("", "-")]},
            ),
        ]

    def _cursor(self, ordering: str) -> Cursor | None:
        text = self.request.query_params.get("cursor")
        if text is None:
            return None
        cursor = Cursor.decode(text)
        if cursor.ordering != ordering:
            raise BadParameters({"cursor": [f"This cursor belongs to ordering={cursor.ordering}."]})
        return cursor

    def _at(self, ordering: str, fields: Sequence[str], index: int, backwards: bool) -> Cursor | None:
        if not self.page:
            return None
        row = self.page[index]
        values = [self.columns.value(row, field.lstrip("-")) for field in fields]
        return Cursor(ordering, values, backwards)

    def _link(self, cursor: Cursor | None) -> str | None:
        if cursor is None:
            return None
        url = remove_query_param(self.request.build_absolute_uri(), "cursor")
        return replace_query_param(url, "cursor", cursor.encode())


def page_size(request: Request) -> int:
    """The asked page size within its cap."""
    text = request.query_params.get("page_size")
    if text is None:
        return DEFAULT_PAGE_SIZE
    if not (text.isascii() and text.isdigit() and len(text) < 10 and int(text) > 0):
        raise BadParameters({"page_size": ["Say a whole number from 1 up."]})
    return min(int(text), LARGEST_PAGE_SIZE)


def orderings_of(view: APIView | None) -> Mapping[str, Sequence[str]]:
    """The view's stated orders, each a name with its fields; the first is the one used if none is asked."""
    orderings: Mapping[str, Sequence[str]] = getattr(view, "orderings", {})
    if not orderings:
        raise ImproperlyConfigured(f"{type(view).__name__} states no order, and can't be paged.")
    return orderings


def chosen_ordering(request: Request, orderings: Mapping[str, Sequence[str]]) -> tuple[str, Sequence[str]]:
    """The asked order's name and its fields, ending with the tie-break."""
    asked = request.query_params.get("ordering", next(iter(orderings)))
    name = asked.removeprefix("-")
    if name not in orderings:
        raise BadParameters({"ordering": [f"{asked!r} is not one of: {', '.join(orderings)}."]})
    fields = [*orderings[name], TIE_BREAK]
    return asked, _reversed(fields) if asked.startswith("-") else fields


def _reversed(fields: Sequence[str]) -> list[str]:
    return [field[1:] if field.startswith("-") else f"-{field}" for field in fields]


def _beyond(model: type[Model], fields: Sequence[str], cursor: Cursor) -> Q:
    """The rows after the cursor's (before it, going back): a row comparison that every engine takes."""
    names = [field.lstrip("-") for field in fields]
    values = [_field(model, name).to_python(value) for name, value in zip(names, cursor.values, strict=True)]
    tests = ["lt" if field.startswith("-") != cursor.backwards else "gt" for field in fields]
    beyond = Q()
    for name, value, test in reversed(list(zip(names, values, tests, strict=True))):
        beyond = Q(**{f"{name}__{test}": value}) | (Q(**{name: value}) & beyond if beyond else Q())
    # Says the same once more of the first field alone, where an index can use it.
    return beyond & Q(**{f"{names[0]}__{tests[0]}e": values[0]})


def _field(model: type[Model], path: str) -> Field[Any, Any]:
    """The field at the end of a path with double underscores."""
    *parents, name = path.split("__")
    end = reduce(lambda at, parent: at._meta.get_field(parent).related_model, parents, model)  # type: ignore[arg-type,return-value]
    return end._meta.get_field(name)  # type: ignore[return-value]


def _plain(value: Any) -> Any:
    """The value as JSON holds it without loss: times to the microsecond, UUIDs as text."""
    if isinstance(value, dt.date):
        return value.isoformat()
    return str(value) if isinstance(value, uuid.UUID) else value


def _parameter(name: str, description: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {"name": name, "in": "query", "required": False, "description": description, "schema": schema}
