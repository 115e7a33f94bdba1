"""What only owners do: the organisation's own settings, and who is let in."""

from __future__ import annotations

import json
import uuid
from typing import Any

import pytest
from django.test import Client

from portfolio.models import Change, Membership, Reassessment, User
from portfolio.vocabulary import Role
from tests.api import factories
from tests.api.client import ROOT, Program, assert_problem
from tests.support.cast import PASSWORD, Cast


@pytest.fixture
def owner(cast: Cast) -> Program:
    return Program(cast.owner, cast.organisation)


def tag_of(program: Program, path: str) -> dict[str, str]:
    return {"if-match": program.get(path)["ETag"]}


class TestOrganisation:
    path = "organisations/larch-row/"

    def test_an_owner_changes_name_and_threshold(self, cast: Cast, owner: Program) -> None:
        house = factories.building(cast.organisation)
        factories.building(cast.other_organisation)
        before = tag_of(owner, self.path)
        sent = {"name": "Larch Row (invented)", "failure_threshold": 0.2, "change_reason": "as agreed"}
        answer = owner.send("PATCH", self.path, sent, **before)
        assert answer.status_code == 200, answer.content
        assert (answer.json()["name"], answer.json()["failure_threshold"]) == ("Larch Row (invented)", 0.2)
        (change,) = Change.objects.of(cast.organisation)
        assert (change.by, change.reason) == (cast.owner, "as agreed")
        assert change.fields["failure_threshold"] == [0.1, 0.2]
        assert [row.building_id for row in Reassessment.objects.all()] == [house.pk]
        assert_problem(owner.send("PATCH", self.path, {"name": "X"}, **before), 412)
        assert_problem(owner.send("PATCH", self.path, {"name": "X"}), 428)

    @pytest.mark.parametrize(
        "sent",
        [
            {"slug": "other"},
            {"failure_threshold": 0},
            {"failure_threshold": 1.5},
            {"name": ""},
            {"name": None},
            [],
        ],
    )
    def test_bad_values_are_refused(self, cast: Cast, owner: Program, sent: Any) -> None:
        assert_problem(owner.send("PATCH", self.path, sent, **tag_of(owner, self.path)), 400)
        assert not Change.objects.exists()

    def test_nobody_else_does(self, cast: Cast) -> None:
        body = json.dumps({"name": "X"})
        assert_problem(Client().patch(ROOT + self.path, body, "application/json"), 401)
        for person in (cast.manager, cast.inspector, cast.analyst):
            program = Program(person, cast.organisation)
            assert (
                "owner"
                in assert_problem(
                    program.send("PATCH", self.path, {"name": "X"}, **tag_of(program, self.path)), 403
                )["detail"]
            )
        outsider = Program(cast.outsider, cast.other_organisation)
        assert_problem(outsider.send("PATCH", self.path, {"name": "X"}, **{"if-match": "*"}), 404)


class TestMembers:
    def test_somebody_new_is_let_in_and_can_sign_in(self, cast: Cast, owner: Program) -> None:
        sent = {"id": str(uuid.uuid4()), "user": "mason", "role": "inspector", "password": PASSWORD}
        answer = owner.send("POST", "memberships/", sent)
        assert answer.status_code == 201, answer.content
        assert (answer.json()["user"], answer.json()["role"]) == ("mason", "inspector")
        assert "password" not in answer.json()
        assert Client().login(username="mason", password=PASSWORD)
        assert owner.send("POST", "memberships/", sent).status_code == 200
        assert_problem(owner.send("POST", "memberships/", {**sent, "role": "owner"}), 409)
        assert_problem(owner.send("POST", "memberships/", {**sent, "id": str(uuid.uuid4())}), 409)
        assert PASSWORD not in json.dumps(list(Change.objects.values_list("fields", flat=True)))

    @pytest.mark.parametrize(
        ("sent", "field"),
        [
            ({"user": "mason", "role": "inspector"}, "password"),
            ({"user": "mason", "role": "inspector", "password": "short"}, "user"),
            ({"user": "a mason!", "role": "inspector", "password": PASSWORD}, "user"),
            ({"user": "mason", "role": "mayor", "password": PASSWORD}, "role"),
            ({"user": "mason", "role": "owner", "is_staff": True}, "is_staff"),
            ({"role": "owner"}, "user"),
        ],
    )
    def test_bad_values_are_named(self, cast: Cast, owner: Program, sent: Any, field: str) -> None:
        problem = assert_problem(owner.send("POST", "memberships/", sent), 400)
        assert field in [error["field"] for error in problem["errors"]]
        assert not User.objects.filter(username__in=("mason", "a mason!")).exists()

    def test_an_account_that_stands_keeps_its_password(self, cast: Cast, owner: Program) -> None:
        sent = {"user": "outsider", "role": "analyst", "password": "another long secret here"}
        assert owner.send("POST", "memberships/", sent).status_code == 201
        assert Client().login(username="outsider", password=PASSWORD)

    def test_a_role_is_changed_and_a_member_let_go(self, cast: Cast, owner: Program) -> None:
        member = Membership.objects.get(user=cast.analyst)
        path = f"memberships/{member.pk}/"
        reader = Program(cast.analyst, cast.organisation)
        answer = owner.send("PATCH", path, {"role": "manager"}, **tag_of(owner, path))
        assert (answer.status_code, answer.json()["role"]) == (200, "manager")
        assert_problem(owner.send("PATCH", path, {"role": "mayor"}, **tag_of(owner, path)), 400)
        assert_problem(owner.send("DELETE", path, None), 428)
        gone = owner.send("DELETE", path, None, **tag_of(owner, path))
        assert (gone.status_code, gone.content) == (204, b"")
        assert_problem(reader.get("buildings/"), 401)
        assert User.objects.filter(pk=cast.analyst.pk).exists()
        assert [change.fields for change in Change.objects.filter(record_id=member.pk).order_by("at")] == [
            {"role": ["analyst", "manager"]},
            {"user": ["analyst", None], "role": ["manager", None]},
        ]

    def test_the_last_owner_stays(self, cast: Cast, owner: Program) -> None:
        path = f"memberships/{Membership.objects.get(user=cast.owner).pk}/"
        assert_problem(owner.send("PATCH", path, {"role": "analyst"}, **tag_of(owner, path)), 409)
        assert_problem(owner.send("DELETE", path, None, **tag_of(owner, path)), 409)
        Membership.objects.filter(user=cast.manager).update(role=Role.OWNER)
        assert owner.send("DELETE", path, None, **tag_of(owner, path)).status_code == 204

    def test_nobody_else_lets_in_or_go(self, cast: Cast, owner: Program) -> None:
        member = Membership.objects.get(user=cast.analyst)
        path = f"memberships/{member.pk}/"
        assert_problem(Client().post(f"{ROOT}memberships/", "{}", "application/json"), 401)
        for person in (cast.manager, cast.inspector, cast.analyst):
            program = Program(person, cast.organisation)
            assert_problem(program.send("POST", "memberships/", {"user": "outsider", "role": "owner"}), 403)
            assert_problem(program.send("PATCH", path, {"role": "owner"}, **{"if-match": "*"}), 403)
            assert_problem(program.send("DELETE", path, None, **{"if-match": "*"}), 403)
        outsider = Program(cast.outsider, cast.other_organisation)
        assert_problem(outsider.send("DELETE", path, None, **{"if-match": "*"}), 404)
        assert Membership.objects.get(pk=member.pk).role == Role.ANALYST
