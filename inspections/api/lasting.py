"""What lasts: failure rates, survival curves, loss of area and costs, in groups, for the coats asked for.

What computes is imported by the first question, so that no other request waits for it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any, ClassVar, NamedTuple

import django_filters.rest_framework as filters
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from inspections.api import lasting_shapes as shapes
from inspections.api.results import WholeResult
from inspections.vocabulary import COAT_FIELDS, MOST_DISCOUNT, USUAL_FIELDS, coat_fields
from portfolio.api.base import Base
from portfolio.api.errors import BadParameters
from portfolio.api.filters import (
    EVERYWHERE,
    Day,
    Identifier,
    Number,
    OfSection,
    Text,
    Whole,
    Word,
    YesNo,
    refuse_unknown,
    span,
)
from portfolio.api.renderers import CsvRenderer
from portfolio.models import Treatment
from portfolio.vocabulary import (
    Adjoins,
    BeddingMortar,
    Beyond,
    Binder,
    DrainsTo,
    Purpose,
    Substrate,
    TreatmentKind,
)

_BY = f"Fields to group by, with commas between them, of: {', '.join(COAT_FIELDS)}."


class CoatFilters(OfSection):
    """Which coats: by what the innermost layer, its section or its building has.

    How a coat ended is none of it: coats chosen by how they ended say nothing of how coats end.
    """

    layer = Whole()
    kind = Word(TreatmentKind.choices)
    binder = Word(Binder.choices)
    mix = Text()
    purpose = Word(Purpose.choices)
    drains_to = Word(DrainsTo.choices)
    applied_by = Text()
    found = YesNo()
    applied_on = Day()
    applied_after, applied_before = span(Day, "applied_on")
    min_thickness_mm = Number(field_name="thickness_mm", lookup_expr="gte")
    max_thickness_mm = Number(field_name="thickness_mm", lookup_expr="lte")
    substrate = Word(Substrate.choices, field_name="section__substrate")
    bedding_mortar = Word(BeddingMortar.choices, field_name="section__bedding_mortar")
    adjoins = Word(Adjoins.choices, field_name="section__adjoins")
    beyond = Word(Beyond.choices, field_name="section__beyond")
    wall = Text(field_name="section__wall")
    street = Text(field_name="section__building__street")
    locality = Text(field_name="section__building__locality")
    region = Text(field_name="section__building__region")
    postal_code = Text(field_name="section__building__postal_code")
    country = Text(field_name="section__building__country")
    built_after, built_before = span(Whole, "section__building__year_built")


class Question(NamedTuple):
    """What was asked: how to group, as of which day, and which innermost layers (None: all)."""

    by: Sequence[str]
    as_of: dt.date | None
    chosen: QuerySet[Treatment] | None
    own: Mapping[str, Any]


_TYPES: Mapping[type[filters.Filter], Any] = {
    Day: OpenApiTypes.DATE,
    Identifier: OpenApiTypes.UUID,
    Number: OpenApiTypes.DOUBLE,
    Whole: OpenApiTypes.INT,
    YesNo: OpenApiTypes.BOOL,
}


def _parameter(name: str, one: filters.Filter) -> OpenApiParameter:
    words = [word for word, _ in one.extra["choices"]] if isinstance(one, Word) else None
    kind = _TYPES.get(type(one), OpenApiTypes.STR)
    return OpenApiParameter(
        name,
        kind,
        description=one.extra.get("help_text", ""),
        enum=words if kind is OpenApiTypes.STR else None,
    )


PARAMETERS = [
    OpenApiParameter("by", OpenApiTypes.STR, description=f"{_BY} Without it: {', '.join(USUAL_FIELDS)}."),
    OpenApiParameter(
        "as_of",
        OpenApiTypes.DATE,
        description="From what was known at the end of this day; without it, of today.",
    ),
    *(_parameter(name, one) for name, one in CoatFilters.base_filters.items()),
]


class Lasting(Base):
    """A result over coats, as JSON or, a row a line, as CSV."""

    row: ClassVar[type[WholeResult]]
    own_filters: ClassVar[Mapping[str, filters.Filter]] = {}

    def get_serializer(self) -> WholeResult:
        """The shape of a line of CSV."""
        return self.row()

    def question(self) -> Question:
        """What is asked for, or the refusal of all that can't be."""
        own = {"as_of": Day(), **self.own_filters}
        refuse_unknown(self.request, ["by", *own, *CoatFilters.base_filters, *EVERYWHERE])
        asked = self.request.query_params
        errors: dict[str, list[str]] = {}
        by: Sequence[str] = USUAL_FIELDS
        try:
            by = coat_fields(asked["by"]) if "by" in asked else by
        except ValueError as error:
            errors["by"] = [str(error)]
        values = {}
        for name, one in own.items():
            try:
                values[name] = one.field.clean(asked[name]) if name in asked else None
            except ValidationError as error:
                errors[name] = list(error.messages)
        coats = CoatFilters(asked, Treatment.objects.of(self.organisation), request=self.request)
        if not coats.is_valid():
            errors |= {name: [str(text) for text in texts] for name, texts in coats.errors.items()}
        if errors:
            raise BadParameters(errors)
        chosen = coats.qs if coats.base_filters else None
        return Question(by, values.pop("as_of"), chosen, values)

    def listed(self, name: str) -> Response:
        """The list of this name over the coats that are asked for."""
        from inspections.domain.lasting_lists import LISTS, Asked

        asked = self.question()
        as_of, rows = LISTS[name](Asked(self.organisation, asked.by, asked.as_of, asked.chosen))
        return self.answer(as_of, rows)

    def answer(self, as_of: dt.date, rows: Sequence[Mapping[str, Any]]) -> Response:
        """All rows, as a list of one page."""
        return Response({"as_of": as_of, "next": None, "previous": None, "results": rows})


class FailureRatesView(Lasting):
    """Which coats fail, and how often."""

    row = shapes.GroupRatesSerializer

    @extend_schema(
        operation_id="failure_rates", parameters=PARAMETERS, responses=shapes.FailureRatesSerializer
    )
    def get(self, request: Request) -> Response:
        """How often and how soon the coats of each group fail, and whether the groups differ."""
        from inspections.domain.lasting import failure_rates

        asked = self.question()
        found = failure_rates(self.organisation, asked.by, asked.as_of, asked.chosen).as_json()
        if request.accepted_renderer.format == CsvRenderer.format:
            return Response({"results": found["groups"]})
        return Response(found)


class SurvivalView(Lasting):
    """Survival curves."""

    row = shapes.SurvivalSerializer

    @extend_schema(operation_id="survival", parameters=PARAMETERS, responses=shapes.SurvivalList)
    def get(self, request: Request) -> Response:
        """The share of each group's coats that lasts longer than so many years, with its interval."""
        from inspections.domain.lasting import failure_rates

        asked = self.question()
        found = failure_rates(self.organisation, asked.by, asked.as_of, asked.chosen)
        return self.answer(found.as_of, found.curves())


class DeteriorationRatesView(Lasting):
    """How fast coats lose area."""

    row = shapes.LossSerializer

    @extend_schema(operation_id="deterioration_rates", parameters=PARAMETERS, responses=shapes.LossList)
    def get(self, request: Request) -> Response:
        """The share of the coats' area that comes loose or falls in a year, by group, with its interval."""
        from inspections.domain.lasting import deterioration_rates

        asked = self.question()
        as_of, found = deterioration_rates(self.organisation, asked.by, asked.as_of, asked.chosen)
        return self.answer(as_of, [one.as_json() for one in found])


class ServiceCostsView(Lasting):
    """What coats cost for each m² and year of service."""

    row = shapes.CostSerializer
    own_filters = {"discount": Number(min_value=0, max_value=MOST_DISCOUNT)}

    @extend_schema(
        operation_id="service_costs",
        parameters=[
            OpenApiParameter(
                "discount",
                {"type": "number", "minimum": 0, "maximum": MOST_DISCOUNT},
                description="A discount rate a year, such as 0.03; without it, 0.",
            ),
            *PARAMETERS,
        ],
        responses=shapes.CostList,
    )
    def get(self, request: Request) -> Response:
        """What each group's coats cost to put on, keep up and take off, and a year of expected service."""
        from inspections.domain.lasting import service_costs

        asked = self.question()
        as_of, found = service_costs(
            self.organisation, asked.by, asked.as_of, asked.chosen, float(asked.own["discount"] or 0)
        )
        return self.answer(as_of, [one.as_json() for one in found])


class AgeRatesView(Lasting):
    """How often coats fail at each age."""

    row = shapes.AgeRateSerializer

    @extend_schema(operation_id="age_rates", parameters=PARAMETERS, responses=shapes.AgeRateList)
    def get(self, request: Request) -> Response:
        """Each group's failures, years and rate within bands of the coats' age, with exact limits."""
        return self.listed("age-rates")


class LikeAgesView(Lasting):
    """Groups beside each other at like ages."""

    row = shapes.LikeAgesSerializer

    @extend_schema(operation_id="like_ages", parameters=PARAMETERS, responses=shapes.LikeAgesList)
    def get(self, request: Request) -> Response:
        """Each group's failure rate as if all had been watched at the same ages, and over the reference's.

        A coat that was found is watched when it is old, and old coats fail more often: the crude comparison
        beside it compares ages as much as coats. Groups of under five coats are left out.
        """
        return self.listed("like-ages")


class LikeWallsView(Lasting):
    """Groups beside each other on like walls."""

    row = shapes.LikeWallsSerializer

    @extend_schema(operation_id="like_walls", parameters=PARAMETERS, responses=shapes.LikeWallsList)
    def get(self, request: Request) -> Response:
        """How many times as long each group lasts as the reference on walls that are alike.

        Taken out are the wall's masonry and what lies behind it, and the coat's thickness and the wall's
        dampness before it (as a rank among the walls of its house) where they are known of enough coats.
        Groups of under five coats, or without a failure, are left out; the list is empty where two don't
        remain, or over forty do.
        """
        return self.listed("like-walls")


class CoatFatesView(Lasting):
    """What becomes of coats."""

    row = shapes.FateSerializer

    @extend_schema(operation_id="coat_fates", parameters=PARAMETERS, responses=shapes.FateList)
    def get(self, request: Request) -> Response:
        """The shares of each group's coats that at each age have failed, or were taken off sound by plan."""
        return self.listed("coat-fates")


class LifeChecksView(Lasting):
    """How far lives rest on what can't be seen."""

    row = shapes.LifeCheckSerializer

    @extend_schema(operation_id="life_checks", parameters=PARAMETERS, responses=shapes.LifeCheckList)
    def get(self, request: Request) -> Response:
        """Each group's failures and lives as recorded, and found in two other ways.

        As if all that were taken off as planned had failed by then: the bound to what planned removal may
        hide. And from planned visits alone, without those that were made because of the wall's state.
        """
        return self.listed("life-checks")
