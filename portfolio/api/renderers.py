"""Lists as CSV beside JSON, and the choice between them."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import orjson
from rest_framework.exceptions import NotAcceptable
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.serializers import BaseSerializer, Serializer
from rest_framework.utils.encoders import JSONEncoder

from portfolio.api.errors import BadParameters

#: A text that begins so would be taken for a formula by a spreadsheet program (OWASP, CSV injection).
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


class Json(JSONRenderer):
    """As the framework writes it, but by a faster library; it also writes times, dates and UUIDs."""

    def render(
        self,
        data: Any,
        accepted_media_type: str | None = None,
        renderer_context: Mapping[str, Any] | None = None,
    ) -> bytes:
        if data is None or self.get_indent(accepted_media_type or "", dict(renderer_context or {})):
            return super().render(data, accepted_media_type, renderer_context)
        return _json(data)


class CsvRenderer(BaseRenderer):
    """One line for each row of a page. What is nested gets a column of its own, such as `log_odds.total`.

    The columns that a serializer states come first, whatever the page holds; those that only the rows can
    tell (such as `trends.deep_moisture.low`) follow in the order of the alphabet. A list is one column, as
    JSON.
    """

    media_type = "text/csv"
    format = "csv"
    charset = "utf-8"

    def render(
        self,
        data: Any,
        accepted_media_type: str | None = None,
        renderer_context: Mapping[str, Any] | None = None,
    ) -> str:
        rows = [dict(_flat(row)) for row in orjson.loads(_json(data["results"]))]
        stated = list(_columns((renderer_context or {})["view"].get_serializer()))
        columns = [*stated, *sorted({name for row in rows for name in row} - set(stated) - _parents(stated))]
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\r\n")
        writer.writerow(columns)
        writer.writerows([_cell(row.get(column)) for column in columns] for row in rows)
        return out.getvalue()


class Negotiation(DefaultContentNegotiation):
    """As usual, but an unknown `?format=` is a bad value, not a missing page."""

    def filter_renderers(self, renderers: Iterable[BaseRenderer], format: str) -> list[BaseRenderer]:
        renderers = list(renderers)
        found = [renderer for renderer in renderers if renderer.format == format]
        if not found:
            offered = ", ".join(str(renderer.format) for renderer in renderers)
            raise BadParameters({"format": [f"{format!r} is not offered here; there are: {offered}."]})
        return found

    def select_renderer(
        self, request: Request, renderers: Iterable[BaseRenderer], format_suffix: str | None = None
    ) -> tuple[BaseRenderer, str]:
        offered = list(renderers)
        try:
            return super().select_renderer(request, offered, format_suffix)
        except NotAcceptable as error:
            kinds = ", ".join(str(renderer.media_type) for renderer in offered)
            raise NotAcceptable(f"This is given as: {kinds}.") from error


def _json(data: Any) -> bytes:
    return orjson.dumps(data, default=JSONEncoder().default, option=orjson.OPT_UTC_Z)


def _columns(serializer: BaseSerializer[Any], prefix: str = "") -> Iterator[str]:
    """The columns that a serializer states: those of nested ones dotted; a map's are for the rows to tell."""
    assert isinstance(serializer, Serializer)
    for name, field in serializer.fields.items():
        if isinstance(field, Serializer):
            yield from _columns(field, f"{prefix}{name}.")
        elif not hasattr(field, "child") or hasattr(field, "many"):
            yield prefix + name


def _parents(columns: Iterable[str]) -> set[str]:
    """The names of what is nested; where it is unknown as a whole, its own columns are empty instead."""
    return {name.rpartition(".")[0] for name in columns}


def _flat(value: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, Any]]:
    for name, item in value.items():
        if isinstance(item, Mapping):
            yield from _flat(item, f"{prefix}{name}.")
        else:
            yield prefix + name, item


def _cell(value: Any) -> Any:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (list, tuple)):
        return json.dumps(value, ensure_ascii=False, default=str)
    if isinstance(value, str) and value.startswith(FORMULA_STARTS) and not _is_number(value):
        return f"'{value}"
    return value


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
