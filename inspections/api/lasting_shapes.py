"""The shapes of what lasts, for the description and for the columns of CSV."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from inspections.api.results import WholeResult


class IntervalSerializer(WholeResult):
    """An estimate with its 95 % interval; null where there is none, or an end is not reached."""

    estimate = serializers.FloatField(allow_null=True)
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)


class FailureRateSerializer(WholeResult):
    """Failures per 100 section-years, with exact 95 % limits."""

    per_100_section_years = serializers.FloatField(allow_null=True)
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)


class SurvivalPointSerializer(WholeResult):
    """The share of coats that last longer than so many years."""

    years = serializers.FloatField()
    survival = serializers.FloatField()
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)


class MedianLifeSerializer(WholeResult):
    """The age that half of the coats outlive; null: not reached."""

    years = serializers.FloatField(allow_null=True)
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)


class WeibullSerializer(WholeResult):
    """S(t) = exp(-(t / scale) ** shape), scale and median in years."""

    shape = IntervalSerializer()
    scale = IntervalSerializer()
    median = IntervalSerializer(help_text="By this curve; `median_life` supposes none.")


def _group() -> serializers.DictField:
    child = serializers.CharField(allow_null=True)
    return serializers.DictField(child=child, help_text="By field; null where it is not given.")


class GroupRatesSerializer(WholeResult):
    """The coats of one group. Under five, the numbers that would rest on them are null or empty."""

    group = _group()
    coats = serializers.IntegerField(help_text="That were at risk.")
    section_years = serializers.FloatField(help_text="At risk, up to the middle of a failure's interval.")
    failures = serializers.IntegerField()
    rate = FailureRateSerializer()
    survival = SurvivalPointSerializer(many=True)
    median_life = MedianLifeSerializer()
    weibull = WeibullSerializer()
    note = serializers.CharField()


class GroupTestSerializer(WholeResult):
    """Whether all groups fail alike."""

    statistic = serializers.FloatField(allow_null=True)
    df = serializers.IntegerField()
    p_value = serializers.FloatField(allow_null=True)
    method = serializers.CharField()


class FailureRatesSerializer(WholeResult):
    """Every group's failures, and whether the groups differ."""

    as_of = serializers.DateField()
    threshold = serializers.FloatField(help_text="The affected share at which a coat has failed.")
    groups = GroupRatesSerializer(many=True)
    test = GroupTestSerializer()


class SurvivalSerializer(WholeResult):
    """One age of one group's survival curve. Of a group of under five coats there is no curve."""

    group = _group()
    coats = serializers.IntegerField()
    failures = serializers.IntegerField()
    years = serializers.FloatField()
    survival = serializers.FloatField()
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)


class LossSerializer(WholeResult):
    """How fast the coats of one group lose area: the share that comes loose or falls in a year."""

    group = _group()
    coats = serializers.IntegerField(help_text="That were surveyed in full.")
    section_years = serializers.FloatField(help_text="Between the first and the last full survey.")
    rate_per_year = IntervalSerializer()
    unit = serializers.CharField()
    method = serializers.CharField()
    note = serializers.CharField()


class CostSerializer(WholeResult):
    """What the coats of one group cost in one currency, as it was paid; never changed into other money."""

    group = _group()
    currency = serializers.CharField(allow_null=True)
    first_year = serializers.IntegerField(help_text="The first year of the money.")
    last_year = serializers.IntegerField()
    coats = serializers.IntegerField(help_text="With a cost and an area written down.")
    area_m2 = serializers.FloatField()
    discount = serializers.FloatField(help_text="The rate a year that was asked for.")
    installed = IntervalSerializer(help_text="For each m².")
    upkeep = IntervalSerializer(help_text="For each m² and year in place.")
    removed = IntervalSerializer(help_text="For each m².")
    expected_years = IntervalSerializer(help_text="The mean life by the Weibull fit.")
    per_year = IntervalSerializer(help_text="For each m² and year of expected service.")
    note = serializers.CharField()


def _whole_list(of: type[WholeResult]) -> type[serializers.Serializer[Any]]:
    """A list's shape; these lists have one page."""
    name = of.__name__.removesuffix("Serializer") + "List"
    fields = {
        "always_whole": True,
        "__doc__": "All rows, on one page.",
        "as_of": serializers.DateField(),
        "next": serializers.CharField(allow_null=True),
        "previous": serializers.CharField(allow_null=True),
        "results": of(many=True),
    }
    return type(f"{name}Serializer", (serializers.Serializer,), fields)


SurvivalList, LossList, CostList = map(_whole_list, (SurvivalSerializer, LossSerializer, CostSerializer))
