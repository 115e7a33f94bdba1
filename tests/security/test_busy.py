"""A lock in the database is not an error of the program: the answer is to come again."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import NoReturn

import psycopg
import pytest
from django.contrib.sessions.middleware import SessionMiddleware
from django.db import OperationalError, connection
from django.test import Client

from inspections.web.views import pages
from portfolio.api.viewsets import BuildingViewSet
from portfolio.busy import RETRY_AFTER, is_busy
from tests.api.client import Program, assert_problem, description
from tests.support.cast import Cast, client_of


@pytest.fixture
def lock_error(tmp_path: Path) -> OperationalError:
    """What Django raises when SQLite's file stays locked by somebody else."""
    path = tmp_path / "locked.sqlite3"
    with closing(sqlite3.connect(path)) as first, closing(sqlite3.connect(path, timeout=0)) as second:
        first.execute("BEGIN IMMEDIATE")
        with pytest.raises(sqlite3.OperationalError) as caught:
            second.execute("BEGIN IMMEDIATE")
    error = OperationalError(*caught.value.args)
    error.__cause__ = caught.value
    return error


def raising(error: Exception) -> object:
    def fail(*args: object, **kwargs: object) -> NoReturn:
        raise error

    return fail


@pytest.mark.services
def test_a_lock_that_is_waited_for_too_long_on_postgresql(postgres: None) -> None:
    parameters = connection.get_connection_params()
    names = ("dbname", "user", "host", "port", "password")
    with psycopg.connect(**{name: parameters[name] for name in names if name in parameters}) as other:
        other.execute("LOCK TABLE portfolio_user")
        with connection.cursor() as cursor:
            cursor.execute("SET lock_timeout = '10ms'")
            with pytest.raises(OperationalError) as caught:
                cursor.execute("SELECT * FROM portfolio_user")
            cursor.execute("RESET lock_timeout")
    assert is_busy(caught.value)


def test_only_a_lock_counts_as_busy(lock_error: OperationalError) -> None:
    assert is_busy(lock_error)
    with closing(sqlite3.connect(":memory:")) as memory, pytest.raises(sqlite3.OperationalError) as caught:
        memory.execute("SELECT * FROM nowhere")
    other = OperationalError(*caught.value.args)
    other.__cause__ = caught.value
    assert not is_busy(other)
    assert not is_busy(ValueError("database is locked"))
    assert not is_busy(None)


def test_the_api_answers_503(
    cast: Cast, lock_error: OperationalError, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(BuildingViewSet, "get_queryset", raising(lock_error))
    response = Program(cast.analyst, cast.organisation).get("buildings/")
    problem = assert_problem(response, 503)
    assert response["Retry-After"] == str(RETRY_AFTER)
    assert "nothing of this request was saved" in problem["detail"]


def test_a_page_answers_503(
    cast: Cast, lock_error: OperationalError, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pages, "organisations_of", raising(lock_error))
    response = client_of(cast.owner).get("/")
    assert response.status_code == 503
    assert response["Retry-After"] == str(RETRY_AFTER)
    assert "Nothing of it was saved" in response.content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/sign-in/", "/api/v1/buildings/"])
def test_a_lock_outside_the_view_answers_503_too(
    path: str, lock_error: OperationalError, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As when a session is saved after the page was made."""
    description()  # What the answer is held against is asked for while all is well.
    monkeypatch.setattr(SessionMiddleware, "process_response", raising(lock_error))
    response = Client(raise_request_exception=False).get(path)
    assert response.status_code == 503
    assert response["Retry-After"] == str(RETRY_AFTER)
    if path.startswith("/api/"):
        assert_problem(response, 503)


def test_any_other_error_is_still_an_error(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pages, "organisations_of", raising(OperationalError("disk I/O error")))
    client = client_of(cast.owner)
    client.raise_request_exception = False
    response = client.get("/")
    assert response.status_code == 500
    assert "Something failed on our side" in response.content.decode()
