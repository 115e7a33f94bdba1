"""A served page, over HTTP, while somebody else holds the database for longer than anybody waits."""

from __future__ import annotations

import http.cookiejar
import re
import socket
import sqlite3
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import psycopg
import pytest

from tests.support.databases import Database, empty_database

NAME, PASSWORD = "owner", "slaked lime and sharp sand"
START_SECONDS = 60
CREATE = f"from portfolio.models import User; User.objects.create_user({NAME!r}, password={PASSWORD!r})"


@contextmanager
def served(database: Database) -> Iterator[str]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with database.start("-m", "gunicorn", "portfolio.wsgi", f"--bind=127.0.0.1:{port}") as server:
        try:
            _wait_for(port)
            yield f"http://127.0.0.1:{port}"
        finally:
            server.terminate()
            server.communicate()


def _wait_for(port: int) -> None:
    deadline = time.monotonic() + START_SECONDS
    while True:
        try:
            socket.create_connection(("127.0.0.1", port)).close()
            return
        except OSError:
            assert time.monotonic() < deadline, "the server did not start"
            time.sleep(0.1)


@contextmanager
def held_by_somebody(database: Database) -> Iterator[None]:
    if database.on_sqlite:
        with closing(sqlite3.connect(database.path)) as connection:
            connection.execute("BEGIN IMMEDIATE")
            yield
    else:
        with psycopg.connect(database.url) as connection:
            connection.execute("LOCK TABLE django_session IN EXCLUSIVE MODE")
            yield


def sign_in(site: str) -> tuple[int, str | None]:
    """Sign in by the form; the answer's status and when to come again."""
    jar = http.cookiejar.CookieJar()
    browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(jar))
    page = browser.open(f"{site}/sign-in/").read().decode()
    found = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page)
    assert found is not None
    form = {"username": NAME, "password": PASSWORD, "csrfmiddlewaretoken": found[1]}
    try:
        answer = browser.open(f"{site}/sign-in/", urllib.parse.urlencode(form).encode())
    except urllib.error.HTTPError as error:
        return error.code, error.headers["Retry-After"]
    return answer.status, None


def test_a_request_that_waits_too_long_is_told_to_come_again(
    db: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("WYTHE_LOCK_SECONDS", "1")
    with empty_database(tmp_path) as database:
        database.manage("shell", "-c", CREATE)
        with served(database) as site:
            with held_by_somebody(database):
                assert sign_in(site) == (503, "5")
            assert sign_in(site) == (200, None)
