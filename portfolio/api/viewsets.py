"""The lists of what stands there."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any, cast

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from portfolio import queries
from portfolio.api import filtersets, serializers
from portfolio.api.authentication import MemberRequest
from portfolio.api.base import Records
from portfolio.api.filters import EVERYWHERE, refuse_unknown
from portfolio.api.shapes import MembershipShape, OrganisationShape, RoleShape
from portfolio.domain.memberships import change_role, let_go, let_in
from portfolio.domain.organisations import change_organisation
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
from portfolio.vocabulary import Role


class OrganisationViewSet(Records):
    """Your organisations; to a token, its own alone."""

    across_organisations = True
    writing_roles = (Role.OWNER,)
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

    @extend_schema(request=OrganisationShape)
    def partial_update(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """For owners: change the name, or the share of a coat's area at which it has failed."""
        organisation = self.to_change()
        values = OrganisationShape.of(request.data, partial=True)
        reason = values.pop("change_reason", "")
        changed = change_organisation(organisation=organisation, user=self.user, values=values, reason=reason)
        return self.answer_anew(changed)


class MembershipViewSet(Records):
    """Who is in the organisation, and in which role. Its owners let people in and go."""

    writing_roles = (Role.OWNER,)
    queryset = Membership.objects.select_related("user", "organisation")
    serializer_class = serializers.MembershipSerializer
    filterset_class = filtersets.MembershipFilters
    orderings = {"user": ("user__username",), "role": ("role", "user__username")}

    @extend_schema(request=MembershipShape)
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Let somebody in. Who has no account yet gets one, with the password that you tell them."""
        refuse_unknown(request, EVERYWHERE)
        values = MembershipShape.of(request.data)
        member, is_new = let_in(
            organisation=self.organisation,
            by=self.user,
            username=values["user"],
            role=values["role"],
            password=values.get("password"),
            membership_id=values.get("id"),
        )
        return self.answer_anew(member, HTTPStatus.CREATED if is_new else HTTPStatus.OK)

    @extend_schema(request=RoleShape)
    def partial_update(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Give a member another role."""
        member = self.to_change()
        role = RoleShape.of(request.data)["role"]
        return self.answer_anew(change_role(membership=member, by=self.user, role=role))

    def destroy(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """End a membership. The account and what the person entered stay; their tokens end with it."""
        let_go(membership=self.to_change(), by=self.user)
        return Response(status=HTTPStatus.NO_CONTENT)


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

    is_tagged = False
    queryset = Change.objects.select_related("by")
    serializer_class = serializers.ChangeSerializer
    filterset_class = filtersets.ChangeFilters
    orderings = {"at": ("-at",)}
