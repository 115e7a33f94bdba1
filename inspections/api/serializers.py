"""How what was seen, and what follows from it, is given: names as in the record files."""

from __future__ import annotations

from rest_framework import serializers

from inspections.api.results import LookSerializer, ResultSerializer
from inspections.models import (
    Action,
    Allocation,
    CalibrationCheck,
    Flag,
    Instrument,
    Load,
    LogSeries,
    LogValue,
    Photo,
    Reading,
    Replay,
    Trial,
    Visit,
)
from inspections.queries.api import canonical_unit
from portfolio.api.columns import FromColumns, Spread
from portfolio.api.serializers import (
    KEPT,
    RecordSerializer,
    WholeSerializer,
    code_of,
    code_or_null,
    id_of,
    id_or_null,
    username_or_null,
)

#: Where something is: its building, and its section if it has one.
PLACE = ("building", "building_id", "section", "section_id")


class InstrumentSerializer(RecordSerializer):
    class Meta:
        model = Instrument
        fields = ("id", "code", "kind", "scale", "minimum", "maximum", "resolution", "repeatability", *KEPT)


class CalibrationCheckSerializer(RecordSerializer):
    instrument = code_of("instrument")
    instrument_id = id_of()

    class Meta:
        model = CalibrationCheck
        fields = (
            "id",
            "instrument",
            "instrument_id",
            "checked_on",
            "reference",
            "shown",
            "against",
            "note",
            *KEPT,
        )


class VisitSerializer(RecordSerializer):
    building = code_of("building")
    building_id = id_of()
    person = username_or_null("person")

    class Meta:
        model = Visit
        fields = ("id", "building", "building_id", "day", "inspector", "person", "reason", "note", *KEPT)


class ReadingSerializer(RecordSerializer):
    building = code_of("building")
    building_id = id_of()
    section = code_or_null("section")
    section_id = id_or_null()
    instrument = code_or_null("instrument")
    instrument_id = id_or_null()
    visit_id = id_of()
    inspector = serializers.CharField(source="visit.inspector", read_only=True)
    value = serializers.FloatField(source="entered_value", help_text="As entered, in `unit`.")
    entered_value = serializers.CharField(help_text="The value as it was written.")
    canonical_value = serializers.FloatField(
        source="value", help_text="In `canonical_unit`; a moisture meter's own scale is kept."
    )
    canonical_unit = FromColumns(canonical_unit, "quantity", "unit")

    class Meta:
        model = Reading
        fields = (
            "id",
            *PLACE,
            "taken_at",
            "quantity",
            "height_mm",
            "depth_mm",
            "instrument",
            "instrument_id",
            "value",
            "unit",
            "qualifier",
            "entered_value",
            "canonical_value",
            "canonical_unit",
            "visit_id",
            "inspector",
            "note",
            "point",
            "replicate",
            "duration_h",
            *KEPT,
        )


class LogSeriesSerializer(RecordSerializer):
    building = code_of("building")
    building_id = id_of()
    section = code_or_null("section")
    section_id = id_or_null()
    instrument = code_or_null("instrument")
    instrument_id = id_or_null()

    class Meta:
        model = LogSeries
        fields = (
            "id",
            *PLACE,
            "quantity",
            "unit",
            "height_mm",
            "depth_mm",
            "instrument",
            "instrument_id",
            "point",
            "source",
            *KEPT,
        )


class LogValueSerializer(WholeSerializer):
    class Meta:
        model = LogValue
        fields = ("at", "value")


class PhotoSerializer(RecordSerializer):
    building = code_of("building")
    building_id = id_of()
    section = code_or_null("section")
    section_id = id_or_null()
    visit_id = id_or_null()

    class Meta:
        model = Photo
        fields = (
            "id",
            *PLACE,
            "visit_id",
            "taken_at",
            "sha256",
            "content_type",
            "width",
            "height",
            "bytes",
            "caption",
            *KEPT,
        )


class TrialSerializer(RecordSerializer):
    class Meta:
        model = Trial
        fields = ("id", "code", "question", "outcome", "started_on", "planned_end_on", *KEPT)


class AllocationSerializer(RecordSerializer):
    trial = code_of("trial")
    trial_id = id_of()
    building = code_of("section.building")
    building_id = id_of("section.building_id")
    section = code_of("section")
    section_id = id_of()

    class Meta:
        model = Allocation
        fields = (
            "id",
            "trial",
            "trial_id",
            *PLACE,
            "arm",
            "allocated_by",
            "block",
            "sequence",
            "note",
            *KEPT,
        )


class AssessmentSerializer(Spread, ResultSerializer):
    """The stored result as it is, and by which version of the model it was made."""

    id = serializers.UUIDField()
    building_id = id_of("section.building_id")
    section_id = id_of()
    model_version = serializers.CharField()
    made_at = serializers.DateTimeField()
    current = serializers.BooleanField(help_text="The section's latest.")

    spread = "result"
    own = ("id", "building_id", "section_id", "model_version", "made_at", "current")


class ReplaySerializer(WholeSerializer):
    building = code_of("section.building")
    building_id = id_of("section.building_id")
    section = code_of("section")
    section_id = id_of()
    looks = LookSerializer(many=True, help_text="In time, one for each round of visits to the house.")

    class Meta:
        model = Replay
        fields = ("id", *PLACE, "made_at", "model_version", "readings", "entered_later", "looks")


class FlagSerializer(WholeSerializer):
    building = code_of("section.building")
    building_id = id_of("section.building_id")
    section = code_of("section")
    section_id = id_of()
    opened_by_id = id_or_null()
    answered_by = username_or_null("answered_by")

    class Meta:
        model = Flag
        fields = (
            "id",
            *PLACE,
            "verdict",
            "state",
            "opened_on",
            "opened_by_id",
            "answered_at",
            "answered_by",
            "reason",
            "closed_on",
            "revision",
        )


class ActionSerializer(RecordSerializer):
    building = code_of("section.building")
    building_id = id_of("section.building_id")
    section = code_of("section")
    section_id = id_of()
    flag_id = id_or_null()
    photo_id = id_or_null()

    class Meta:
        model = Action
        fields = (
            "id",
            *PLACE,
            "flag_id",
            "kind",
            "done_on",
            "cost",
            "currency",
            "photo_id",
            "follow_up_on",
            "outcome",
            "note",
            *KEPT,
        )


class LoadSerializer(WholeSerializer):
    by = username_or_null("by")
    counts = serializers.DictField(help_text="Rows by file, and what became of them.")

    class Meta:
        model = Load
        fields = ("id", "by", "started_at", "ended_at", "source", "counts")
