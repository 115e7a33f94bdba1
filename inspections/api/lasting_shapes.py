"""The shapes of what lasts, for the description and for the columns of CSV."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from inspections.api.results import WholeResult

#: The ways in which lives are found beside the recorded one.
CASES = {
    "as_recorded": "as recorded",
    "removals_failed": "as if all that were taken off as planned had failed by then",
    "planned_visits": "from planned visits alone",
}


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


class AgeRateSerializer(WholeResult):
    """How often the coats of one group fail at the ages of one band."""

    group = _group()
    from_years = serializers.FloatField()
    to_years = serializers.FloatField(allow_null=True, help_text="null: any older.")
    coats = serializers.IntegerField(help_text="That were watched at these ages. Under five tell no rate.")
    section_years = serializers.FloatField(help_text="Up to where each failure is expected.")
    failures = serializers.FloatField(
        help_text="A failure whose interval spans two bands counts in each by a share."
    )
    rate = FailureRateSerializer()
    note = serializers.CharField()


class LikeAgesSerializer(WholeResult):
    """One group's failures as if all groups had been watched at the same ages."""

    group = _group()
    reference = serializers.DictField(
        child=serializers.CharField(allow_null=True), help_text="The group that the others are set beside."
    )
    coats = serializers.IntegerField()
    failures = serializers.IntegerField()
    rate = FailureRateSerializer(
        help_text="Per 100 section-years, standardised to the ages at which all coats were watched."
    )
    times_as_often = IntervalSerializer(
        help_text="The rate over the reference's at like ages; all null for the reference itself."
    )
    crude = IntervalSerializer(help_text="The same without regard to age.")
    method = serializers.CharField()
    note = serializers.CharField()


class LikeWallsSerializer(WholeResult):
    """How many times as long one group lasts as another, on walls that are alike."""

    group = _group()
    reference = serializers.DictField(
        child=serializers.CharField(allow_null=True), help_text="The group that the others are set beside."
    )
    coats = serializers.IntegerField()
    failures = serializers.IntegerField()
    times_as_long = IntervalSerializer(
        help_text="What was known of the walls taken out; all null for the reference itself."
    )
    crude = IntervalSerializer(help_text="With nothing taken out.")
    p_value = serializers.FloatField(allow_null=True)
    taken_out = serializers.ListField(child=serializers.CharField())
    known = serializers.JSONField(help_text="Of how many coats a measure is known that is not known of all.")
    left_out = serializers.JSONField(help_text="Which measure was not taken out, and why.")
    statement = serializers.CharField()
    method = serializers.CharField()


class FateSerializer(WholeResult):
    """What has become of one group's coats at one age."""

    group = _group()
    coats = serializers.IntegerField()
    failures = serializers.IntegerField()
    removals = serializers.IntegerField(
        help_text="Taken off while sound, as planned or with no reason given."
    )
    years = serializers.FloatField()
    failed = IntervalSerializer(help_text="The share that failed before anybody took it off.")
    taken_off = IntervalSerializer(help_text="The share that was taken off before it failed.")
    sound = IntervalSerializer()


class LifeCheckSerializer(WholeResult):
    """One group's failures, found in another way than as recorded."""

    group = _group()
    case = serializers.ChoiceField(choices=list(CASES.items()))
    coats = serializers.IntegerField()
    section_years = serializers.FloatField()
    failures = serializers.IntegerField()
    rate = FailureRateSerializer()
    median_life = MedianLifeSerializer()
    weibull = WeibullSerializer()
    touched = serializers.IntegerField(
        help_text="How many coats are taken to have failed, or how many readings are left out."
    )
    times_as_long = IntervalSerializer(help_text="The Weibull median over that as recorded.")
    differs = serializers.BooleanField(
        allow_null=True, help_text="Whether planned visits alone tell another life beyond error."
    )
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
AgeRateList, LikeAgesList, LikeWallsList = map(
    _whole_list, (AgeRateSerializer, LikeAgesSerializer, LikeWallsSerializer)
)
FateList, LifeCheckList = map(_whole_list, (FateSerializer, LifeCheckSerializer))
