"""Others write while a load runs, and a load is killed: nobody sees an error, and nothing is half done.

``WYTHE_LOAD_READINGS`` and ``WYTHE_LOAD_KILLS`` make it as large as one likes; 200,000 readings are the aim.
"""

from __future__ import annotations

import json
import os
import random
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.concurrency.books import write_big_book
from tests.support.databases import Database, copy_of, empty_database

READINGS = int(os.environ.get("WYTHE_LOAD_READINGS", "10000"))
KILLED_READINGS = READINGS // 4
KILLS = int(os.environ.get("WYTHE_LOAD_KILLS", "4"))
WRITERS = 16


@pytest.fixture
def database(db: None, tmp_path: Path) -> Iterator[Database]:
    with empty_database(tmp_path) as database:
        yield database


def test_sixteen_writers_and_a_load_do_not_hinder_each_other(database: Database, tmp_path: Path) -> None:
    database.load(write_big_book(tmp_path / "first", 100))
    folder = write_big_book(tmp_path / "book", READINGS)
    reports_folder = tmp_path / "reports"
    reports_folder.mkdir()
    with database.start("-m", "tests.concurrency.writers", str(WRITERS), str(reports_folder)) as writers:
        assert writers.stdout is not None
        ready = [writers.stdout.readline() for _ in range(WRITERS)]
        before = _written_by_all(database)
        loaded = database.load(folder)
        during = _written_by_all(database) - before
        (reports_folder / "stop").touch()
        _, err = writers.communicate()
    reports = [json.loads(path.read_text()) for path in reports_folder.glob("*.json")]

    assert ready == ["ready\n"] * WRITERS, err
    assert len(reports) == WRITERS, err
    assert [report["errors"] for report in reports] == [[]] * WRITERS
    print(f"{during} writes met the load; the longest waited {max(r['longest'] for r in reports):.1f} s")
    assert f"{READINGS - 100:,} new" in loaded
    assert during >= WRITERS, "the writers and the load hardly met"
    _nothing_is_lost_or_doubled(database, reports, folder)


def _written_by_all(database: Database) -> int:
    ((count,),) = database.rows("SELECT COUNT(*) FROM inspections_reading WHERE quantity = 'air_humidity'")
    return int(count)


def _nothing_is_lost_or_doubled(database: Database, reports: list[dict[str, Any]], folder: Path) -> None:
    acknowledged = [key.replace("-", "") for report in reports for key in report["written"]]
    stored = database.rows("SELECT id, visit_id FROM inspections_reading WHERE quantity = 'air_humidity'")
    assert sorted(str(key).replace("-", "") for key, _ in stored) == sorted(acknowledged)
    visits = database.rows("SELECT day, id FROM inspections_visit WHERE inspector = 'all of us'")
    assert len({day for day, _ in visits}) == len(visits) == len({visit for _, visit in stored})
    assert database.rows("SELECT revision FROM portfolio_building WHERE code = 'H0'") == [
        (1 + len(acknowledged),)
    ]
    # Every row of the book is there, as it was given, once.
    assert f"0 new         0 changed {READINGS:>9,} unchanged" in database.load(folder)
    assert database.is_sound()


def test_a_load_that_is_killed_leaves_the_old_or_the_new(database: Database, tmp_path: Path) -> None:
    database.load(write_big_book(tmp_path / "book", KILLED_READINGS))
    corrected = write_big_book(tmp_path / "corrected", KILLED_READINGS, corrected=True)
    old = database.contents()
    with copy_of(database, "whole") as copy:
        start = time.monotonic()
        copy.load(corrected)
        took = time.monotonic() - start
        new = copy.contents()
    assert new != old
    killed = 0
    for number in range(KILLS):
        with copy_of(database, f"killed{number}") as copy:
            killed += _kill(copy, corrected, took * _moment(number))
            assert copy.is_sound()
            assert copy.contents() in (old, new)
    assert killed, "every load had ended before it was to be killed"
    with copy_of(database, "last") as copy:
        _kill(copy, corrected, took / 2)
        copy.load(corrected)
        # Whatever the killed one left, the next load ends well.
        assert copy.contents()[:-1] == new[:-1]


def _moment(number: int) -> float:
    """A random share of a load's time, one in each of so many equal parts of it."""
    return (number + random.random()) / KILLS


def _kill(database: Database, folder: Path, after: float) -> bool:
    """Kill a load that has run so many seconds; whether it was still running."""
    with database.start_load(folder) as process:
        try:
            process.wait(timeout=after)
        except subprocess.TimeoutExpired:
            process.kill()
        process.communicate()
        return process.returncode != 0
