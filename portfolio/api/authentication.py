"""Who asks, and for which organisation: a program with a token, or a person who has signed in."""

from __future__ import annotations

from typing import Any, cast

from django.utils import timezone
from rest_framework import authentication
from rest_framework.exceptions import AuthenticationFailed, NotFound
from rest_framework.request import Request

from portfolio import queries
from portfolio.domain.tokens import digest_of
from portfolio.models import Membership, Organisation, Token, User
from portfolio.vocabulary import Role

SCHEME = "Bearer"
NO_SUCH_ORGANISATION = "There is no such organisation."


class MemberRequest(Request):
    """A request of somebody known. The organisation is None while a person of several has not said which."""

    user: User
    organisation: Organisation | None
    role: Role | None


class TokenAuthentication(authentication.BaseAuthentication):
    """`Authorization: Bearer KEY`. A token serves the one organisation that it was issued for."""

    def authenticate(self, request: Request) -> tuple[User, Token] | None:
        words = authentication.get_authorization_header(request).split()
        if not words or words[0].lower() != SCHEME.lower().encode():
            return None
        if len(words) != 2:
            raise AuthenticationFailed("Send the token as 'Authorization: Bearer KEY'.")
        token = _valid_token(words[1])
        if token.role is None:
            raise AuthenticationFailed("The token's person is no longer a member of its organisation.")
        asked = request.query_params.get("organisation")
        if asked is not None and asked != token.organisation.slug:
            raise NotFound(NO_SUCH_ORGANISATION)
        _admit(request, token.organisation, token.role)
        return token.user, token

    def authenticate_header(self, request: Request) -> str:
        return f'{SCHEME} realm="api"'


class SessionAuthentication(authentication.SessionAuthentication):
    """A person who has signed in; `?organisation=` says which of theirs is meant, unless they have one."""

    def authenticate(self, request: Request) -> tuple[User, None] | None:
        signed_in = super().authenticate(request)
        if signed_in is None:
            return None
        user = cast(User, signed_in[0])
        membership = _chosen_membership(user, request.query_params.get("organisation"))
        if membership is None:
            _admit(request, None, None)
        else:
            _admit(request, membership.organisation, membership.role)
        return user, None


def _valid_token(key: bytes) -> Any:
    token = queries.token_by_digest(digest_of(key.decode("latin-1")))
    if token is None or not token.user.is_active:
        raise AuthenticationFailed("This token is not known.")
    if token.revoked_at is not None:
        raise AuthenticationFailed(f"This token was revoked on {token.revoked_at:%Y-%m-%d}.")
    if token.expires_at is not None and token.expires_at <= timezone.now():
        raise AuthenticationFailed(f"This token expired on {token.expires_at:%Y-%m-%d}.")
    return token


def _chosen_membership(user: User, slug: str | None) -> Membership | None:
    """The membership that is meant; an organisation that the person is not in does not exist."""
    memberships = list(queries.memberships_of(user))
    if slug is None:
        return memberships[0] if len(memberships) == 1 else None
    for membership in memberships:
        if membership.organisation.slug == slug:
            return membership
    raise NotFound(NO_SUCH_ORGANISATION)


def _admit(request: Request, organisation: Organisation | None, role: str | None) -> None:
    member = cast(MemberRequest, request)
    member.organisation = organisation
    member.role = Role(role) if role else None
