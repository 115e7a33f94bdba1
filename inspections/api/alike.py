"""Each section's rates beside those drawn to the rates of sections with the same coat and exposure."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from inspections.api.results import WholeResult
from inspections.models import Assessment
from portfolio.api.base import Listed
from portfolio.api.columns import Columns
from portfolio.api.filters import OfSection, Text, Word
from portfolio.api.serializers import WholeSerializer, code_of, id_of
from portfolio.models import Treatment
from portfolio.vocabulary import Adjoins, Binder, TreatmentKind


class PooledRateFilters(OfSection):
    adjoins = Word(Adjoins.choices, field_name="section__adjoins")
    substrate = Text(field_name="section__substrate")
    kind = Word(TreatmentKind.choices, method="filter_coat", help_text="With such a layer in place.")
    binder = Word(Binder.choices, method="filter_coat", help_text="With a layer of this binder in place.")

    def filter_coat(self, queryset: QuerySet[Assessment], name: str, value: str) -> QuerySet[Assessment]:
        standing = Treatment.objects.of(self.request.organisation).standing().filter(removed_on__isnull=True)
        return queryset.filter(section__in=standing.filter(**{name: value}).values("section"))


class LikenessSerializer(WholeResult):
    """What the sections of a group share: the tightest coat's kind and binder, and what lies behind."""

    kind = serializers.CharField()
    binder = serializers.CharField()
    adjoins = serializers.CharField()


class OwnRateSerializer(WholeResult):
    """The section's own rate in the unit a year, with its 95 % interval; null where there is none."""

    rate_per_year = serializers.FloatField(allow_null=True)
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)


class PooledRateSerializer(WholeResult):
    """The rate drawn to those of the group, with its 95 % interval, and what the group says.

    Areas are pooled as shares: the group's numbers are those of a section of this size.
    """

    rate_per_year = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()
    sections = serializers.IntegerField(help_text="Of the group that have a rate with its error.")
    houses = serializers.IntegerField(help_text="That they lie in.")
    mean = serializers.FloatField(help_text="Of the group, a year.")
    mean_error = serializers.FloatField(help_text="Its standard error.")
    between_sd = serializers.FloatField(help_text="Spread of true rates between the sections of a house.")
    house_sd = serializers.FloatField(help_text="Spread between houses.")


class BothRatesSerializer(WholeResult):
    """One quantity of a section."""

    unit = serializers.CharField()
    readings = serializers.IntegerField()
    own = OwnRateSerializer()
    pooled = PooledRateSerializer(
        allow_null=True,
        help_text="Null where under five sections are alike, or where meters of two scales were used.",
    )


#: The column of a section's own trends.
_TRENDS = "result__trends"
#: Where the rates are from, and of which day.
PLACE = ("building", "building_id", "section", "section_id", "as_of")


class RatedPlaceSerializer(WholeSerializer):
    """What of a row is stored."""

    building = code_of("section.building")
    building_id = id_of("section.building_id")
    section = code_of("section")
    section_id = id_of()

    class Meta:
        model = Assessment
        fields: tuple[str, ...] = PLACE


class PooledRatesSerializer(RatedPlaceSerializer):
    """One section: its group, and by quantity its own rate and the one drawn to the group's."""

    group = LikenessSerializer(allow_null=True, help_text="Null where no coat is in place.")
    rates = serializers.DictField(child=BothRatesSerializer(), help_text="By quantity.")

    class Meta(RatedPlaceSerializer.Meta):
        fields = (*PLACE, "group", "rates")


class PooledRateViewSet(Listed):
    """Each section's rates a year, and those drawn to the rates of the sections that are like it.

    Alike are the organisation's sections with a coat of the same kind and binder in place and the same
    thing behind the wall. Houses are allowed to differ as a whole.
    """

    queryset = Assessment.objects.filter(current=True, section__voided_at__isnull=True)
    serializer_class = PooledRatesSerializer
    filterset_class = PooledRateFilters
    orderings = {"section": ("section__building__code", "section__code")}

    @property
    def columns(self) -> Columns:
        ordered = [field for fields in self.orderings.values() for field in fields]
        return Columns(RatedPlaceSerializer(), [*ordered, "id", _TRENDS])

    @extend_schema(operation_id="pooled_rates")
    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Own and pooled rates of each section, a page at a time."""
        # What computes is imported by the first question, so that no other request waits for it.
        from inspections.domain.alike import as_json, drawn_rates
        from inspections.queries.alike import likeness_of

        rows = self.paginate_queryset(self.filter_queryset(self.get_queryset()))
        assert rows is not None
        sections = [self.columns.value(row, "section_id") for row in rows]
        likeness = likeness_of(self.organisation, sections, timezone.localdate())
        drawn = drawn_rates(self.organisation, likeness)
        answers = []
        for row, section in zip(rows, sections, strict=True):
            group = likeness.get(section)
            trends = self.columns.value(row, _TRENDS) or {}
            answers.append(
                {
                    **self.columns.answer(row),
                    "group": asdict(group) if group else None,
                    "rates": as_json(trends, drawn.get(section, {})),
                }
            )
        return self.get_paginated_response(answers)


pooled_rates = PooledRateViewSet.as_view({"get": "list"})
