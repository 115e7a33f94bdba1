"""A load beside others: writers wait only while it saves, and a killed one leaves the old state behind.

Each load runs in a process of its own, halted at a chosen point, against a database that outlives it.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.records.books import Tables, write_book

pytestmark = pytest.mark.services
ROOT = Path(__file__).parent.parent.parent

START = """
import sys, django
django.setup()
from inspections.records import load_folder, loading

def halt(*args, **kwargs):
    print("here", flush=True)
    sys.stdin.readline()
"""
HALTED_BEFORE_SAVING = """
saving = loading._Run._apply
loading._Run._apply = lambda *args: (halt(), saving(*args))
"""
HALTED_WHILE_SAVING = """
loading._Run._note_load = halt
"""
LOAD = "load_folder(sys.argv[1], 'larch-row')"
OTHER_WRITER = """
import django
django.setup()
from django.db import connection
from portfolio.models import Organisation
if connection.vendor == "sqlite":
    connection.cursor().execute("PRAGMA busy_timeout = 1000")
Organisation.objects.create(slug="mill-lane", name="Mill Lane")
"""
COUNTS = """
import django
django.setup()
from inspections.models import Load, Reading, Visit
from portfolio.models import Organisation
print(*(model.objects.count() for model in (Organisation, Load, Reading, Visit)))
"""

Run = Callable[..., "subprocess.Popen[str]"]


@pytest.fixture(params=["sqlite", "postgresql"])
def run(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Run]:
    """Start Python code with arguments against a migrated database of one engine."""
    on_file = request.param == "sqlite"
    url = f"sqlite:///{tmp_path}/wythe.sqlite3" if on_file else request.getfixturevalue("postgres_url")
    environment = os.environ | {"DATABASE_URL": url, "DJANGO_SETTINGS_MODULE": "portfolio.settings"}
    started: list[subprocess.Popen[str]] = []

    def start(code: str, *arguments: str) -> subprocess.Popen[str]:
        process = subprocess.Popen(
            [sys.executable, "-c", code, *arguments],
            cwd=ROOT,
            env=environment,
            text=True,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
        started.append(process)
        return process

    migrate = "import django; django.setup()\nfrom django.core.management import call_command\n"
    finished(start(migrate + "call_command('migrate', verbosity=0, skip_checks=True)"))
    yield start
    for process in started:
        process.kill()
        process.communicate()


def finished(process: subprocess.Popen[str]) -> str:
    out, errors = process.communicate("\n", timeout=120)
    assert process.returncode == 0, errors
    return out.strip()


def halted(process: subprocess.Popen[str]) -> subprocess.Popen[str]:
    assert process.stdout is not None
    assert process.stdout.readline() == "here\n", process.communicate()[1]
    return process


def test_others_write_while_a_load_checks(run: Run, folder: Path) -> None:
    load = halted(run(START + HALTED_BEFORE_SAVING + LOAD, str(folder)))
    finished(run(OTHER_WRITER))
    finished(load)
    assert finished(run(COUNTS)) == "2 1 6 3"


def test_a_load_killed_while_saving_leaves_the_old_state(run: Run, folder: Path) -> None:
    load = halted(run(START + HALTED_WHILE_SAVING + LOAD, str(folder)))
    load.kill()
    load.wait()
    assert finished(run(COUNTS)) == "0 0 0 0"
    finished(run(START + LOAD, str(folder)))
    assert finished(run(COUNTS)) == "1 1 6 3"


def test_the_command_in_a_shell(run: Run, tmp_path: Path, folder: Path, tables: Tables) -> None:
    command = "import sys; from django.core.management import execute_from_command_line as run; run(sys.argv)"
    organisation = ("--organisation", "larch-row", "--skip-checks")
    tables["readings"][1]["taken_at"] = "soon"
    bad = run(command, "load_records", str(write_book(tmp_path / "bad", tables)), *organisation)
    out, errors = bad.communicate(timeout=120)
    assert (bad.returncode, out) == (1, "")
    assert "readings.csv:4: taken_at: 'soon' is not a time" in errors
    assert "Traceback" not in errors
    good = finished(run(command, "load_records", str(folder), *organisation))
    assert "readings.csv             6 new         0 changed         0 unchanged" in good
    finished(run(command, "export_records", str(tmp_path / "one"), *organisation))
    assert (tmp_path / "one" / "readings.csv").read_text().count("\n") == 8
