"""A database that the first release made, with rows in every table, becomes one of today with the same rows.

The dumps hold the tables as that release's migrations made them, so that a migration that was edited after it
was landed shows too.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Collection, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import psycopg
import pytest

from tests.support.databases import Database
from tests.support.services import empty_postgres_database

DUMPS = Path(__file__).parent / "data"
#: Every record is read as the program reads it, and every table that the release had must give some.
READ = """
import django; django.setup()
from django.apps import apps
for model in apps.get_models():
    print(model._meta.db_table, len([str(record) for record in model._base_manager.all()]))
"""
FIRST_TABLES = [
    *(
        f"portfolio_{name}"
        for name in [
            "organisation",
            "user",
            "membership",
            "token",
            "change",
            "building",
            "section",
            "treatment",
            "event",
        ]
    ),
    *(
        f"inspections_{name}"
        for name in [
            "instrument",
            "calibrationcheck",
            "visit",
            "reading",
            "logseries",
            "logvalue",
            "photo",
            "load",
            "assessment",
            "flag",
            "action",
            "plan",
            "trial",
            "allocation",
        ]
    ),
]
SLUG = "larch-row"

Contents = dict[str, list[dict[str, Any]]]


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.services)])
def first_release(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """A database as the first release left it."""
    dump = (DUMPS / f"first_release.{request.param}.sql").read_text(encoding="utf-8")
    if request.param == "sqlite":
        path = tmp_path / "first.sqlite3"
        with closing(sqlite3.connect(path)) as connection:
            # A check of the photos' table needs it; Django brings its own.
            connection.create_function("REGEXP", 2, lambda pattern, text: bool(re.search(pattern, text)))
            connection.executescript(dump)
        yield Database(f"sqlite:///{path}")
        return
    with empty_postgres_database() as url:
        with psycopg.connect(url) as connection:
            connection.execute(dump.encode())
        yield Database(url)


def contents(database: Database, tables: Collection[str]) -> Contents:
    """All rows of these tables, by table and column."""
    connection = sqlite3.connect(database.path) if database.on_sqlite else psycopg.connect(database.url)
    found: Contents = {}
    with closing(connection):
        for name in tables:
            cursor: Any = connection.execute(f"SELECT * FROM {name} ORDER BY id")  # type: ignore[call-overload]
            columns = [column[0] for column in cursor.description]
            found[name] = [dict(zip(columns, row, strict=True)) for row in cursor.fetchall()]
    return found


def test_a_database_of_the_first_release_migrates_and_keeps_its_rows(
    first_release: Database, tmp_path: Path
) -> None:
    before = contents(first_release, FIRST_TABLES)
    assert all(before.values())
    first_release.manage("migrate", "--verbosity=0")
    after = contents(first_release, FIRST_TABLES)
    for name in FIRST_TABLES:
        kept = set(before[name][0]) & set(after[name][0])
        assert [{column: row[column] for column in kept} for row in before[name]] == [
            {column: row[column] for column in kept} for row in after[name]
        ], name
    assert first_release.is_sound()
    with first_release.start("-c", READ) as process:
        out, err = process.communicate()
    assert process.returncode == 0, err
    read = {name: int(count) for name, count in (line.split() for line in out.splitlines())}
    assert {name: read[name] for name in FIRST_TABLES} == {name: len(before[name]) for name in FIRST_TABLES}
    first_release.manage("export_records", str(tmp_path / "out"), "--organisation", SLUG)
    assert len((tmp_path / "out" / "readings.csv").read_text().splitlines()) == 2
    first_release.manage("assess", "--organisation", SLUG)
