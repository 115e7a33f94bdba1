"""The small payloads of what owners decide."""

from __future__ import annotations

from rest_framework import serializers

from portfolio.api.payloads import Shape
from portfolio.vocabulary import Role


class OrganisationShape(Shape):
    """What of an organisation can be changed."""

    name = serializers.CharField(max_length=200, required=False)
    failure_threshold = serializers.FloatField(
        min_value=0.001, max_value=1, required=False, help_text="The affected share of a coat's area."
    )
    change_reason = serializers.CharField(max_length=500, required=False, allow_blank=True)


class MembershipShape(Shape):
    """Who is let in, and in which role."""

    id = serializers.UUIDField(required=False, help_text="The client's own UUID.")
    user = serializers.CharField(max_length=150, help_text="The person's user name.")
    role = serializers.ChoiceField(Role.choices)
    password = serializers.CharField(
        max_length=200,
        required=False,
        trim_whitespace=False,
        help_text="For somebody without an account yet.",
    )


class RoleShape(Shape):
    """The new role."""

    role = serializers.ChoiceField(Role.choices)
