"""What the room's air does to a section: dew between its layers, and the risk of mould."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response

from inspections.api.comparing import day_of
from inspections.api.results import WholeResult
from portfolio import queries
from portfolio.api.base import Base
from portfolio.api.errors import NOT_FOUND
from portfolio.api.filters import EVERYWHERE, refuse_unknown
from portfolio.api.renderers import Json
from portfolio.models import Section


class DewMonthSerializer(WholeResult):
    """One month of a usual year, in g/m²."""

    month = serializers.IntegerField(min_value=1, max_value=12)
    held = serializers.FloatField(help_text="Dew held at the month's end, with typical materials.")
    least = serializers.FloatField(help_text="The least of all cases.")
    most = serializers.FloatField(help_text="The most of all cases.")
    to_the_room = serializers.FloatField(
        help_text="Vapour from the wall to the room as if no dew caught it; below 0 into the wall."
    )


class DewSerializer(WholeResult):
    """Dew between the layers by the months of ISO 13788, over cases of materials and of humidity."""

    months = DewMonthSerializer(many=True)
    dries = serializers.IntegerField(help_text="Cases in which nothing is left at the year's end.")
    cases = serializers.IntegerField()
    left = serializers.FloatField(help_text="g/m² left at the year's end with typical materials.")
    wall_humidity_read = serializers.BooleanField(help_text="False: 100 % was taken.")
    depth_mm = serializers.FloatField(help_text="Of the probe in the wall, as entered or taken.")


class LackingSerializer(WholeResult):
    """A quantity that was read too little, and the quarters of the year without any."""

    quantity = serializers.CharField()
    quarters = serializers.ListField(child=serializers.CharField())


class MissingSerializer(WholeResult):
    """Why no dew is told."""

    no_coats = serializers.BooleanField()
    quantities = LackingSerializer(many=True)


class MouldDaySerializer(WholeResult):
    """The mould index at the end of a day, by class of materials: 0 none, 1 microscopic, 3 seen, 6 dense."""

    day = serializers.DateField()
    resistant = serializers.FloatField()
    medium_resistant = serializers.FloatField()
    sensitive = serializers.FloatField()


class MouldSerializer(WholeResult):
    """The index where temperature and humidity were logged for a month or more."""

    behind = serializers.BooleanField(help_text="Behind the coat; else on the face.")
    known = serializers.FloatField(help_text="Share of the hours that were logged.")
    humid = serializers.FloatField(help_text="Share of those at 80 % or more.")
    days = MouldDaySerializer(many=True)


class DewAndMouldSerializer(WholeResult):
    """Dew and mould of one section."""

    as_of = serializers.DateField()
    dew = DewSerializer(allow_null=True)
    missing = MissingSerializer(allow_null=True, help_text="Where `dew` is null: what lacks.")
    mould = MouldSerializer(many=True, help_text="Empty where nothing was logged for long enough.")


class DewAndMouldView(Base):
    """Dew between a section's layers, and mould."""

    renderer_classes = [Json]

    @extend_schema(
        operation_id="sections_dew_and_mould",
        parameters=[
            OpenApiParameter("id", OpenApiTypes.UUID, OpenApiParameter.PATH, description="The section's id."),
            OpenApiParameter(
                "as_of",
                OpenApiTypes.DATE,
                description="From what was known at the end of this day; today if left out.",
            ),
        ],
        responses=DewAndMouldSerializer,
    )
    def get(self, request: Request, id: str) -> Response:
        """In which months dew forms between the layers, whether it dries, and the mould index over time."""
        # What computes is imported by the first question, so that no other request waits for it.
        from inspections.domain.room_air import room_air

        refuse_unknown(request, ["as_of", *EVERYWHERE])
        as_of = day_of(request, "as_of")
        section = queries.by_key(Section.objects.of(self.organisation).standing(), id)
        if section is None:
            raise NotFound(NOT_FOUND)
        today = timezone.localdate(timezone=section.building.zone)
        return Response(room_air(section, as_of or today).as_json())
