"""Where the services for the tests are; a missing one skips a test, or fails it where all must be there."""

import os
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from typing import NoReturn
from urllib.parse import urlsplit, urlunsplit

import psycopg
import pytest
import redis

POSTGRES_SERVER = "postgres://postgres@127.0.0.1:5432/postgres"
REDIS_SERVER = "redis://127.0.0.1:6379/"
#: The first of the Redis databases that tests empty; each process that runs tests has its own.
FIRST_REDIS_DATABASE = 10


def everything_must_be_there() -> bool:
    """True in continuous integration, where a skipped test would be a check that silently went missing."""
    return os.environ.get("WYTHE_CI") == "1" or os.environ.get("CI", "").lower() == "true"


def missing(what: str) -> NoReturn:
    if everything_must_be_there():
        pytest.fail(what)
    pytest.skip(what)


def _on_same_server(url: str, database: str) -> str:
    return urlunsplit(urlsplit(url)._replace(path=f"/{database}"))


@contextmanager
def empty_postgres_database() -> Iterator[str]:
    """The URL of a new, empty database on the PostgreSQL server, dropped afterwards."""
    configured = os.environ.get("DATABASE_URL", "")
    server = _on_same_server(configured, "postgres") if configured.startswith("postgres") else POSTGRES_SERVER
    name = f"wythe_{uuid.uuid4().hex}"
    try:
        connection = psycopg.connect(server, autocommit=True, connect_timeout=3)
    except psycopg.OperationalError as error:
        missing(f"no PostgreSQL at {server}: {error}")
    with connection:
        connection.execute(f'CREATE DATABASE "{name}"')
        try:
            yield _on_same_server(server, name)
        finally:
            connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


@contextmanager
def empty_redis_database() -> Iterator[str]:
    """The URL of an emptied Redis database, emptied again afterwards.

    It is one of its own on the server that `REDIS_URL` names, so that nothing kept in that one is lost.
    """
    process = int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw"))
    number = FIRST_REDIS_DATABASE + process % (16 - FIRST_REDIS_DATABASE)
    url = _on_same_server(os.environ.get("REDIS_URL") or REDIS_SERVER, str(number))
    client = redis.Redis.from_url(url, socket_connect_timeout=3)
    try:
        client.flushdb()
    except redis.ConnectionError as error:
        missing(f"no Redis at {url}: {error}")
    try:
        yield url
    finally:
        client.flushdb()
        client.close()
