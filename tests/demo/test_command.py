"""The command: what it refuses, in words that say the mend, and that it serves what it has set up."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from pytest_django import Settings

from portfolio.models import Building, Organisation, User

ROOT = Path(__file__).parent.parent.parent


@pytest.mark.django_db
@pytest.mark.parametrize("slug", ["larch-row", "demo"])
def test_a_database_with_anybody_s_houses_is_refused_and_left_alone(slug: str) -> None:
    Organisation.objects.create(slug=slug, name="Somebody’s own houses (invented)")
    with pytest.raises(CommandError, match=rf"(?s)another organisation \({slug}\).*DATABASE_URL="):
        call_command("demo", no_serve=True)
    assert list(Organisation.objects.values_list("slug", "is_invented")) == [(slug, False)]
    assert not User.objects.exists()
    assert not Building.objects.exists()


def test_in_production_it_is_refused(settings: Settings) -> None:
    settings.PRODUCTION = True
    with pytest.raises(CommandError, match="without WYTHE_PRODUCTION"):
        call_command("demo", no_serve=True)


def test_a_port_that_is_taken_is_refused_before_anything_is_set_up() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(CommandError, match=rf"Port {port} can't be used .* --port \d+"):
            call_command("demo", port=port)


@pytest.mark.parametrize("port", [0, 70_000])
def test_a_number_that_is_no_port_is_refused(port: int) -> None:
    with pytest.raises(CommandError, match=f"--port: {port} is no port"):
        call_command("demo", port=port)


def free_port() -> int:
    with socket.socket() as any_port:
        any_port.bind(("127.0.0.1", 0))
        return int(any_port.getsockname()[1])


def fetched(address: str, running: subprocess.Popen[str]) -> str:
    """What is served at the address, asked until it answers or the server has ended."""
    while True:
        try:
            with urllib.request.urlopen(address, timeout=60) as answer:
                return str(answer.read().decode())
        except urllib.error.URLError:
            assert running.poll() is None, running.communicate()
            time.sleep(0.2)


def test_it_sets_up_an_empty_database_and_serves_pages_with_their_style(tmp_path: Path) -> None:
    port = free_port()
    environment = os.environ | {
        "DATABASE_URL": f"sqlite:///{tmp_path / 'demo.sqlite3'}",
        "WYTHE_MEDIA": str(tmp_path / "media"),
    }
    running = subprocess.Popen(
        [sys.executable, "manage.py", "demo", "--port", str(port)],
        cwd=ROOT,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        page = fetched(f"http://127.0.0.1:{port}/sign-in/", running)
        style = re.search(r'href="(/static/[^"]+\.css)"', page)
        assert style is not None
        assert "{" in fetched(f"http://127.0.0.1:{port}{style.group(1)}", running)
    finally:
        running.terminate()
        told, _ = running.communicate()
    assert f"http://127.0.0.1:{port}/" in told
