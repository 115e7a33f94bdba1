"""Who is in an organisation and in which role, as its owners decide. It always has an owner."""

from __future__ import annotations

import uuid

from django.db import IntegrityError, transaction

from portfolio.domain.history import as_entered, note_change
from portfolio.domain.people import MemberRefused, account_of
from portfolio.domain.refusals import Conflict, Invalid, Stale
from portfolio.models import Membership, Organisation, User
from portfolio.vocabulary import Role


@transaction.atomic
def let_in(
    *,
    organisation: Organisation,
    by: User,
    username: str,
    role: str,
    password: str | None = None,
    membership_id: uuid.UUID | None = None,
) -> tuple[Membership, bool]:
    """Give a person a role; the second value is False where the same was done before under the same id."""
    _lock(organisation)
    if membership_id is not None and (there := Membership.objects.filter(pk=membership_id).first()):
        asked_again = there.organisation_id == organisation.pk and there.user.username == username
        if asked_again and as_entered(there, ["role"]) == {"role": role}:
            return there, False
        raise Conflict("This id is taken by another membership; make a new one.")
    try:
        with transaction.atomic():
            user = account_of(username=username, password=password)
    except MemberRefused as refused:
        raise Invalid([("password" if not password else "user", str(refused))]) from refused
    except IntegrityError as error:
        raise Conflict(f"Somebody else made an account {username} just now; send this again.") from error
    if Membership.objects.of(organisation).filter(user=user).exists():
        raise Conflict(f"{username} is a member already; change the role instead.")
    member = Membership.objects.create(
        id=membership_id or uuid.uuid4(), user=user, organisation=organisation, role=role
    )
    note_change(
        record=member, organisation=organisation, user=by, fields={"user": [None, username]}, reason="let in"
    )
    return member, True


@transaction.atomic
def change_role(*, membership: Membership, by: User, role: str) -> Membership:
    """Give a member another role."""
    organisation = membership.organisation
    _lock(organisation)
    old = membership.role
    if role == old:
        return membership
    _keep_an_owner(membership)
    if not Membership.objects.filter(pk=membership.pk, role=old).update(role=role):
        raise Stale
    note_change(record=membership, organisation=organisation, user=by, fields={"role": [old, role]})
    membership.role = role
    return membership


@transaction.atomic
def let_go(*, membership: Membership, by: User) -> None:
    """End a membership. The account stays, and so does what the person entered; their tokens end with it."""
    organisation = membership.organisation
    _lock(organisation)
    _keep_an_owner(membership)
    fields = {"user": [membership.user.username, None], "role": [membership.role, None]}
    note_change(record=membership, organisation=organisation, user=by, fields=fields, reason="let go")
    if not Membership.objects.filter(pk=membership.pk, role=membership.role).delete()[0]:
        raise Stale


def _lock(organisation: Organisation) -> None:
    """Let one change of members at a time, so that two owners can't remove each other."""
    Organisation.objects.select_for_update().get(pk=organisation.pk)


def _keep_an_owner(membership: Membership) -> None:
    owners = Membership.objects.of(membership.organisation).filter(role=Role.OWNER)
    if membership.role == Role.OWNER and not owners.exclude(pk=membership.pk).exists():
        raise Conflict("This is the organisation's only owner; make somebody else owner first.")
