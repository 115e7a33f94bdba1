"""The grown-up shape from its own file: what it says holds together, and its services work as one."""

from __future__ import annotations

import json
import secrets
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.compose.composed import Machine, Unset, image, parsed

HOST = "walls.example"
VARIABLES = {
    "POSTGRES_PASSWORD": "an invented password",
    "WYTHE_SECRET_KEY": secrets.token_hex(32),
    "WYTHE_HOSTS": HOST,
    "WYTHE_ORIGINS": f"https://{HOST}",
}
OURS = ("web", "worker", "beat", "migrate")
RECORDS = "inspections/demo/records"
SLUG = "larch-row"
PATIENCE = 120
MEMBER = f"""
from portfolio.models import Membership, Organisation, User
user = User.objects.create_user("owner")
Membership.objects.create(user=user, organisation=Organisation.objects.get(slug={SLUG!r}), role="owner")
"""
ASK = """
from portfolio.domain.due import ask_for_assessment
from portfolio.models import Building
ask_for_assessment(Building.objects.values_list("pk", flat=True))
"""


@pytest.fixture
def services() -> dict[str, Any]:
    services: dict[str, Any] = parsed(VARIABLES)["services"]
    return services


# What the file says ------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", VARIABLES)
def test_every_secret_and_name_has_to_be_given(name: str) -> None:
    with pytest.raises(Unset, match=f"{name}: set "):
        parsed(VARIABLES | {name: ""})


def test_what_is_waited_for_is_there_and_can_be_waited_for(services: dict[str, Any]) -> None:
    for name, service in services.items():
        for other, how in service.get("depends_on", {}).items():
            if how["condition"] == "service_healthy":
                assert "healthcheck" in services[other], (name, other)
            else:
                assert how["condition"] == "service_completed_successfully"
                assert services[other]["restart"] == "no", (name, other)


def test_what_must_last_is_in_volumes() -> None:
    whole = parsed(VARIABLES)
    used = {
        volume.partition(":")[0] for service in whole["services"].values() for volume in service["volumes"]
    }
    assert used == set(whole["volumes"])
    media = image().environment["WYTHE_MEDIA"]
    assert media in image().volumes
    for name in OURS:
        assert f"media:{media}" in whole["services"][name]["volumes"]


def test_containers_do_not_run_as_root_and_are_in_production(services: dict[str, Any]) -> None:
    assert image().user not in ("root", "0")
    assert image().environment["WYTHE_PRODUCTION"] == "yes"
    for name in OURS:
        assert "WYTHE_DEBUG" not in services[name]["environment"]


def test_only_the_web_has_a_port_and_only_on_this_machine(services: dict[str, Any]) -> None:
    assert {name: service["ports"] for name, service in services.items() if "ports" in service} == {
        "web": ["127.0.0.1:8000:8000"]
    }
    assert "--bind=0.0.0.0:8000" in image().command


# What its services do ----------------------------------------------------------------------------------


@contextmanager
def _running(machine: Machine, services: dict[str, Any]) -> Iterator[None]:
    """Web, worker and beat, by their own commands; all of them still run at the end."""
    with ExitStack() as stack:
        processes = {name: stack.enter_context(machine.start(services[name])) for name in OURS[:3]}
        try:
            yield
            assert {name: process.poll() for name, process in processes.items()} == dict.fromkeys(processes)
        finally:
            for process in processes.values():
                process.terminate()


def _until(what: str, found: Callable[[], Any]) -> Any:
    deadline = time.monotonic() + PATIENCE
    while not (answer := found()):
        assert time.monotonic() < deadline, f"waited in vain for {what}"
        time.sleep(0.5)
    return answer


def _asked(machine: Machine, path: str, token: str) -> list[dict[str, Any]]:
    """A list of the API, asked for as through the proxy."""
    headers = {"Host": HOST, "X-Forwarded-Proto": "https", "Authorization": f"Bearer {token}"}
    request = urllib.request.Request(f"http://127.0.0.1:{machine.port}/api/v1/{path}", headers=headers)
    with urllib.request.urlopen(request) as answer:
        results: list[dict[str, Any]] = json.load(answer)["results"]
    return results


@pytest.mark.services
def test_a_book_is_loaded_assessed_by_a_worker_and_its_flags_read(
    services: dict[str, Any], postgres_url: str, redis_url: str, tmp_path: Path
) -> None:
    machine = Machine(postgres_url, redis_url, tmp_path)
    with machine.start(services["migrate"]) as migrating:
        assert migrating.wait() == 0
    with _running(machine, services):
        for name in ("web", "worker"):
            _until(f"{name} to be well", lambda name=name: machine.is_healthy(services[name]))
        web = services["web"]
        machine.run(web, "python", "manage.py", "load_records", RECORDS, "--organisation", SLUG)
        machine.run(web, "python", "manage.py", "shell", "-c", MEMBER)
        issue = ("manage.py", "issue_token", "owner", "--organisation", SLUG, "--name", "a program")
        token = machine.run(web, "python", *issue).strip()
        assert _asked(machine, "flags/", token) == []

        machine.run(web, "python", "manage.py", "shell", "-c", ASK)
        flags = _until("a flag", lambda: _asked(machine, "flags/", token))
        assert flags[0]["state"] == "opened"
        assert flags[0]["verdict"] in ("trapped_water", "water_entry")
        assert _asked(machine, "assessments/", token)
        assert (tmp_path / "beat").exists() or list(tmp_path.glob("beat*"))

        with pytest.raises(urllib.error.HTTPError, match="401"):
            _asked(machine, "flags/", "no-such-token")
