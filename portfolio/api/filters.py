"""Filters that answer what was asked or say why not: an unknown, empty, repeated or bad one is refused."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any, cast

import django_filters.rest_framework as filters
from django import forms
from django.db.models import QuerySet
from django_filters.rest_framework import DjangoFilterBackend
from drf_spectacular.utils import extend_schema_field
from rest_framework.request import Request
from rest_framework.views import APIView

from portfolio.api.errors import BadParameters
from portfolio.models import ScopedQuerySet

EVERYWHERE = ("format", "organisation")
ON_LISTS = ("cursor", "ordering", "page_size")
TRUE, FALSE = "true", "false"


class StrictFilterBackend(DjangoFilterBackend):
    """Filters a list by the view's filter set; allows only the general parameters on a single record."""

    def filter_queryset(self, request: Request, queryset: QuerySet[Any], view: APIView) -> QuerySet[Any]:
        if getattr(view, "detail", False):
            refuse_unknown(request, EVERYWHERE)
            return queryset
        kind = self.get_filterset_class(view, queryset)
        refuse_unknown(request, [*kind.base_filters, *ON_LISTS, *EVERYWHERE])
        filterset = self.get_filterset(request, queryset, view)
        if not filterset.is_valid():
            raise BadParameters(
                {name: [str(text) for text in texts] for name, texts in filterset.errors.items()}
            )
        return cast("QuerySet[Any]", filterset.qs)


def refuse_unknown(request: Request, allowed: Iterable[str]) -> None:
    """Refuse parameters that would be passed over in silence."""
    known = sorted(allowed)
    errors = {}
    for name in request.query_params:
        values = request.query_params.getlist(name)
        if name not in known:
            errors[name] = [f"There is no such parameter here; there are: {', '.join(known)}."]
        elif len(values) > 1:
            errors[name] = ["Give this parameter once."]
        elif values == [""]:
            errors[name] = ["Give a value, or leave the parameter out."]
    if errors:
        raise BadParameters(errors)


class _IsoDate(forms.DateField):
    """A date as ISO 8601 writes it, and in no local custom."""

    default_error_messages = {"invalid": "Write a date such as 2025-09-15."}

    def to_python(self, value: Any) -> dt.date | None:
        if value in self.empty_values:
            return None
        try:
            return dt.datetime.strptime(value, "%Y-%m-%d").date()
        except ValueError as error:
            raise forms.ValidationError(self.error_messages["invalid"], code="invalid") from error


class _IsoMoment(forms.Field):
    """A time as ISO 8601 writes it; without an offset it is UTC, and a date alone is its midnight."""

    default_error_messages = {"invalid": "Write a time such as 2025-09-15T10:00:00Z, or a date."}

    def to_python(self, value: Any) -> dt.datetime | None:
        if value in self.empty_values:
            return None
        try:
            moment = dt.datetime.fromisoformat(value)
            if moment.tzinfo is None:
                return moment.replace(tzinfo=dt.UTC)
            return moment.astimezone(dt.UTC)
        except (ValueError, OverflowError) as error:
            raise forms.ValidationError(self.error_messages["invalid"], code="invalid") from error


class Text(filters.CharFilter):
    """Equal to a text."""


class Identifier(filters.UUIDFilter):
    """Equal to a UUID."""


class Number(filters.NumberFilter):
    """A number with any fraction."""


class Whole(filters.NumberFilter):
    """A whole number."""

    field_class = forms.IntegerField


class Day(filters.DateFilter):
    """A date."""

    field_class = _IsoDate


class Moment(filters.IsoDateTimeFilter):
    """A time."""

    field_class = _IsoMoment


class Word(filters.ChoiceFilter):
    """One of the allowed words; another is refused with the list of them."""

    def __init__(self, choices: Iterable[tuple[str, str]], **options: Any) -> None:
        words = [(word, label) for word, label in choices if word]
        message = f"%(value)s is not one of: {', '.join(word for word, _ in words)}."
        super().__init__(
            choices=words, empty_label=None, error_messages={"invalid_choice": message}, **options
        )


class YesNo(Word):
    """true or false; `lookup_expr="isnull"` with `exclude=True` asks whether something is given."""

    def __init__(self, **options: Any) -> None:
        super().__init__([(TRUE, "yes"), (FALSE, "no")], **options)
        about = {"description": options["help_text"]} if "help_text" in options else {}
        extend_schema_field({"type": "boolean", **about})(self)

    def filter(self, qs: QuerySet[Any], value: Any) -> QuerySet[Any]:
        return super().filter(qs, value == TRUE if value else value)


def span(kind: type[filters.Filter], field_name: str) -> tuple[filters.Filter, filters.Filter]:
    """Two filters for `…_after` (from then on) and `…_before` (up to then, but without it)."""
    return (
        kind(field_name=field_name, lookup_expr="gte", help_text="From then on."),
        kind(field_name=field_name, lookup_expr="lt", help_text="Before then."),
    )


class Filters(filters.FilterSet):
    """A list's filters, of which a request makes only those it asks for."""

    base_filters: dict[str, filters.Filter]

    def __init__(self, data: Any = None, *args: Any, **options: Any) -> None:
        known, asked = self.base_filters, data or ()
        self.base_filters = {name: known[name] for name in known if name in asked}
        super().__init__(data, *args, **options)


class RecordFilters(Filters):
    """What every record can be asked for. Voided records are left out unless asked for."""

    voided = YesNo(
        field_name="voided_at",
        lookup_expr="isnull",
        exclude=True,
        help_text="true: only records that were voided. Without it, only those that stand.",
    )
    entered_after, entered_before = span(Moment, "entered_at")
    changed_after, changed_before = span(Moment, "changed_at")

    def filter_queryset(self, queryset: QuerySet[Any]) -> QuerySet[Any]:
        found = super().filter_queryset(queryset)
        return found if self.form.cleaned_data.get("voided") else cast(ScopedQuerySet, found).standing()


class OfBuilding(Filters):
    """For what belongs to a building and may belong to one of its sections."""

    building = Text(field_name="building__code", help_text="The building's code.")
    building_id = Identifier(field_name="building_id")
    section = Text(field_name="section__code", help_text="The section's code; say the building too.")
    section_id = Identifier(field_name="section_id")
    has_section = YesNo(
        field_name="section",
        lookup_expr="isnull",
        exclude=True,
        help_text="false: only what is of a building as a whole.",
    )


class OfSection(Filters):
    """For what belongs to a section."""

    building = Text(field_name="section__building__code", help_text="The building's code.")
    building_id = Identifier(field_name="section__building_id")
    section = Text(field_name="section__code", help_text="The section's code; say the building too.")
    section_id = Identifier(field_name="section_id")
