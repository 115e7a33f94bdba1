"""How what stands there is given: natural codes beside ids, names as in the record files."""

from __future__ import annotations

from typing import Any, ClassVar

from rest_framework import serializers

from portfolio.models import Building, Change, Event, Membership, Organisation, Section, Treatment

#: What every record says of its own keeping, after what it says of the wall.
KEPT = ("entered_at", "entered_by", "changed_at", "revision", "voided_at", "void_reason")


# Comments rather than docstrings, which every serializer's own description would inherit.
# Every answer holds every field; what is unknown is null or empty.
class WholeSerializer(serializers.ModelSerializer[Any]):
    always_whole: ClassVar[bool] = True


# A record that people enter.
class RecordSerializer(WholeSerializer):
    entered_by = serializers.CharField(
        source="entered_by.username", read_only=True, default=None, allow_null=True
    )


def code_of(source: str) -> serializers.CharField:
    """The code of what a record belongs to."""
    return serializers.CharField(source=f"{source}.code", read_only=True)


def code_or_null(source: str) -> serializers.CharField:
    """The code of what a record may belong to."""
    return serializers.CharField(source=f"{source}.code", read_only=True, default=None, allow_null=True)


def id_of(source: str | None = None) -> serializers.UUIDField:
    """The id of what a record belongs to."""
    return serializers.UUIDField(source=source, read_only=True)


def id_or_null(source: str | None = None) -> serializers.UUIDField:
    """The id of what a record may belong to."""
    return serializers.UUIDField(source=source, read_only=True, allow_null=True)


def username_or_null(source: str) -> serializers.CharField:
    """Who it was, where that is known."""
    return serializers.CharField(source=f"{source}.username", read_only=True, default=None, allow_null=True)


class OrganisationSerializer(WholeSerializer):
    class Meta:
        model = Organisation
        fields = ("id", "slug", "name", "is_invented", "failure_threshold", "entered_at")


class MembershipSerializer(WholeSerializer):
    organisation = serializers.CharField(source="organisation.slug", read_only=True)
    organisation_id = id_of()
    user = serializers.CharField(source="user.username", read_only=True)
    user_id = id_of()

    class Meta:
        model = Membership
        fields = ("id", "organisation", "organisation_id", "user", "user_id", "role")


class BuildingSerializer(RecordSerializer):
    class Meta:
        model = Building
        fields = (
            "id",
            "code",
            "name",
            "street",
            "locality",
            "region",
            "postal_code",
            "country",
            "timezone",
            "year_built",
            *KEPT,
        )


class SectionSerializer(RecordSerializer):
    building = code_of("building")
    building_id = id_of()

    class Meta:
        model = Section
        fields = (
            "id",
            "building",
            "building_id",
            "code",
            "wall",
            "start_m",
            "length_m",
            "height_m",
            "below_grade_m",
            "substrate",
            "bedding_mortar",
            "adjoins",
            "beyond",
            *KEPT,
        )


class TreatmentSerializer(RecordSerializer):
    building = code_of("section.building")
    building_id = id_of("section.building_id")
    section = code_of("section")
    section_id = id_of()

    class Meta:
        model = Treatment
        fields = (
            "id",
            "building",
            "building_id",
            "section",
            "section_id",
            "layer",
            "applied_on",
            "kind",
            "binder",
            "mix",
            "thickness_mm",
            "removed_on",
            "removal_reason",
            "mu",
            "sd_m",
            "applied_earliest",
            "found",
            "face",
            "area_m2",
            "purpose",
            "drains_to",
            "strength_mpa",
            "applied_by",
            "cost",
            "currency",
            *KEPT,
        )


class EventSerializer(RecordSerializer):
    building = code_of("building")
    building_id = id_of()
    section = code_or_null("section")
    section_id = id_or_null()

    class Meta:
        model = Event
        fields = (
            "id",
            "building",
            "building_id",
            "section",
            "section_id",
            "happened_on",
            "kind",
            "layer",
            "area_m2",
            "cost",
            "currency",
            "note",
            *KEPT,
        )


class ChangeSerializer(WholeSerializer):
    by = username_or_null("by")

    class Meta:
        model = Change
        fields = ("id", "at", "by", "model", "record_id", "fields", "reason")
