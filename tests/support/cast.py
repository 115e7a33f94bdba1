"""The people in most tests: everybody of one organisation, and somebody of another."""

from dataclasses import dataclass
from functools import cache

from django.contrib.auth.hashers import make_password
from django.test import Client

from portfolio.models import Membership, Organisation, User
from portfolio.vocabulary import Role

PASSWORD = "slaked lime and sharp sand"


@dataclass(frozen=True)
class Cast:
    """An organisation with one person in each role; the outsider owns another organisation."""

    organisation: Organisation
    owner: User
    manager: User
    inspector: User
    analyst: User
    other_organisation: Organisation
    outsider: User

    @property
    def members(self) -> tuple[User, ...]:
        return self.owner, self.manager, self.inspector, self.analyst


@cache
def _hashed_password() -> str:
    """Hashed once for all: it is slow by design."""
    return make_password(PASSWORD)


def join(organisation: Organisation, name: str, role: Role) -> User:
    """A new user with this role in the organisation, who signs in with `PASSWORD`."""
    user = User.objects.create(username=name, password=_hashed_password())
    Membership.objects.create(user=user, organisation=organisation, role=role)
    return user


def assemble() -> Cast:
    organisation = Organisation.objects.create(slug="larch-row", name="Larch Row Houses (invented)")
    other = Organisation.objects.create(slug="mill-lane", name="Mill Lane Houses (invented)")
    return Cast(
        organisation=organisation,
        owner=join(organisation, "owner", Role.OWNER),
        manager=join(organisation, "manager", Role.MANAGER),
        inspector=join(organisation, "inspector", Role.INSPECTOR),
        analyst=join(organisation, "analyst", Role.ANALYST),
        other_organisation=other,
        outsider=join(other, "outsider", Role.OWNER),
    )


def client_of(user: User) -> Client:
    """A test client that the user has signed in with."""
    client = Client()
    client.force_login(user)
    return client
