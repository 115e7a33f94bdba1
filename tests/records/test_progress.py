"""Progress is for people at a terminal; a log file gets none of it."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from django.core.management import call_command

pytestmark = pytest.mark.django_db


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_terminal_sees_what_is_being_done(folder: Path) -> None:
    terminal, out = Terminal(), io.StringIO()
    call_command("load_records", str(folder), organisation="larch-row", stderr=terminal, stdout=out)
    assert "\rcomparing readings: 6 rows" in terminal.getvalue()
    assert "\rsaving: " in terminal.getvalue()
    assert "6 new" in out.getvalue()
    assert "Loaded: organisation larch-row (new)." in out.getvalue()


def test_a_file_sees_none_of_it(folder: Path) -> None:
    log = io.StringIO()
    call_command("load_records", str(folder), organisation="larch-row", stderr=log, stdout=io.StringIO())
    assert log.getvalue() == ""


def test_a_dry_run_says_that_nothing_was_saved(folder: Path) -> None:
    out = io.StringIO()
    call_command("load_records", str(folder), organisation="larch-row", dry_run=True, stdout=out)
    assert "nothing saved" in out.getvalue()
