"""The analysts' worked example redraws the curves from the served API and its description alone."""

from __future__ import annotations

import os
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from pytest_django.live_server_helper import LiveServer

from portfolio.domain.tokens import issue_token
from tests.lives.simulated import Plan, simulate
from tests.lives.stored import store
from tests.support.cast import assemble

SCRIPT = Path(__file__).parents[2] / "docs" / "survival_curves.py"


@pytest.mark.django_db(transaction=True)
def test_it_draws_every_group(live_server: LiveServer, tmp_path: Path) -> None:
    cast = assemble()
    store(simulate(Plan(coats=45), 7), cast.organisation)
    _, key = issue_token(user=cast.analyst, organisation=cast.organisation, name="notebook")
    out = tmp_path / "curves.svg"
    done = subprocess.run(
        [sys.executable, str(SCRIPT), live_server.url, "binder", str(out)],
        env={**os.environ, "TOKEN": key},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[0].startswith("NHL 3.5: ")
    texts = [text.text or "" for text in ET.parse(out).iter("{http://www.w3.org/2000/svg}text")]
    assert sum(" coats, " in text for text in texts) == 3
