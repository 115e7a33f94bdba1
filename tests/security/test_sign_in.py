"""Signing in: guesses are limited and noted, and nobody else is hindered by them."""

from __future__ import annotations

import logging
from collections.abc import Callable

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse
from pytest_django import Settings

from portfolio import limits, sign_in
from tests.support.cast import PASSWORD, Cast

HERE, ELSEWHERE = "192.0.2.1", "198.51.100.7"  # Set aside for examples by RFC 5737.
Try = Callable[..., HttpResponse]


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """What the limits take for the time; set its one value."""
    now = [1_750_000_000.0 // sign_in.QUARTER_HOUR * sign_in.QUARTER_HOUR]
    monkeypatch.setattr(limits.time, "time", lambda: now[0])
    return now


@pytest.fixture
def attempt(cast: Cast, clock: list[float], settings: Settings) -> Try:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    for person in cast.members:
        person.set_password(PASSWORD)
        person.save()

    def attempt(name: str, password: str = "a guess", address: str = HERE, **extra: str) -> HttpResponse:
        form = {"username": name, "password": password}
        return Client().post(reverse("sign-in"), form, REMOTE_ADDR=address, **extra)

    return attempt


def _use_up(attempt: Try, limit: limits.Limit, name: str = "owner", address: str = HERE) -> None:
    for _ in range(limit.count):
        assert attempt(name, address=address).status_code == 200


def test_after_ten_failures_even_the_right_password_waits(attempt: Try, clock: list[float]) -> None:
    _use_up(attempt, sign_in.OF_NAME_FROM_ADDRESS)
    clock[0] += 60
    refused = attempt("owner", PASSWORD)
    assert refused.status_code == 429
    assert refused["Retry-After"] == str(14 * 60)
    assert "Wait 14 minutes" in refused.content.decode()
    clock[0] += 14 * 60
    assert attempt("owner", PASSWORD).status_code == 302


def test_letters_of_another_case_are_the_same_name(attempt: Try) -> None:
    _use_up(attempt, sign_in.OF_NAME_FROM_ADDRESS)
    assert attempt("OWNER").status_code == 429


def test_other_people_and_the_person_elsewhere_still_get_in(attempt: Try) -> None:
    _use_up(attempt, sign_in.OF_NAME_FROM_ADDRESS)
    assert attempt("owner").status_code == 429
    assert attempt("manager", PASSWORD).status_code == 302
    assert attempt("owner", PASSWORD, ELSEWHERE).status_code == 302


def test_guesses_at_one_name_from_many_addresses_are_limited(attempt: Try) -> None:
    answers = [attempt("owner", address=f"203.0.113.{n}").status_code for n in range(sign_in.OF_NAME.count)]
    assert set(answers) == {200}
    assert attempt("owner", address=ELSEWHERE).status_code == 429


def test_guesses_at_many_names_from_one_address_are_limited(attempt: Try) -> None:
    answers = [attempt(f"name{n}").status_code for n in range(sign_in.OF_ADDRESS.count)]
    assert set(answers) == {200}
    assert attempt("nobody at all").status_code == 429


def test_an_unknown_name_is_limited_like_a_known_one(attempt: Try) -> None:
    _use_up(attempt, sign_in.OF_NAME_FROM_ADDRESS, "nobody")
    assert attempt("nobody").status_code == 429


def test_signing_in_rightly_is_not_counted(attempt: Try) -> None:
    for _ in range(sign_in.OF_NAME.count + 1):
        assert attempt("owner", PASSWORD).status_code == 302
    _use_up(attempt, sign_in.OF_NAME_FROM_ADDRESS)
    assert attempt("owner").status_code == 429


def test_the_address_is_the_trusted_proxys_word_and_nobody_elses(attempt: Try, settings: Settings) -> None:
    settings.TRUST_PROXY = True
    for n in range(sign_in.OF_NAME_FROM_ADDRESS.count):
        attempt("owner", HTTP_X_FORWARDED_FOR=f"203.0.113.{n}, {ELSEWHERE}")
    assert attempt("owner", HTTP_X_FORWARDED_FOR=f"203.0.113.99, {ELSEWHERE}").status_code == 429
    assert attempt("owner", PASSWORD, HTTP_X_FORWARDED_FOR=HERE).status_code == 302
    settings.TRUST_PROXY = False
    assert attempt("owner", HTTP_X_FORWARDED_FOR=ELSEWHERE).status_code == 200


def test_a_whole_ipv6_network_has_one_limit(attempt: Try) -> None:
    for n in range(sign_in.OF_NAME_FROM_ADDRESS.count):
        attempt("owner", address=f"2001:db8::{n:x}")
    assert attempt("owner", address="2001:db8::ffff:1").status_code == 429
    assert attempt("owner", PASSWORD, address="2001:db8:0:1::1").status_code == 302


def test_failures_are_noted_without_the_password(attempt: Try, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.INFO, "portfolio.sign_in"):
        attempt("owner\nforged line", "my secret guess")
        attempt("owner", PASSWORD)
    failed, succeeded = caplog.messages
    assert failed == f"Sign-in failed for 'owner\\nforged line' from {HERE}"
    assert succeeded == f"Signed in: 'owner' from {HERE}"


def test_a_closed_account_does_not_sign_in(attempt: Try, cast: Cast) -> None:
    cast.owner.is_active = False
    cast.owner.save()
    assert attempt("owner", PASSWORD).status_code == 200


def test_signing_in_changes_the_session(cast: Cast, attempt: Try, settings: Settings) -> None:
    """A session key that somebody planted beforehand is worth nothing afterwards."""
    client = Client()
    session = client.session
    session["planted"] = True
    session.save()
    planted = session.session_key
    client.post(reverse("sign-in"), {"username": "owner", "password": PASSWORD})
    cookie = client.cookies[settings.SESSION_COOKIE_NAME]
    assert cookie.value != planted
    assert cookie["httponly"]
    assert cookie["samesite"] == "Lax"
    assert not Client().session.exists(planted)


def test_a_new_password_ends_all_sessions(cast: Cast, attempt: Try) -> None:
    client = Client()
    client.force_login(cast.owner)
    assert client.get("/").status_code == 200
    cast.owner.set_password("another one, also long")
    cast.owner.save()
    assert client.get("/").status_code == 302
