"""Letting people in, by the command that the README names."""

from __future__ import annotations

import io

import pytest
from django.core.management import CommandError, call_command

from portfolio.models import Membership, Organisation, User

pytestmark = pytest.mark.django_db


@pytest.fixture
def organisation() -> Organisation:
    return Organisation.objects.create(slug="larch-row", name="Larch Row Houses (invented)")


def add(monkeypatch: pytest.MonkeyPatch, password: str, role: str = "manager") -> str:
    monkeypatch.setattr("sys.stdin", io.StringIO(password + "\n"))
    out = io.StringIO()
    call_command("add_member", "mason", organisation="larch-row", role=role, stdout=out)
    return out.getvalue()


def test_a_new_person_gets_an_account_and_a_role(
    organisation: Organisation, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "manager of Larch Row" in add(monkeypatch, "slaked lime and sharp sand")
    member = Membership.objects.get(organisation=organisation)
    assert member.user.check_password("slaked lime and sharp sand")


def test_a_role_is_changed_without_a_password(
    organisation: Organisation, monkeypatch: pytest.MonkeyPatch
) -> None:
    add(monkeypatch, "slaked lime and sharp sand")
    add(monkeypatch, "", role="analyst")
    assert Membership.objects.get(organisation=organisation).role == "analyst"


@pytest.mark.parametrize("password", ["", "short", "password1234"])
def test_a_weak_password_saves_nothing(
    organisation: Organisation, monkeypatch: pytest.MonkeyPatch, password: str
) -> None:
    with pytest.raises(CommandError):
        add(monkeypatch, password)
    assert not User.objects.exists()


def test_an_unknown_organisation_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(CommandError, match="'nobody'"):
        call_command("add_member", "mason", organisation="nobody", role="owner")
