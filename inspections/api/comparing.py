"""What a trial taught."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.core.exceptions import ValidationError as Invalid
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response

from inspections.analysis.results import CANNOT_TELL, DIFFERENCE, NONE_SHOWN
from inspections.api.results import WholeResult
from inspections.models import Trial
from portfolio import queries
from portfolio.api.base import Base
from portfolio.api.errors import NOT_FOUND, BadParameters
from portfolio.api.filters import EVERYWHERE, Day, refuse_unknown
from portfolio.api.problems import MEDIA_TYPE, ProblemSerializer
from portfolio.api.renderers import Json

CONCLUSIONS = (DIFFERENCE, NONE_SHOWN, CANNOT_TELL)


class ArmSerializer(WholeResult):
    """An arm's sections with an outcome, and their mean with its 95 % interval."""

    arm = serializers.CharField()
    sections = serializers.IntegerField()
    mean = serializers.FloatField(allow_null=True)
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)


class ImbalanceSerializer(WholeResult):
    """How the arms differed before: the second less the first, in standard deviations, with 99 %."""

    quantity = serializers.CharField()
    standardised_difference = serializers.FloatField()
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)


class NeededSerializer(WholeResult):
    """Pairs of sections and years that would show a difference of this size; null: no number would."""

    difference = serializers.FloatField(help_text="In the outcome's unit a year.")
    pairs = serializers.IntegerField(allow_null=True)
    years = serializers.IntegerField()


class ComparisonSerializer(WholeResult):
    """A trial's answer. Of more than two arms there is a p-value, and no estimate."""

    trial = serializers.CharField(help_text="The trial's code.")
    outcome = serializers.CharField()
    as_of = serializers.DateField()
    arms = ArmSerializer(many=True)
    estimate = serializers.FloatField(
        allow_null=True, help_text="The second arm less the first, a year: a share, or in the unit."
    )
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    p_value = serializers.FloatField(allow_null=True)
    smallest_p = serializers.FloatField(help_text="The least p that the clearest outcome could have given.")
    method = serializers.CharField()
    before = ImbalanceSerializer(many=True)
    fair = serializers.BooleanField()
    leans = serializers.CharField(allow_null=True, help_text="The arm that was favoured.")
    conclusion = serializers.ChoiceField([(word, word.replace("_", " ")) for word in CONCLUSIONS])
    needed = NeededSerializer()
    statement = serializers.CharField()


class ComparisonView(Base):
    """What a trial taught."""

    renderer_classes = [Json]

    @extend_schema(
        operation_id="trials_comparison",
        parameters=[
            OpenApiParameter(
                "code", OpenApiTypes.STR, OpenApiParameter.PATH, description="The trial's code or id."
            ),
            OpenApiParameter(
                "as_of",
                OpenApiTypes.DATE,
                description="From what was known at the end of this day; today if left out.",
            ),
        ],
        responses={
            200: ComparisonSerializer,
            (409, MEDIA_TYPE): OpenApiResponse(
                ProblemSerializer, "The trial can't be answered as it was set up; the detail says why."
            ),
        },
    )
    def get(self, request: Request, code: str) -> Response:
        """The difference between a trial's arms after treatment, whether it was fair, and what it tells."""
        # What computes is imported by the first question, so that no other request waits for it.
        from inspections.domain.comparing import compare_trial

        refuse_unknown(request, ["as_of", *EVERYWHERE])
        as_of = day_of(request, "as_of")
        trial: Trial | None = queries.by_key(
            Trial.objects.of(self.organisation).standing(), code, code_field="code"
        )
        if trial is None:
            raise NotFound(NOT_FOUND)
        result: dict[str, Any] = compare_trial(trial, as_of=as_of).as_json()
        return Response(result)


def day_of(request: Request, name: str) -> dt.date | None:
    """The day that a parameter names, if it is given."""
    try:
        day: dt.date | None = Day().field.clean(request.query_params.get(name) or None)
    except Invalid as error:
        raise BadParameters({name: list(error.messages)}) from error
    return day
