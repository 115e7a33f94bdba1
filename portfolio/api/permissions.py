"""Who may do what."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from rest_framework.exceptions import MethodNotAllowed, NotAuthenticated, PermissionDenied
from rest_framework.permissions import SAFE_METHODS, BasePermission
from rest_framework.request import Request

from portfolio import queries
from portfolio.api.authentication import MemberRequest
from portfolio.api.errors import BadParameters

# The framework's views are loaded after their permissions.
if TYPE_CHECKING:
    from rest_framework.views import APIView

SIGN_IN = "Sign in, or send a token as 'Authorization: Bearer KEY'."


class MemberReads(BasePermission):
    """Every member reads what is their organisation's. Writing needs a permission of its own."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        if not request.user or not request.user.is_authenticated:
            raise NotAuthenticated(SIGN_IN)
        if request.method not in SAFE_METHODS:
            raise MethodNotAllowed(str(request.method))
        if not getattr(view, "across_organisations", False):
            require_organisation(cast(MemberRequest, request))
        return True


def require_organisation(request: MemberRequest) -> None:
    """Refuse a person who has not said which organisation they mean, and tell them which there are."""
    if request.organisation is not None:
        return
    slugs = sorted(membership.organisation.slug for membership in queries.memberships_of(request.user))
    if not slugs:
        raise PermissionDenied("You are not a member of any organisation yet.")
    raise BadParameters({"organisation": [f"Say which organisation you mean: {', '.join(slugs)}."]})
