"""Views that are imported by their first request, so that what only some pages need slows no start."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.utils.module_loading import import_string

View = Callable[..., HttpResponseBase]


def later(path: str) -> View:
    """The view with this dotted path."""

    @cache
    def found() -> View:
        view: View = import_string(path)
        return view

    def view(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        return found()(request, *args, **kwargs)

    view.path = path  # type: ignore[attr-defined]
    return view
