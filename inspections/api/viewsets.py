"""The lists of what was seen, and of what follows from it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_view
from rest_framework.decorators import action
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response

from inspections.api import filtersets, serializers
from inspections.api.entering import Entered
from inspections.api.results import FollowUpSerializer
from inspections.api.rows import CountsSerializer, refused_rows
from inspections.api.shapes import LOG_VALUES_SCHEMA, rows_schema
from inspections.domain.answers import acknowledge_flag, confirm_flag, dismiss_flag
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
    Reading,
    Replay,
    Trial,
    Visit,
)
from inspections.queries.api import log_series, log_values
from inspections.records.bulk import MOST_ROWS, enter_log_values, enter_readings
from inspections.records.further import ACTIONS, CALIBRATION_CHECKS, LOG_SERIES, VISITS
from inspections.records.tables import ALLOCATIONS, INSTRUMENTS, READINGS, TRIALS
from portfolio.api.base import Listed, Records
from portfolio.api.errors import NOT_FOUND
from portfolio.api.filters import EVERYWHERE, refuse_unknown
from portfolio.api.payloads import NoShape, ReasonShape, rows_of

ENTERED = {"entered_at": ("entered_at",), "changed_at": ("changed_at",)}


class InstrumentViewSet(Entered):
    """Meters and gauges, with the limits of their scales."""

    table = INSTRUMENTS
    queryset = Instrument.objects.select_related("entered_by")
    serializer_class = serializers.InstrumentSerializer
    filterset_class = filtersets.InstrumentFilters
    orderings = {"code": ("code",), "kind": ("kind", "code"), **ENTERED}
    code_field = "code"


class CalibrationCheckViewSet(Entered):
    """What instruments showed when they were held against a known reference."""

    table = CALIBRATION_CHECKS
    queryset = CalibrationCheck.objects.select_related("instrument", "entered_by")
    serializer_class = serializers.CalibrationCheckSerializer
    filterset_class = filtersets.CalibrationCheckFilters
    orderings = {
        "instrument": ("instrument__code", "checked_on", "reference"),
        "checked_on": ("checked_on",),
        **ENTERED,
    }


class VisitViewSet(Entered):
    """One person in one building on one day."""

    table = VISITS
    queryset = Visit.objects.select_related("building", "person", "entered_by")
    serializer_class = serializers.VisitSerializer
    filterset_class = filtersets.VisitFilters
    orderings = {"day": ("day", "building__code"), "building": ("building__code", "day"), **ENTERED}


class ReadingViewSet(Entered):
    """Readings: the value as entered in its unit, and beside it in the canonical one."""

    table = READINGS
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
    indexed_ordering = "taken_at"

    @extend_schema(
        request={"application/json": rows_schema(READINGS, MOST_ROWS)}, responses={200: CountsSerializer}
    )
    @action(detail=False, methods=["post"])
    def bulk(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Enter many readings, with the columns of `readings.csv`: all or nothing.

        A row whose key stands already corrects that reading; the same rows again change nothing.
        """
        refuse_unknown(request, EVERYWHERE)
        rows = rows_of(request.data, MOST_ROWS)
        with refused_rows():
            counts = enter_readings(organisation=self.organisation, user=self.user, rows=rows)
        return Response(CountsSerializer(counts).data)


class LogSeriesViewSet(Entered):
    """The channels of data loggers; the values of one are under its `values/`."""

    table = LOG_SERIES
    queryset = LogSeries.objects.select_related("building", "section", "instrument", "entered_by")
    serializer_class = serializers.LogSeriesSerializer
    filterset_class = filtersets.LogSeriesFilters
    orderings = {"building": ("building__code", "quantity"), "quantity": ("quantity",), **ENTERED}


OF_SERIES = OpenApiParameter(
    "series", OpenApiTypes.UUID, OpenApiParameter.PATH, description="The id of the series."
)


@extend_schema_view(
    list=extend_schema(parameters=[OF_SERIES]),
    create=extend_schema(
        parameters=[OF_SERIES],
        request={"application/json": LOG_VALUES_SCHEMA},
        responses={200: CountsSerializer},
    ),
)
class LogValueViewSet(Listed):
    """What a data logger recorded in one series, in the series' unit."""

    queryset = LogValue.objects.all()
    serializer_class = serializers.LogValueSerializer
    filterset_class = filtersets.LogValueFilters
    orderings = {"at": ("at",)}

    def get_queryset(self) -> QuerySet[LogValue]:
        return log_values(self._series())

    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Enter values of a series: all or nothing. The same again changes nothing."""
        refuse_unknown(request, EVERYWHERE)
        series = self._series()
        rows = rows_of(request.data, MOST_ROWS)
        with refused_rows():
            counts = enter_log_values(series=series, rows=rows)
        return Response(CountsSerializer(counts).data)

    def _series(self) -> LogSeries:
        series = log_series(self.organisation, self.kwargs["series"])
        if series is None:
            raise NotFound(NOT_FOUND)
        return series


class TrialViewSet(Entered):
    """Questions asked of several sections, each with the outcome that answers it."""

    table = TRIALS
    queryset = Trial.objects.select_related("entered_by")
    serializer_class = serializers.TrialSerializer
    filterset_class = filtersets.TrialFilters
    orderings = {"code": ("code",), **ENTERED}
    code_field = "code"


class AllocationViewSet(Entered):
    """Which section has which arm in a trial, and how it came by it."""

    table = ALLOCATIONS
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

    is_tagged = False
    queryset = Assessment.objects.select_related("section")
    serializer_class = serializers.AssessmentSerializer
    filterset_class = filtersets.AssessmentFilters
    orderings = {
        "section": ("section__building__code", "section__code", "as_of"),
        "as_of": ("as_of", "section__building__code", "section__code"),
        "trapped_probability": ("trapped_probability",),
        "verdict": ("verdict", "trapped_probability"),
    }


class ReplayViewSet(Records):
    """Each section's verdict as it would have been given at every past visit, from what was known then.

    Where readings were entered later than they were taken, that is hindsight: `entered_later` counts them.
    """

    is_tagged = False
    queryset = Replay.objects.select_related("section__building")
    serializer_class = serializers.ReplaySerializer
    filterset_class = filtersets.ReplayFilters
    orderings = {"section": ("section__building__code", "section__code")}


class FlagViewSet(Records):
    """Assessments that somebody must act on, and how they were answered."""

    queryset = Flag.objects.select_related("section__building", "answered_by")
    serializer_class = serializers.FlagSerializer
    filterset_class = filtersets.FlagFilters
    orderings = {
        "opened_on": ("opened_on",),
        "section": ("section__building__code", "section__code", "opened_on"),
    }

    @extend_schema(request=NoShape)
    @action(detail=True, methods=["post"])
    def acknowledge(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Say that you have seen it and will look."""
        flag = self.to_change()
        NoShape.of(request.data)
        answered = acknowledge_flag(flag=flag, organisation=self.organisation, user=self.user)
        return self.answer_anew(answered)

    @extend_schema(request=ReasonShape)
    @action(detail=True, methods=["post"])
    def confirm(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Say that it is so, and what was found. It then closes only through an action."""
        return self._answer(request, confirm_flag)

    @extend_schema(request=ReasonShape)
    @action(detail=True, methods=["post"])
    def dismiss(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Say that it is not so, and why. It then rests for a year."""
        return self._answer(request, dismiss_flag)

    def _answer(self, request: Request, answer: Callable[..., Flag]) -> Response:
        flag = self.to_change()
        reason = ReasonShape.of(request.data)["reason"]
        return self.answer_anew(
            answer(flag=flag, organisation=self.organisation, user=self.user, reason=reason)
        )


class ActionViewSet(Entered):
    """What was done about a wall, and when to look whether it worked."""

    table = ACTIONS
    queryset = Action.objects.select_related("section__building", "flag", "entered_by")
    serializer_class = serializers.ActionSerializer
    filterset_class = filtersets.ActionFilters
    orderings = {
        "done_on": ("done_on",),
        "section": ("section__building__code", "section__code", "done_on"),
        **ENTERED,
    }

    @extend_schema(responses=FollowUpSerializer)
    @action(detail=True, methods=["get"], url_path="follow-up")
    def follow_up(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Whether it worked: the level of the wall's water after it less that before, from the readings."""
        # It computes: no other answer waits for what it computes with.
        from inspections.domain.following import follow_up_of

        return Response(FollowUpSerializer(follow_up_of(self.get_object())).data)


class LoadViewSet(Records):
    """Each run of putting records in: who, when, from where, and what came of it."""

    is_tagged = False
    queryset = Load.objects.select_related("by")
    serializer_class = serializers.LoadSerializer
    filterset_class = filtersets.LoadFilters
    orderings = {"started_at": ("started_at",)}
