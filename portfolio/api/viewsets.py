"""The lists of what stands there."""

from __future__ import annotations

from typing import cast

from portfolio import queries
from portfolio.api import filtersets, serializers
from portfolio.api.authentication import MemberRequest
from portfolio.api.base import Records
from portfolio.models import (
    Building,
    Change,
    Event,
    Membership,
    Organisation,
    ScopedQuerySet,
    Section,
    Treatment,
)


class OrganisationViewSet(Records):
    """Your organisations; to a token, its own alone."""

    across_organisations = True
    has_revision = False
    queryset = Organisation.objects.all()
    serializer_class = serializers.OrganisationSerializer
    filterset_class = filtersets.OrganisationFilters
    orderings = {"slug": ("slug",), "name": ("name",)}
    code_field = "slug"

    def get_queryset(self) -> ScopedQuerySet:
        request = cast(MemberRequest, self.request)
        if request.organisation is not None:
            return Organisation.objects.all().of(request.organisation)
        return queries.organisations_of(request.user)


class MembershipViewSet(Records):
    """Who is in the organisation, and in which role."""

    has_revision = False
    queryset = Membership.objects.select_related("user", "organisation")
    serializer_class = serializers.MembershipSerializer
    filterset_class = filtersets.MembershipFilters
    orderings = {"user": ("user__username",), "role": ("role", "user__username")}


class BuildingViewSet(Records):
    """Houses."""

    queryset = Building.objects.select_related("entered_by")
    serializer_class = serializers.BuildingSerializer
    filterset_class = filtersets.BuildingFilters
    orderings = {
        "code": ("code",),
        "name": ("name",),
        "street": ("street",),
        "locality": ("locality", "code"),
        "entered_at": ("entered_at",),
        "changed_at": ("changed_at",),
    }
    code_field = "code"


class SectionViewSet(Records):
    """Stretches of wall of one build and one exposure."""

    queryset = Section.objects.select_related("building", "entered_by")
    serializer_class = serializers.SectionSerializer
    filterset_class = filtersets.SectionFilters
    orderings = {
        "building": ("building__code", "code"),
        "code": ("code", "building__code"),
        "entered_at": ("entered_at",),
        "changed_at": ("changed_at",),
    }


class TreatmentViewSet(Records):
    """What was put on a section: one layer at one date."""

    queryset = Treatment.objects.select_related("section__building", "entered_by")
    serializer_class = serializers.TreatmentSerializer
    filterset_class = filtersets.TreatmentFilters
    orderings = {
        "section": ("section__building__code", "section__code", "applied_on", "layer"),
        "applied_on": ("applied_on",),
        "entered_at": ("entered_at",),
        "changed_at": ("changed_at",),
    }


class EventViewSet(Records):
    """What happened to a wall or a house without being a reading."""

    queryset = Event.objects.select_related("building", "section", "entered_by")
    serializer_class = serializers.EventSerializer
    filterset_class = filtersets.EventFilters
    orderings = {
        "happened_on": ("happened_on",),
        "building": ("building__code", "happened_on"),
        "entered_at": ("entered_at",),
        "changed_at": ("changed_at",),
    }


class ChangeViewSet(Records):
    """The history: who changed what, when, from which value to which, and why."""

    has_revision = False
    queryset = Change.objects.select_related("by")
    serializer_class = serializers.ChangeSerializer
    filterset_class = filtersets.ChangeFilters
    orderings = {"at": ("-at",)}
