"""The page of the documentation about the API: its commands, run as they stand, against the demonstration."""

from __future__ import annotations

import csv
import json
import os
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
from pytest_django.live_server_helper import LiveServer

from inspections.demo import SLUG, set_up
from inspections.models import Action, Flag, Plan, Reading
from portfolio.domain.tokens import issue_token
from portfolio.models import Change, Event, Organisation, Reassessment, Treatment, User

PAGE = Path(__file__).parents[2] / "docs" / "api.md"
COMMANDS = re.compile(r"^```sh\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def key_of(username: str) -> str:
    user, organisation = User.objects.get(username=username), Organisation.objects.get(slug=SLUG)
    return issue_token(user=user, organisation=organisation, name="an hour")[1]


@pytest.mark.skipif(shutil.which("curl") is None, reason="there is no curl")
def test_the_hours_run_as_they_are_written(
    transactional_db: None, live_server: LiveServer, tmp_path: Path
) -> None:
    set_up(lambda text: None)
    before = Reading.objects.count()
    script = "set -euo pipefail\n" + "\n".join(COMMANDS.findall(PAGE.read_text(encoding="utf-8")))
    environment = os.environ | {
        "API": f"{live_server.url}/api/v1",
        "MANAGER_KEY": key_of("manager"),
        "ANALYST_KEY": key_of("analyst"),
    }
    done = subprocess.run(
        ["bash", "-c", script], cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 0, done.stderr + done.stdout
    assert_manager_did(before, done.stdout)
    assert_analyst_found(tmp_path, done.stdout)


def assert_manager_did(before: int, said: str) -> None:
    assert said.count('{"new":2,"changed":0,"unchanged":0}') == 1
    assert said.count('{"new":0,"changed":0,"unchanged":2}') == 1
    assert "refused, as it should be" in said
    assert Reading.objects.count() == before + 2
    action = Action.objects.get()
    assert Flag.objects.get(pk=action.flag_id).state == "closed"
    assert Treatment.objects.filter(section=action.section, applied_on="2026-10-20").count() == 1
    assert Event.objects.get(kind="flood", happened_on="2026-11-03").void_reason
    assert Plan.objects.get(postponed_to="2099-05-01").postponed_reason
    assert Reassessment.objects.filter(building=action.section.building).exists()
    corrected = Change.objects.get(model="reading", reason="two digits swapped")
    assert corrected.fields["entered_value"] == ["48.5", "84.5"]


def assert_analyst_found(folder: Path, said: str) -> None:
    assert "an analyst only reads" in said
    rows = table(folder / "walls.csv")
    likely = [float(row["probability.trapped_water"]) for row in rows]
    assert len(rows) > 10
    assert likely == sorted(likely, reverse=True)
    deep = [row for row in table(folder / "deep.csv") if row["id"] != "id"]
    assert len({row["id"] for row in deep}) == Reading.objects.filter(quantity="deep_moisture").count()
    assert len(table(folder / "lots.csv")) == 28
    assert [row["trial"] for row in table(folder / "forest.csv") if row["row"] == "without"] == [
        "T1",
        "T3",
        "T4",
    ]
    for name in ("trial.pdf", "coat.pdf"):
        assert (folder / name).read_bytes().startswith(b"%PDF-")
    assert json.loads((folder / "openapi.json").read_text())["openapi"].startswith("3.1")


def table(path: Path) -> list[dict[str, Any]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(line for line in file if line.strip()))
