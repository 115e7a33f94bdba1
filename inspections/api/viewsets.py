"""The lists of what was seen, and of what follows from it."""

from __future__ import annotations

from django.db.models import QuerySet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_view
from rest_framework.exceptions import NotFound

from inspections.api import filtersets, serializers
from inspections.models import (
    Action,
    Allocation,
    Assessment,
    CalibrationCheck,
    Flag,
    Instrument,
    Load,
    LogSeries,
    LogValue,
    Photo,
    Plan,
    Reading,
    Trial,
    Visit,
)
from inspections.queries.api import log_values
from portfolio.api.base import Listed, Records
from portfolio.api.errors import NOT_FOUND

ENTERED = {"entered_at": ("entered_at",), "changed_at": ("changed_at",)}


class InstrumentViewSet(Records):
    """Meters and gauges, with the limits of their scales."""

    queryset = Instrument.objects.select_related("entered_by")
    serializer_class = serializers.InstrumentSerializer
    filterset_class = filtersets.InstrumentFilters
    orderings = {"code": ("code",), "kind": ("kind", "code"), **ENTERED}
    code_field = "code"


class CalibrationCheckViewSet(Records):
    """What instruments showed when they were held against a known reference."""

    queryset = CalibrationCheck.objects.select_related("instrument", "entered_by")
    serializer_class = serializers.CalibrationCheckSerializer
    filterset_class = filtersets.CalibrationCheckFilters
    orderings = {
        "instrument": ("instrument__code", "checked_on", "reference"),
        "checked_on": ("checked_on",),
        **ENTERED,
    }


class VisitViewSet(Records):
    """One person in one building on one day."""

    queryset = Visit.objects.select_related("building", "person", "entered_by")
    serializer_class = serializers.VisitSerializer
    filterset_class = filtersets.VisitFilters
    orderings = {"day": ("day", "building__code"), "building": ("building__code", "day"), **ENTERED}


class ReadingViewSet(Records):
    """Readings: the value as entered in its unit, and beside it in the canonical one."""

    queryset = Reading.objects.select_related("building", "section", "instrument", "visit", "entered_by")
    serializer_class = serializers.ReadingSerializer
    filterset_class = filtersets.ReadingFilters
    orderings = {
        "taken_at": ("taken_at",),
        "building": ("building__code", "taken_at"),
        "quantity": ("quantity", "taken_at"),
        "canonical_value": ("value",),
        **ENTERED,
    }


class LogSeriesViewSet(Records):
    """The channels of data loggers; the values of one are under its `values/`."""

    queryset = LogSeries.objects.select_related("building", "section", "instrument", "entered_by")
    serializer_class = serializers.LogSeriesSerializer
    filterset_class = filtersets.LogSeriesFilters
    orderings = {"building": ("building__code", "quantity"), "quantity": ("quantity",), **ENTERED}


@extend_schema_view(
    list=extend_schema(
        parameters=[
            OpenApiParameter(
                "series", OpenApiTypes.UUID, OpenApiParameter.PATH, description="The id of the series."
            )
        ]
    )
)
class LogValueViewSet(Listed):
    """What a data logger recorded in one series, in the series' unit."""

    queryset = LogValue.objects.all()
    serializer_class = serializers.LogValueSerializer
    filterset_class = filtersets.LogValueFilters
    orderings = {"at": ("at",)}

    def get_queryset(self) -> QuerySet[LogValue]:
        values = log_values(self.organisation, self.kwargs["series"])
        if values is None:
            raise NotFound(NOT_FOUND)
        return values


class PhotoViewSet(Records):
    """What is known of each photo, without the picture."""

    queryset = Photo.objects.select_related("building", "section", "entered_by")
    serializer_class = serializers.PhotoSerializer
    filterset_class = filtersets.PhotoFilters
    orderings = {"taken_at": ("taken_at",), "building": ("building__code", "taken_at"), **ENTERED}


class TrialViewSet(Records):
    """Questions asked of several sections, each with the outcome that answers it."""

    queryset = Trial.objects.select_related("entered_by")
    serializer_class = serializers.TrialSerializer
    filterset_class = filtersets.TrialFilters
    orderings = {"code": ("code",), **ENTERED}
    code_field = "code"


class AllocationViewSet(Records):
    """Which section has which arm in a trial, and how it came by it."""

    queryset = Allocation.objects.select_related("trial", "section__building", "entered_by")
    serializer_class = serializers.AllocationSerializer
    filterset_class = filtersets.AllocationFilters
    orderings = {
        "trial": ("trial__code", "section__building__code", "section__code"),
        "section": ("section__building__code", "section__code", "trial__code"),
        **ENTERED,
    }


class AssessmentViewSet(Records):
    """What the readings up to a date say of each section; the current one unless a date is asked for."""

    has_revision = False
    queryset = Assessment.objects.select_related("section")
    serializer_class = serializers.AssessmentSerializer
    filterset_class = filtersets.AssessmentFilters
    orderings = {
        "section": ("section__building__code", "section__code", "as_of"),
        "as_of": ("as_of", "section__building__code", "section__code"),
        "trapped_probability": ("trapped_probability",),
        "verdict": ("verdict", "trapped_probability"),
    }


class FlagViewSet(Records):
    """Assessments that somebody must act on, and how they were answered."""

    queryset = Flag.objects.select_related("section__building", "answered_by")
    serializer_class = serializers.FlagSerializer
    filterset_class = filtersets.FlagFilters
    orderings = {
        "opened_on": ("opened_on",),
        "section": ("section__building__code", "section__code", "opened_on"),
    }


class ActionViewSet(Records):
    """What was done about a wall, and when to look whether it worked."""

    queryset = Action.objects.select_related("section__building", "entered_by")
    serializer_class = serializers.ActionSerializer
    filterset_class = filtersets.ActionFilters
    orderings = {
        "done_on": ("done_on",),
        "section": ("section__building__code", "section__code", "done_on"),
        **ENTERED,
    }


class PlanViewSet(Records):
    """When each section, or a house as a whole, is next due to be inspected, and why then."""

    has_revision = False
    queryset = Plan.objects.select_related("building", "section")
    serializer_class = serializers.PlanSerializer
    filterset_class = filtersets.PlanFilters
    orderings = {"due_on": ("due_on",), "building": ("building__code", "due_on")}


class LoadViewSet(Records):
    """Each run of putting records in: who, when, from where, and what came of it."""

    has_revision = False
    queryset = Load.objects.select_related("by")
    serializer_class = serializers.LoadSerializer
    filterset_class = filtersets.LoadFilters
    orderings = {"started_at": ("started_at",)}
