"""Tokens and signed-in people: who is let in, and to which organisation."""

from __future__ import annotations

import datetime as dt
import hashlib
import io

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone

from portfolio.domain.tokens import TokenRefused, issue_token, revoke_token
from portfolio.models import Membership, Token
from portfolio.vocabulary import Role
from tests.api import factories
from tests.api.client import ROOT, Program, assert_problem
from tests.support.cast import Cast, client_of


def ask(authorization: str, path: str = "buildings/") -> object:
    return Client(headers={"authorization": authorization}).get(ROOT + path)


class TestTokens:
    def test_only_the_hash_of_a_key_is_kept(self, cast: Cast) -> None:
        token, key = issue_token(user=cast.analyst, organisation=cast.organisation, name="rates")
        row = Token.objects.filter(pk=token.pk).values().get()
        assert row["digest"] == hashlib.sha256(key.encode()).hexdigest()
        assert not [name for name, value in row.items() if key in str(value)]

    def test_no_two_keys_are_the_same(self, cast: Cast) -> None:
        keys = {
            issue_token(user=cast.analyst, organisation=cast.organisation, name="rates")[1] for _ in range(20)
        }
        assert len(keys) == 20
        assert min(map(len, keys)) >= 43  # 32 bytes in base 64

    def test_the_key_is_let_in_and_its_hash_is_not(self, cast: Cast) -> None:
        token, key = issue_token(user=cast.analyst, organisation=cast.organisation, name="rates")
        assert ask(f"Bearer {key}").status_code == 200
        assert ask(f"bearer {key}").status_code == 200
        assert_problem(ask(f"Bearer {token.digest}"), 401)

    @pytest.mark.parametrize(
        "authorization", ["Bearer", "Bearer a b", "Bearer wythe_unknown", "Bearer \xff\xfe", "Basic YTpi", ""]
    )
    def test_anything_else_is_refused(self, cast: Cast, authorization: str) -> None:
        response = ask(authorization)
        assert_problem(response, 401)
        assert response["WWW-Authenticate"] == 'Bearer realm="api"'

    def test_a_revoked_token_is_refused(self, cast: Cast) -> None:
        token, key = issue_token(user=cast.analyst, organisation=cast.organisation, name="rates")
        first = revoke_token(token).revoked_at
        assert "revoked" in assert_problem(ask(f"Bearer {key}"), 401)["detail"]
        assert revoke_token(token).revoked_at == first

    def test_an_expired_token_is_refused(self, cast: Cast) -> None:
        soon = timezone.now() + dt.timedelta(hours=1)
        token, key = issue_token(
            user=cast.analyst, organisation=cast.organisation, name="rates", expires_at=soon
        )
        assert ask(f"Bearer {key}").status_code == 200
        Token.objects.filter(pk=token.pk).update(expires_at=timezone.now())
        assert "expired" in assert_problem(ask(f"Bearer {key}"), 401)["detail"]

    def test_a_token_ends_with_the_membership_and_with_the_account(self, cast: Cast) -> None:
        _, key = issue_token(user=cast.analyst, organisation=cast.organisation, name="rates")
        _, other = issue_token(user=cast.manager, organisation=cast.organisation, name="rates")
        Membership.objects.filter(user=cast.analyst).delete()
        assert_problem(ask(f"Bearer {key}"), 401)
        cast.manager.is_active = False
        cast.manager.save(update_fields=["is_active"])
        assert_problem(ask(f"Bearer {other}"), 401)

    def test_a_token_serves_one_organisation(self, cast: Cast) -> None:
        Membership.objects.create(user=cast.analyst, organisation=cast.other_organisation, role=Role.ANALYST)
        factories.building(cast.other_organisation)
        program = Program(cast.analyst, cast.organisation)
        assert program.results("buildings/") == []
        assert [row["slug"] for row in program.results("organisations/")] == ["larch-row"]
        assert program.get("buildings/?organisation=larch-row").status_code == 200
        assert_problem(program.get("buildings/?organisation=mill-lane"), 404)

    def test_none_is_issued_to_an_outsider_or_for_the_past(self, cast: Cast) -> None:
        with pytest.raises(TokenRefused, match="not a member"):
            issue_token(user=cast.outsider, organisation=cast.organisation, name="rates")
        with pytest.raises(TokenRefused, match="expired already"):
            issue_token(
                user=cast.analyst,
                organisation=cast.organisation,
                name="rates",
                expires_at=timezone.now() - dt.timedelta(seconds=1),
            )
        assert not Token.objects.exists()


class TestCommand:
    def test_prints_a_key_that_serves(self, cast: Cast) -> None:
        out, said = io.StringIO(), io.StringIO()
        options = {"organisation": "larch-row", "name": "rates", "days": 30}
        call_command("issue_token", "analyst", **options, stdout=out, stderr=said)
        assert ask(f"Bearer {out.getvalue().strip()}").status_code == 200
        assert "can't be shown again" in said.getvalue()

    @pytest.mark.parametrize(
        ("username", "slug", "message"),
        [
            ("nobody", "larch-row", "nobody"),
            ("analyst", "no-such", "no-such"),
            ("outsider", "larch-row", "not a member"),
        ],
    )
    def test_says_why_not(self, cast: Cast, username: str, slug: str, message: str) -> None:
        with pytest.raises(CommandError, match=message):
            call_command("issue_token", username, organisation=slug, name="rates")


class TestSessions:
    def test_somebody_of_one_organisation_need_not_say_which(self, cast: Cast) -> None:
        building = factories.building(cast.organisation)
        client = client_of(cast.analyst)
        for path in ("buildings/", "buildings/?organisation=larch-row"):
            (row,) = client.get(ROOT + path).json()["results"]
            assert row["id"] == str(building.pk)

    def test_an_organisation_that_one_is_not_in_does_not_exist(self, cast: Cast) -> None:
        client = client_of(cast.analyst)
        for slug in ("mill-lane", "no-such"):
            assert_problem(client.get(f"{ROOT}buildings/?organisation={slug}"), 404)

    def test_somebody_of_several_must_say_which(self, cast: Cast) -> None:
        Membership.objects.create(user=cast.analyst, organisation=cast.other_organisation, role=Role.ANALYST)
        client = client_of(cast.analyst)
        problem = assert_problem(client.get(f"{ROOT}buildings/"), 400)
        assert problem["errors"][0]["parameter"] == "organisation"
        assert "larch-row, mill-lane" in problem["detail"]
        assert client.get(f"{ROOT}buildings/?organisation=mill-lane").status_code == 200
        both = client.get(f"{ROOT}organisations/").json()["results"]
        assert [row["slug"] for row in both] == ["larch-row", "mill-lane"]
        assert client.get(ROOT).status_code == 200

    def test_somebody_of_none_is_told_so(self, cast: Cast) -> None:
        Membership.objects.filter(user=cast.analyst).delete()
        client = client_of(cast.analyst)
        assert "not a member" in assert_problem(client.get(f"{ROOT}buildings/"), 403)["detail"]
        assert client.get(f"{ROOT}organisations/").json()["results"] == []

    def test_no_one_writes_by_a_forged_form(self, cast: Cast) -> None:
        client = Client(enforce_csrf_checks=True)
        client.force_login(cast.owner)
        assert_problem(client.post(f"{ROOT}buildings/"), 403)
