"""The API's limit on requests: counted by token, answered as a problem."""

from __future__ import annotations

import pytest
from django.test import Client
from pytest_django import Settings

from portfolio import limits
from tests.api.client import Program, assert_problem, description
from tests.support.cast import Cast

FEW = 3


@pytest.fixture(autouse=True)
def few_requests_at_an_unmoving_time(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.API_REQUESTS_A_MINUTE = FEW
    monkeypatch.setattr(limits.time, "time", lambda: 1_750_000_050.0)


def test_one_too_many_is_answered_as_a_problem(cast: Cast) -> None:
    description()  # Asked for beforehand: it counts too, for this address.
    program = Program(cast.analyst, cast.organisation)
    for _ in range(FEW):
        assert program.get("buildings/").status_code == 200
    response = program.get("buildings/")
    problem = assert_problem(response, 429)
    # The window began on a whole minute: 1,750,000,050 is 30 s into one.
    assert response["Retry-After"] == "30"
    assert problem["detail"] == "Too many requests within a minute. Wait 30 seconds, then go on."


def test_each_token_and_each_person_has_a_limit_of_their_own(cast: Cast) -> None:
    program = Program(cast.analyst, cast.organisation)
    for _ in range(FEW + 1):
        program.get("buildings/")
    assert Program(cast.analyst, cast.organisation).get("buildings/").status_code == 200
    signed_in = Client()
    signed_in.force_login(cast.analyst)
    answers = [signed_in.get("/api/v1/buildings/").status_code for _ in range(FEW + 1)]
    assert answers == [200] * FEW + [429]


@pytest.mark.django_db
def test_the_description_is_limited_by_address() -> None:
    answers = [Client().get("/api/v1/schema/?format=json").status_code for _ in range(FEW + 1)]
    assert answers[-1] == 429
    assert Client().get("/api/v1/schema/?format=json", REMOTE_ADDR="192.0.2.1").status_code == 200
