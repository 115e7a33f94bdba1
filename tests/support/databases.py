"""Databases of their own for programs that are started, met and killed, on the engine the tests run on."""

from __future__ import annotations

import atexit
import os
import re
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from urllib.parse import urlsplit

import psycopg

from tests.support.services import empty_postgres_database

ROOT = Path(__file__).parent.parent.parent
SLUG = "sandal-lane"
#: What a load may change, without the keys and times that differ from one run to the next.
CONTENTS = (
    "SELECT code, revision FROM portfolio_building",
    "SELECT code, revision FROM portfolio_section",
    "SELECT day, inspector, revision FROM inspections_visit",
    "SELECT taken_at, quantity, value, entered_value, revision FROM inspections_reading",
    "SELECT model, reason FROM portfolio_change",
    "SELECT source FROM inspections_load",
)


@dataclass(frozen=True)
class Database:
    """Where a database is, and how a program is run on it."""

    url: str

    @property
    def on_sqlite(self) -> bool:
        return self.url.startswith("sqlite")

    @property
    def path(self) -> str:
        """The file of an SQLite database."""
        return urlsplit(self.url).path

    def start(self, *arguments: str) -> subprocess.Popen[str]:
        """Start a program of the project on this database."""
        return subprocess.Popen(
            [sys.executable, *arguments],
            cwd=ROOT,
            env={name: value for name, value in os.environ.items() if name != "REDIS_URL"}
            | {"DATABASE_URL": self.url, "DJANGO_SETTINGS_MODULE": "portfolio.settings"},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def manage(self, *arguments: str) -> str:
        """Run a command to its end; what it says."""
        with self.start("manage.py", *arguments) as process:
            out, err = process.communicate()
        assert process.returncode == 0, err
        return out

    def start_load(self, folder: Path) -> subprocess.Popen[str]:
        return self.start("manage.py", "load_records", str(folder), "--organisation", SLUG)

    def load(self, folder: Path) -> str:
        return self.manage("load_records", str(folder), "--organisation", SLUG)

    def rows(self, query: str) -> list[tuple[Any, ...]]:
        """What a query gives, asked without the project."""
        if self.on_sqlite:
            with closing(sqlite3.connect(self.path)) as connection:
                # A check of the photos' table needs it; Django brings its own.
                connection.create_function("REGEXP", 2, lambda pattern, text: bool(re.search(pattern, text)))
                return connection.execute(query).fetchall()
        with psycopg.connect(self.url) as connection:
            return connection.execute(query).fetchall()

    def write(self, statement: str) -> None:
        """Change something without the project."""
        if self.on_sqlite:
            with closing(sqlite3.connect(self.path, timeout=30)) as connection, connection:
                connection.execute(statement)
            return
        with psycopg.connect(self.url) as connection:
            connection.execute(statement)

    def contents(self) -> list[list[tuple[Any, ...]]]:
        """All that a load may change, in one order."""
        return [sorted(self.rows(query)) for query in CONTENTS]

    def is_sound(self) -> bool:
        """What SQLite itself says of its file; PostgreSQL recovers by its own log."""
        return not self.on_sqlite or self.rows("PRAGMA integrity_check") == [("ok",)]


@contextmanager
def empty_database(folder: Path, name: str = "own", *, on_sqlite: bool | None = None) -> Iterator[Database]:
    """A migrated database with nothing in it, on the engine of the tests' own unless another is asked for."""
    from django.db import connection

    if connection.vendor == "sqlite" if on_sqlite is None else on_sqlite:
        database = Database(f"sqlite:///{folder}/{name}.sqlite3")
        shutil.copy(_empty_file().path, database.path)
        yield database
    else:
        with empty_postgres_database() as url:
            yield _migrated(Database(url))


@cache
def _empty_file() -> Database:
    """Migrated once for all tests of this process, which copy it."""
    folder = TemporaryDirectory()
    atexit.register(folder.cleanup)
    database = _migrated(Database(f"sqlite:///{folder.name}/empty.sqlite3"))
    database.rows("PRAGMA wal_checkpoint(TRUNCATE)")
    return database


def _migrated(database: Database) -> Database:
    database.manage("migrate", "--verbosity=0")
    return database


@contextmanager
def copy_of(database: Database, name: str) -> Iterator[Database]:
    """A copy for a program that will not leave it as it was. Nobody may use the original meanwhile."""
    if database.on_sqlite:
        database.rows("PRAGMA wal_checkpoint(TRUNCATE)")
        path = Path(database.path).with_name(f"{name}.sqlite3")
        shutil.copy(database.path, path)
        yield Database(f"sqlite:///{path}")
        return
    original = urlsplit(database.url)
    copied = f"{original.path.lstrip('/')}_{name}"
    server = original._replace(path="/postgres").geturl()
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{copied}" TEMPLATE "{original.path.lstrip("/")}"')
        try:
            yield Database(original._replace(path=f"/{copied}").geturl())
        finally:
            connection.execute(f'DROP DATABASE "{copied}" WITH (FORCE)')
