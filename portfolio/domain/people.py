"""Letting people in: accounts and their roles."""

from __future__ import annotations

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from portfolio.models import Membership, Organisation, User
from portfolio.vocabulary import Role


class MemberRefused(Exception):
    """Somebody could not be let in; the message says why and what to do."""


@transaction.atomic
def add_member(*, organisation: Organisation, username: str, role: Role, password: str | None) -> Membership:
    """Give a person a role in an organisation, making the account first where there is none.

    ``password`` is needed for a new account only, and must satisfy the site's rules.
    """
    user = account_of(username=username, password=password)
    member, _ = Membership.objects.update_or_create(
        user=user, organisation=organisation, defaults={"role": role}
    )
    return member


def account_of(*, username: str, password: str | None) -> User:
    """The person's account; one that is new needs a password, one that stands keeps its own."""
    user = User.objects.filter(username=username).first()
    if user is not None:
        return user
    user = User(username=username)
    if not password:
        raise MemberRefused(f"{username} is new here and needs a password.")
    try:
        user.clean_fields(exclude=["password"])
        validate_password(password, user)
    except ValidationError as error:
        raise MemberRefused(" ".join(error.messages)) from None
    user.set_password(password)
    user.save()
    return user
