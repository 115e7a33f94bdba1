"""Everything goes from SQLite to PostgreSQL and back and is then the same, compared without the project."""

from __future__ import annotations

import hashlib
import json
import os
import stat
from pathlib import Path
from typing import Any

import pytest

from tests.backup.filled import DIGEST, KEY, PASSWORD, PICTURE
from tests.support.databases import Database, empty_database

#: What is not carried, each with its reason.
LEFT = {
    "django_session": "people sign in again",
    "django_migrations": "each database has taken its own steps",
    "django_content_type": "Django makes it anew; nothing points to it",
    "auth_permission": "Django makes it anew; roles are memberships",
    "sqlite_sequence": "SQLite's own",
}
#: Filled by nothing in the project: roles are memberships.
UNUSED = {
    "auth_group",
    "auth_group_permissions",
    "portfolio_user_groups",
    "portfolio_user_user_permissions",
}
NAMES = "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name"
#: The keys to it are as good as before, and numbered rows go on where they ended.
STILL_OPEN = f"""
from inspections.models import LogSeries, LogValue
from portfolio.models import Token, User
assert User.objects.get(username="owner").check_password({PASSWORD!r})
assert Token.objects.get(digest={hashlib.sha256(KEY.encode()).hexdigest()!r}).user.username == "owner"
LogValue.objects.create(series=LogSeries.objects.get(), at="2025-01-01T00:00Z", value=1)
"""


def every_row(database: Database) -> dict[str, list[tuple[Any, ...]]]:
    names = [name for (name,) in database.rows(NAMES) if name not in LEFT]
    return {
        name: sorted((tuple(map(_value, row)) for row in database.rows(f'SELECT * FROM "{name}"')), key=repr)
        for name in names
    }


def _value(value: Any) -> Any:
    """JSON as what it says: PostgreSQL keeps the members of an object in an order of its own."""
    return json.loads(value) if isinstance(value, str) and value.startswith("{") else value


@pytest.mark.services
@pytest.mark.usefixtures("db")
def test_from_sqlite_to_postgresql_and_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with (
        empty_database(tmp_path, "first", on_sqlite=True) as first,
        empty_database(tmp_path, on_sqlite=False) as second,
        empty_database(tmp_path, "third", on_sqlite=True) as third,
    ):
        files = [tmp_path / f"media-{number}" for number in range(3)]
        backups = [tmp_path / f"{number}.zip" for number in range(2)]
        monkeypatch.setenv("WYTHE_MEDIA", str(files[0]))
        with first.start("-m", "tests.backup.filled") as filling:
            assert filling.wait() == 0, filling.communicate()[1]
        first.manage("backup", str(backups[0]))
        monkeypatch.setenv("WYTHE_MEDIA", str(files[1]))
        second.manage("restore", str(backups[0]))
        second.manage("backup", str(backups[1]))
        monkeypatch.setenv("WYTHE_MEDIA", str(files[2]))
        third.manage("restore", str(backups[1]))

        rows = every_row(first)
        assert every_row(third) == rows
        empty = {name for name, held in rows.items() if not held}
        assert empty <= UNUSED, "fill these tables too, or say why they stay empty"
        assert (files[2] / DIGEST[:2] / f"{DIGEST}.jpg").read_bytes() == PICTURE
        assert stat.S_IMODE(os.stat(backups[0]).st_mode) == 0o600
        for database in (second, third):
            database.manage("shell", "-c", STILL_OPEN)
