"""Trials of one question taken together, for each question that they ask."""

from __future__ import annotations

from typing import Any

import django_filters.rest_framework as filters
from django.core.exceptions import ValidationError
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from inspections.api.results import WholeResult
from inspections.vocabulary import Quantity
from portfolio.api.base import Base
from portfolio.api.errors import BadParameters
from portfolio.api.filters import EVERYWHERE, Day, Text, Word, refuse_unknown
from portfolio.api.renderers import CsvRenderer

#: What a trial can be decided by.
OUTCOMES = ["affected_area_rate", *Quantity.values]
#: What a row of CSV is of.
ROWS = (
    ("trial", "a trial"),
    ("without", "the pooled effect without this trial"),
    ("together", "the pooled effect"),
    ("one_more_trial", "where the effect of one more trial would lie"),
)


def _unknown(help_text: str = "") -> serializers.FloatField:
    return serializers.FloatField(allow_null=True, help_text=help_text)


class EffectSerializer(WholeResult):
    """The second arm less the first, in the outcome's unit a year, with its 95 % interval."""

    estimate = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()
    p_value = serializers.FloatField()


class PooledEffectSerializer(EffectSerializer):
    """What the fair trials say together, and how unlike they are."""

    trials = serializers.IntegerField()
    between_sd = serializers.FloatField(help_text="Standard deviation of true effects between trials (tau).")
    inconsistency = serializers.FloatField(help_text="Share of the spread that is not chance (I²), 0 to 1.")
    q = serializers.FloatField(help_text="Cochran's.")
    q_df = serializers.IntegerField()
    q_p_value = serializers.FloatField()
    next_low = _unknown("With `next_high`, where 95 in 100 effects of one more trial lie; null for two.")
    next_high = _unknown()
    method = serializers.CharField()


class PooledTrialSerializer(WholeResult):
    """One trial's own effect with its 95 % interval, and whether it counts."""

    trial = serializers.CharField(help_text="The trial's code.")
    sections = serializers.IntegerField(allow_null=True, help_text="With an outcome.")
    estimate = _unknown("The second arm less the first, in the outcome's unit a year.")
    low = _unknown()
    high = _unknown()
    p_value = _unknown()
    error = _unknown("The standard error that it is weighed by.")
    fair = serializers.BooleanField(allow_null=True)
    weight = _unknown("Its share of the pooled effect; null where it is not counted.")
    counted = serializers.BooleanField()
    why_not = serializers.CharField(help_text="Why it is not counted.")


class WithoutSerializer(EffectSerializer):
    """The pooled effect without this trial."""

    trial = serializers.CharField()


class QuestionSerializer(WholeResult):
    """The trials of one outcome and two arms; `pooled` is null under two that count."""

    outcome = serializers.CharField()
    arms = serializers.ListField(child=serializers.CharField(), help_text="Two, sorted.")
    trials = PooledTrialSerializer(many=True)
    pooled = PooledEffectSerializer(allow_null=True)
    without = WithoutSerializer(many=True, help_text="Leaving each out in turn; empty under three.")
    note = serializers.CharField()


class PooledTrialsListSerializer(serializers.Serializer[Any]):
    """All questions, on one page."""

    always_whole = True

    next = serializers.CharField(allow_null=True)
    previous = serializers.CharField(allow_null=True)
    results = QuestionSerializer(many=True)


class ForestRowSerializer(PooledTrialSerializer):
    """A line of CSV, which is a line of the forest plot."""

    outcome = serializers.CharField()
    first_arm = serializers.CharField()
    second_arm = serializers.CharField()
    row = serializers.ChoiceField(ROWS)


FILTERS: dict[str, filters.Filter] = {
    "trial": Text(help_text="The question that this trial asks, by its code."),
    "outcome": Word([(word, word) for word in OUTCOMES], help_text="Questions with this outcome."),
    "arm": Text(help_text="Questions in which this is an arm."),
    "as_of": Day(help_text="From what was known at the end of this day; today if left out."),
}


class PooledTrialsView(Base):
    """Trials of one question taken together."""

    def get_serializer(self) -> WholeResult:
        """The shape of a line of CSV."""
        return ForestRowSerializer()

    @extend_schema(
        operation_id="pooled_trials",
        parameters=[
            OpenApiParameter(
                name,
                OpenApiTypes.DATE if isinstance(one, Day) else OpenApiTypes.STR,
                description=one.extra["help_text"],
                enum=OUTCOMES if isinstance(one, Word) else None,
            )
            for name, one in FILTERS.items()
        ],
        responses=PooledTrialsListSerializer,
    )
    def get(self, request: Request) -> Response:
        """Each trial's effect and the pooled one, how unlike they are, and what was left out and why.

        Fair trials with the same two arms and one outcome are pooled by random effects. As CSV, a row is a
        trial, the pooled effect, that without one trial, or where one more trial would lie.
        """
        # What computes is imported by the first question, so that no other request waits for it.
        from inspections.domain.pooling import pooled_questions

        found = pooled_questions(self.organisation, **_asked(request))
        if request.accepted_renderer.format == CsvRenderer.format:
            return Response({"results": [row for one in found for row in one.rows()]})
        return Response({"next": None, "previous": None, "results": [one.as_json() for one in found]})


def _asked(request: Request) -> dict[str, Any]:
    """What is asked for, or the refusal of all that can't be."""
    refuse_unknown(request, [*FILTERS, *EVERYWHERE])
    asked, errors = {}, {}
    for name, one in FILTERS.items():
        if name in request.query_params:
            try:
                asked[name] = one.field.clean(request.query_params[name])
            except ValidationError as error:
                errors[name] = list(error.messages)
    if errors:
        raise BadParameters(errors)
    return asked
