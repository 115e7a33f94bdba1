"""What walls that were opened to look say of the verdicts, and which to open next."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from inspections.api.results import WholeResult
from portfolio.api.base import Base
from portfolio.api.filters import EVERYWHERE, refuse_unknown
from portfolio.api.renderers import Json


class ShareSerializer(WholeResult):
    """A share with its 95 % interval."""

    value = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()


class MovedSerializer(WholeResult):
    """A number with its 95 % interval."""

    value = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()


class RecalibrationSerializer(WholeResult):
    """What the openings change: log-odds x of trapped water become x + shift + (slope - 1) (x - log-odds of
    the call)."""

    in_effect = serializers.BooleanField(help_text="Whether any probability is moved.")
    least = serializers.IntegerField(help_text="Fewer openings than this change nothing.")
    openings = serializers.IntegerField(help_text="Those that tell.")
    held = serializers.IntegerField(help_text="Of them, those that held water.")
    expected = serializers.FloatField(help_text="How many the model alone promised.")
    shift = MovedSerializer(help_text="In log-odds, with its 95 % interval.")
    slope = MovedSerializer(help_text="With its 95 % interval.")


class OpenedSerializer(WholeResult):
    """One opening that tells: the probability of trapped water given before, and what was found."""

    building = serializers.CharField(help_text="The building's code.")
    section = serializers.CharField(help_text="The section's code.")
    section_id = serializers.UUIDField()
    opened_on = serializers.DateField()
    probability = serializers.FloatField()
    held = serializers.BooleanField(help_text="Whether the wall held water.")


class WorthOpeningSerializer(WholeResult):
    """A wall to open: drawn at random, or because most is learnt of it."""

    building = serializers.CharField(help_text="The building's code.")
    section = serializers.CharField(help_text="The section's code.")
    section_id = serializers.UUIDField()
    probability = serializers.FloatField()
    at_random = serializers.BooleanField()


class OpeningLedgerSerializer(WholeResult):
    """Shares are null where too few walls were opened to say."""

    opened = serializers.IntegerField()
    called = serializers.IntegerField(help_text="Of them, those that had been called trapped water.")
    held = serializers.IntegerField(help_text="Of them, those that held water.")
    expected = serializers.FloatField(help_text="How many the probabilities given before promised.")
    sensitivity = ShareSerializer(
        allow_null=True, help_text="Of the walls that hold water, the share that is called."
    )
    false_calls = ShareSerializer(
        allow_null=True, help_text="Of the walls that hold none, the share that is called all the same."
    )
    recalibration = RecalibrationSerializer(help_text="What they change in the probabilities.")
    openings = OpenedSerializer(many=True)
    not_counted = serializers.IntegerField(
        help_text="Openings in which nothing was measured, or of walls not looked at before."
    )
    suggestions = WorthOpeningSerializer(many=True)


class OpeningLedgerView(Base):
    """The opening ledger."""

    renderer_classes = [Json]

    @extend_schema(operation_id="opening_ledger", responses=OpeningLedgerSerializer)
    def get(self, request: Request) -> Response:
        """What opened walls say of the verdicts, weighted by how they were chosen, and which to open next."""
        # What computes is imported by the first question, so that no other request waits for it.
        from inspections.domain.openings import opening_ledger

        refuse_unknown(request, EVERYWHERE)
        found: dict[str, Any] = opening_ledger(self.organisation, timezone.localdate()).as_json()
        return Response(found)
