"""The shape of an assessment's result, for the description and for the columns of CSV.

The result itself is given as it was stored: nothing is computed or rounded on the way out.
"""

from __future__ import annotations

from typing import Any, ClassVar

from rest_framework import serializers

from inspections.vocabulary import Verdict

HYPOTHESES = [word for word in Verdict.values if word != Verdict.INSUFFICIENT_DATA]


class WholeResult(serializers.Serializer[Any]):
    """Every result holds every field; what is unknown is null."""

    always_whole: ClassVar[bool] = True


def _probability() -> serializers.FloatField:
    return serializers.FloatField(min_value=0, max_value=1)


class ProbabilitySerializer(WholeResult):
    """Of every verdict but insufficient_data; they sum to 1."""

    trapped_water = _probability()
    water_entry = _probability()
    condensation = _probability()
    surface_wear = _probability()
    drying_out = _probability()
    stable = _probability()


class LogOddsSerializer(WholeResult):
    """The prior and the weights of the evidence add up to the total, after calibration."""

    against = serializers.ChoiceField(HYPOTHESES, help_text="The runner-up.")
    prior = serializers.FloatField()
    total = serializers.FloatField(help_text="Natural log of the verdict's probability over the runner-up's.")


class EvidenceSerializer(WholeResult):
    """What was seen, and what it added to the log-odds."""

    quantity = serializers.CharField()
    weight = serializers.FloatField()
    statement = serializers.CharField()


class TrendSerializer(WholeResult):
    """A rate in the unit a year, with its 95 % interval and the count of readings."""

    rate_per_year = serializers.FloatField(allow_null=True)
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    p_value = serializers.FloatField(allow_null=True)
    readings = serializers.IntegerField()
    first = serializers.DateField()
    last = serializers.DateField()
    unit = serializers.CharField()
    method = serializers.CharField()


class ForecastSerializer(WholeResult):
    """When the threshold is expected to be reached; null: not within the time looked ahead."""

    quantity = serializers.CharField()
    threshold = serializers.FloatField()
    expected = serializers.DateField(allow_null=True)
    early = serializers.DateField(allow_null=True)
    late = serializers.DateField(allow_null=True)


class AdviceSerializer(WholeResult):
    """What to read next, and why."""

    quantity = serializers.CharField()
    reason = serializers.CharField()


class ResultSerializer(WholeResult):
    """What the readings up to a date say of one section."""

    building = serializers.CharField(help_text="The building's code.")
    section = serializers.CharField(help_text="The section's code.")
    as_of = serializers.DateField()
    verdict = serializers.ChoiceField(Verdict.choices)
    probability = ProbabilitySerializer()
    log_odds = LogOddsSerializer()
    since = serializers.DateField(allow_null=True, help_text="The estimated onset.")
    evidence = EvidenceSerializer(many=True)
    trends = serializers.DictField(child=TrendSerializer(), help_text="By quantity.")
    forecast = ForecastSerializer(allow_null=True)
    advice = AdviceSerializer(many=True)
    next_inspection = serializers.DateField(allow_null=True)


class LookSerializer(WholeResult):
    """What would have been said of a section at the end of a past day."""

    as_of = serializers.DateField()
    verdict = serializers.ChoiceField(Verdict.choices)
    probability = ProbabilitySerializer()


class FollowUpSerializer(WholeResult):
    """What the readings say of some work: the change of one quantity, with its 95 % interval."""

    outcome = serializers.ChoiceField(["worked", "not_shown", "worse", "too_few"])
    quantity = serializers.CharField(help_text="The one that decides; empty where none was read.")
    unit = serializers.CharField()
    change = serializers.FloatField(
        allow_null=True, help_text="The level after the work less the level before it."
    )
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    visits_before = serializers.IntegerField()
    visits_after = serializers.IntegerField()
    method = serializers.CharField()
    statement = serializers.CharField()
