"""Reads across tables: who somebody is to an organisation, and one record by its key."""

from __future__ import annotations

import uuid
from typing import Any

from django.db.models import OuterRef, QuerySet

from portfolio.models import Membership, Organisation, ScopedQuerySet, Token, User


def token_by_digest(digest: str) -> Token | None:
    """The token whose key has this SHA-256, with its person, its organisation and the ``role`` there."""
    role = Membership.objects.filter(user=OuterRef("user"), organisation=OuterRef("organisation"))
    tokens = Token.objects.select_related("user", "organisation").annotate(
        role=role.order_by().values("role")
    )
    return tokens.filter(digest=digest).order_by("pk").first()


def membership(user: User, organisation: Organisation) -> Membership | None:
    """The person's role in the organisation, or None for one they are not in."""
    return memberships_of(user).filter(organisation=organisation).first()


def memberships_of(user: User) -> QuerySet[Membership]:
    """The person's roles, with their organisations."""
    return Membership.objects.select_related("organisation").filter(user=user)


def organisations_of(user: User) -> ScopedQuerySet:
    """The organisations that the person is in."""
    return Organisation.objects.filter(memberships__user=user)


def by_key(records: QuerySet[Any], key: str, code_field: str | None = None) -> Any | None:
    """The one record with this UUID or, where a code field is named, with this code; else None."""
    found = None
    if (identifier := _as_uuid(key)) is not None:
        found = records.filter(pk=identifier).first()
    if found is None and code_field and "\x00" not in key:
        found = records.filter(**{code_field: key}).first()
    return found


def _as_uuid(text: str) -> uuid.UUID | None:
    try:
        return uuid.UUID(text)
    except ValueError:
        return None
