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
    user = User.objects.filter(username=username).first()
    if user is None:
        user = User(username=username)
        if not password:
            raise MemberRefused(f"{username} is new here and needs a password.")
        try:
            validate_password(password, user)
        except ValidationError as error:
            raise MemberRefused(" ".join(error.messages)) from None
        user.set_password(password)
        user.save()
    member, _ = Membership.objects.update_or_create(
        user=user, organisation=organisation, defaults={"role": role}
    )
    return member
