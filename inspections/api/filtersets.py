"""What each list of what was seen can be asked for."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet

from inspections.queries.api import CENSORED, LIVE
from inspections.vocabulary import (
    ActionKind,
    AllocatedBy,
    FlagState,
    InstrumentKind,
    Quantity,
    Unit,
    Verdict,
    VisitReason,
)
from portfolio.api.filters import (
    TRUE,
    Day,
    Filters,
    Identifier,
    Moment,
    Number,
    OfBuilding,
    OfSection,
    RecordFilters,
    Text,
    Whole,
    Word,
    YesNo,
    span,
)

#: The description's words for a censored reading.
QUALIFIERS = [("<", "below"), (">", "above")]


class OfInstrument(Filters):
    """For what was read with an instrument."""

    instrument = Text(field_name="instrument__code", help_text="The instrument's code.")
    instrument_id = Identifier(field_name="instrument_id")


class InstrumentFilters(RecordFilters):
    code = Text()
    kind = Word(InstrumentKind.choices)
    scale = Word(Unit.choices)


class CalibrationCheckFilters(OfInstrument, RecordFilters):
    checked_on = Day()
    checked_after, checked_before = span(Day, "checked_on")


class VisitFilters(RecordFilters):
    building = Text(field_name="building__code", help_text="The building's code.")
    building_id = Identifier(field_name="building_id")
    day = Day()
    day_after, day_before = span(Day, "day")
    inspector = Text()
    person = Text(field_name="person__username")
    reason = Word(VisitReason.choices)


class ReadingFilters(OfBuilding, OfInstrument, RecordFilters):
    quantity = Word(Quantity.choices)
    unit = Word(Unit.choices)
    qualifier = Word(QUALIFIERS)
    censored = YesNo(method="filter_censored", help_text="Whether the scale had ended.")
    point = Text()
    replicate = Whole()
    height_mm = Number()
    depth_mm = Number()
    visit_id = Identifier(field_name="visit_id")
    inspector = Text(field_name="visit__inspector")
    taken_after, taken_before = span(Moment, "taken_at")
    min_canonical_value = Number(field_name="value", lookup_expr="gte")
    max_canonical_value = Number(field_name="value", lookup_expr="lte")

    def filter_censored(self, queryset: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        return queryset.filter(CENSORED) if value == TRUE else queryset.exclude(CENSORED)


class LogSeriesFilters(OfBuilding, OfInstrument, RecordFilters):
    quantity = Word(Quantity.choices)
    unit = Word(Unit.choices)
    point = Text()


class LogValueFilters(Filters):
    at_after, at_before = span(Moment, "at")
    min_value = Number(field_name="value", lookup_expr="gte")
    max_value = Number(field_name="value", lookup_expr="lte")


class PhotoFilters(OfBuilding, RecordFilters):
    visit_id = Identifier(field_name="visit_id")
    sha256 = Text()
    taken_after, taken_before = span(Moment, "taken_at")


class TrialFilters(RecordFilters):
    code = Text()
    outcome = Text()
    started_after, started_before = span(Day, "started_on")
    planned_end_after, planned_end_before = span(Day, "planned_end_on")


class AllocationFilters(OfSection, RecordFilters):
    trial = Text(field_name="trial__code", help_text="The trial's code.")
    trial_id = Identifier(field_name="trial_id")
    arm = Text()
    block = Text()
    allocated_by = Word(AllocatedBy.choices)


class ReplayFilters(OfSection):
    model_version = Text()


class AssessmentFilters(OfSection):
    """Each section's current assessment, unless a date, an id or `current` asks for others."""

    #: Any of these asks for stored assessments of other dates too.
    LOOKING_BACK = ("as_of", "as_of_after", "as_of_before", "current")

    verdict = Word(Verdict.choices)
    as_of = Day(help_text="Stored assessments of that date.")
    as_of_after, as_of_before = span(Day, "as_of")
    current = YesNo(help_text="Without it and without a date: only each section's current one.")
    min_trapped_probability = Number(
        field_name="trapped_probability", lookup_expr="gte", min_value=0, max_value=1
    )
    next_inspection_after, next_inspection_before = span(Day, "next_inspection")
    since_after, since_before = span(Day, "since")
    model_version = Text()

    def filter_queryset(self, queryset: QuerySet[Any]) -> QuerySet[Any]:
        found = super().filter_queryset(queryset)
        asked = any(self.form.cleaned_data.get(name) for name in self.LOOKING_BACK)
        return found if asked else found.filter(current=True)


class FlagFilters(OfSection):
    verdict = Word(Verdict.choices)
    state = Word(FlagState.choices)
    live = YesNo(method="filter_live", help_text="Whether it still waits for somebody.")
    opened_after, opened_before = span(Day, "opened_on")
    closed_after, closed_before = span(Day, "closed_on")

    def filter_live(self, queryset: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        return queryset.filter(LIVE) if value == TRUE else queryset.exclude(LIVE)


class ActionFilters(OfSection, RecordFilters):
    kind = Word(ActionKind.choices)
    flag_id = Identifier(field_name="flag_id")
    done_after, done_before = span(Day, "done_on")
    follow_up_after, follow_up_before = span(Day, "follow_up_on")


class LoadFilters(Filters):
    by = Text(field_name="by__username")
    started_after, started_before = span(Moment, "started_at")
