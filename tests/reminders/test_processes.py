"""A short proof with real servers and killed processes; `python -m tests.reminders.soak` is the long one."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.reminders.processes import Sizes, prove
from tests.support.databases import empty_database


@pytest.mark.services
@pytest.mark.usefixtures("postgres_url")
def test_two_beats_and_two_workers_tell_everybody_once(tmp_path: Path) -> None:
    sizes = Sizes(reminders=60, people=50, schedulers=2, senders=2, kills=3)
    with empty_database(tmp_path, on_sqlite=False) as database:
        report = prove(database, tmp_path, sizes)
    assert report.faults == []
    assert report.kills == 3


def test_four_processes_on_one_file_tell_everybody_once(tmp_path: Path) -> None:
    sizes = Sizes(reminders=60, people=50, senders=4, kills=2)
    with empty_database(tmp_path, on_sqlite=True) as database:
        report = prove(database, tmp_path, sizes)
    assert report.faults == []
