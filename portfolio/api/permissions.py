"""Who may do what."""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING, cast

from rest_framework.exceptions import MethodNotAllowed, NotAuthenticated, PermissionDenied
from rest_framework.permissions import SAFE_METHODS, BasePermission
from rest_framework.request import Request

from portfolio import queries
from portfolio.api.authentication import MemberRequest
from portfolio.api.errors import BadParameters
from portfolio.vocabulary import Role

# The framework's views are loaded after their permissions.
if TYPE_CHECKING:
    from rest_framework.views import APIView

SIGN_IN = "Sign in, or send a token as 'Authorization: Bearer KEY'."


class Members(BasePermission):
    """Every member reads what is their organisation's; who writes is said by the view's roles."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        if not request.user or not request.user.is_authenticated:
            raise NotAuthenticated(SIGN_IN)
        if request.method not in view.allowed_methods:
            raise MethodNotAllowed(str(request.method))
        writes = request.method not in SAFE_METHODS
        if writes or not getattr(view, "across_organisations", False):
            require_organisation(cast(MemberRequest, request))
        if writes:
            _require_role(cast(MemberRequest, request), getattr(view, "writing_roles", ()))
        return True


def _require_role(request: MemberRequest, roles: Collection[Role]) -> None:
    assert request.role is not None
    if request.role not in roles:
        able = ", ".join(role.label for role in roles)
        raise PermissionDenied(f"As {request.role.label} you read here; writing needs: {able}.")


def require_organisation(request: MemberRequest) -> None:
    """Refuse a person who has not said which organisation they mean, and tell them which there are."""
    if request.organisation is not None:
        return
    slugs = sorted(membership.organisation.slug for membership in queries.memberships_of(request.user))
    if not slugs:
        raise PermissionDenied("You are not a member of any organisation yet.")
    raise BadParameters({"organisation": [f"Say which organisation you mean: {', '.join(slugs)}."]})
