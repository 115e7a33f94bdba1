"""What is due and when, and the policy that it follows."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models
from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from inspections.domain.policies import change_policy, limits_of
from inspections.domain.postponing import hand_over, postpone_plan
from inspections.models import Plan, Policy
from inspections.queries.due import by_inspector, falls_within, standing
from inspections.queries.plans import policy_of
from inspections.vocabulary import PlanReason
from portfolio.api.base import Base, Records
from portfolio.api.conditions import entity_tag, require_match
from portfolio.api.filters import (
    EVERYWHERE,
    TRUE,
    Day,
    Identifier,
    OfBuilding,
    Text,
    Whole,
    Word,
    YesNo,
    refuse_unknown,
    span,
)
from portfolio.api.payloads import ReasonShape, Shape
from portfolio.api.serializers import (
    WholeSerializer,
    code_of,
    code_or_null,
    id_of,
    id_or_null,
    username_or_null,
)
from portfolio.vocabulary import Role

#: Further off than anything is planned.
MOST_DAYS = 3650


class DueFilters(OfBuilding):
    overdue = YesNo(method="filter_overdue", help_text="Whether the day has passed at the house.")
    within_days = Whole(
        method="filter_within",
        min_value=0,
        max_value=MOST_DAYS,
        help_text="Overdue, or due in so many days at the latest.",
    )
    reason = Word(PlanReason.choices)
    person = Text(field_name="person__username", help_text="Who is to go.")
    inspector = Text(method="filter_inspector", help_text="The initials of who looked last.")
    paper_id = Identifier(field_name="paper_id")
    is_paper = YesNo(field_name="paper", lookup_expr="isnull", exclude=True)
    falls_after, falls_before = span(Day, "falls_on")
    due_after, due_before = span(Day, "due_on")

    def filter_overdue(self, queryset: QuerySet[Plan], name: str, value: str) -> QuerySet[Plan]:
        passed = falls_within(self.request.organisation, -1)
        return queryset.filter(passed) if value == TRUE else queryset.exclude(passed)

    def filter_within(self, queryset: QuerySet[Plan], name: str, value: int) -> QuerySet[Plan]:
        return queryset.filter(falls_within(self.request.organisation, int(value)))

    def filter_inspector(self, queryset: QuerySet[Plan], name: str, value: str) -> QuerySet[Plan]:
        return queryset.filter(by_inspector(value))


class DueSerializer(WholeSerializer):
    building = code_of("building")
    building_id = id_of()
    section = code_or_null("section")
    section_id = id_or_null()
    paper_id = id_or_null()
    person = username_or_null("person")
    falls_on = serializers.DateField(read_only=True, help_text="The day it counts as due.")

    class Meta:
        model = Plan
        fields = (
            "id",
            "building",
            "building_id",
            "section",
            "section_id",
            "paper_id",
            "falls_on",
            "due_on",
            "alone_on",
            "reason",
            "detail",
            "last_on",
            "minutes",
            "person",
            "computed_at",
            "postponed_to",
            "postponed_reason",
        )


class PostponementShape(ReasonShape):
    """The later day, and why."""

    postponed_to = serializers.DateField()


class PersonShape(Shape):
    """Who is to go."""

    person = serializers.CharField(max_length=150, help_text="The user name of a member who may write.")


class DueViewSet(Records):
    """What is due: a look at a section or a house, or a paper; the next to fall due first."""

    queryset = Plan.objects.select_related("building", "section", "person")
    serializer_class = DueSerializer
    filterset_class = DueFilters
    orderings = {"falls_on": ("falls_on",), "building": ("building__code", "falls_on")}

    def get_queryset(self) -> QuerySet[Plan]:
        return standing(super().get_queryset())

    @extend_schema(request=PostponementShape)
    @action(detail=True, methods=["post"])
    def postpone(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Put the look off to a later day, and say why. The day it was due on stays, and the history."""
        plan = self.to_change()
        values = PostponementShape.of(request.data)
        postponed = postpone_plan(plan=plan, organisation=self.organisation, user=self.user, **values)
        return self.answer_anew(postponed)

    @extend_schema(request=PersonShape)
    @action(detail=True, methods=["post"], url_path="hand-over")
    def hand_over(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Say who is to go."""
        plan = self.to_change()
        person = PersonShape.of(request.data)["person"]
        given = hand_over(plan=plan, organisation=self.organisation, user=self.user, username=person)
        return self.answer_anew(given)


# The policy ------------------------------------------------------------------------------------------------

_FIELDS = tuple(
    field.name for field in Policy._meta.concrete_fields if field.name not in ("id", "organisation")
)


class PolicySerializer(WholeSerializer):
    class Meta:
        model = Policy
        fields = _FIELDS


def _shape_of(name: str) -> serializers.Field[Any, Any, Any, Any]:
    """A field of the policy as it may be sent."""
    field: Any = Policy._meta.get_field(name)
    told = {"required": False, "help_text": field.help_text}
    if isinstance(field, models.CharField):
        return serializers.CharField(allow_blank=True, max_length=field.max_length, **told)
    least, most = limits_of(name)
    return serializers.IntegerField(min_value=least, max_value=most, **told)


class PolicyShape(Shape):
    """What of the policy is changed; what is left out stays."""

    change_reason = serializers.CharField(max_length=500, required=False, allow_blank=True)

    def get_fields(self) -> dict[str, Any]:
        own = {name: _shape_of(name) for name in _FIELDS if name != "revision"}
        return {**own, **super().get_fields()}


class PolicyView(Base):
    """How often the organisation looks at its walls."""

    renderer_classes = [JSONRenderer]
    writing_roles = (Role.OWNER, Role.MANAGER)
    detail: ClassVar[bool] = True
    is_tagged: ClassVar[bool] = True

    @extend_schema(operation_id="policy_retrieve", responses=PolicySerializer)
    def get(self, request: Request) -> Response:
        """The longest times that are let pass; the usual ones where nobody changed them."""
        refuse_unknown(request, EVERYWHERE)
        return self._answer(policy_of(self.organisation))

    @extend_schema(operation_id="policy_partial_update", request=PolicyShape, responses=PolicySerializer)
    def patch(self, request: Request) -> Response:
        """For owners and managers: change some of it. All houses are then planned anew."""
        refuse_unknown(request, EVERYWHERE)
        policy = policy_of(self.organisation)
        require_match(request, policy)
        values = PolicyShape.of(request.data)
        reason = values.pop("change_reason", "")
        return self._answer(change_policy(policy=policy, user=self.user, values=values, reason=reason))

    def _answer(self, policy: Policy) -> Response:
        return Response(PolicySerializer(policy).data, headers={"ETag": entity_tag(policy)})
