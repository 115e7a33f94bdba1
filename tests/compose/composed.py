"""The services of ``docker-compose.yml`` as they can be run without an engine: their own commands, natively.

What an engine would do is done here: fill in the variables, take environment and command from the image where
the service names none, and lead the names of hosts, ports and folders to what is at hand.
"""

from __future__ import annotations

import json
import os
import re
import shlex
import socket
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import yaml

ROOT = Path(__file__).parent.parent.parent
COMPOSE, DOCKERFILE = ROOT / "docker-compose.yml", ROOT / "Dockerfile"
#: ``$$`` for a dollar, ``${NAME}`` and ``${NAME:?why}``: all that the file uses of compose's own language.
VARIABLE = re.compile(r"\$(?:(?P<dollar>\$)|\{(?P<name>\w+)(?::\?(?P<why>[^}]*))?\})")


class Unset(Exception):
    """A variable that the file asks for was not given; the message says what it is for."""


def parsed(variables: Mapping[str, str]) -> dict[str, Any]:
    """The file with anchors merged and variables filled in."""
    return _filled(yaml.safe_load(COMPOSE.read_text(encoding="utf-8")), variables)


def _filled(node: Any, variables: Mapping[str, str]) -> Any:
    if isinstance(node, dict):
        return {name: _filled(item, variables) for name, item in node.items()}
    if isinstance(node, list):
        return [_filled(item, variables) for item in node]
    if not isinstance(node, str):
        return node

    def value(found: re.Match[str]) -> str:
        if found["dollar"]:
            return "$"
        if not variables.get(found["name"]):
            raise Unset(f"{found['name']}: {found['why']}")
        return variables[found["name"]]

    return VARIABLE.sub(value, node)


@dataclass(frozen=True)
class Image:
    """What the ``Dockerfile`` says of every container: its environment, its folders and its command."""

    environment: dict[str, str]
    volumes: list[str]
    command: list[str]
    user: str


def image() -> Image:
    lines = DOCKERFILE.read_text(encoding="utf-8").replace("\\\n", " ").splitlines()
    given = [line.split(maxsplit=1) for line in lines if line and not line.startswith("#")]
    of = {name: [rest for word, rest in given if word == name] for name in ("ENV", "VOLUME", "CMD", "USER")}
    return Image(
        environment=dict(pair.split("=", 1) for line in of["ENV"] for pair in shlex.split(line)),
        volumes=of["VOLUME"],
        command=json.loads(of["CMD"][-1]),
        user=of["USER"][-1],
    )


@dataclass
class Machine:
    """What there is instead of containers: servers, a port, and a folder for what is written."""

    database_url: str
    redis_url: str
    folder: Path
    port: int = field(default_factory=lambda: _free_port())

    def environment(self, service: Mapping[str, Any]) -> dict[str, str]:
        """The service's own environment, led to the servers that are here."""
        # A variable without a value is taken from outside; here none is set.
        own = {name: value for name, value in service["environment"].items() if value is not None}
        given = image().environment | own
        assert urlsplit(given["DATABASE_URL"]).hostname == "db"
        assert urlsplit(given["REDIS_URL"]).hostname == "redis"
        ours = {
            "DATABASE_URL": self.database_url,
            "REDIS_URL": self.redis_url,
            "WYTHE_MEDIA": str(self.folder / "media"),
            "HOSTNAME": socket.gethostname(),
            "PATH": f"{Path(sys.executable).parent}:{os.environ['PATH']}",
        }
        kept = {name: os.environ[name] for name in ("HOME", "LANG") if name in os.environ}
        return kept | given | ours

    def here(self, text: str) -> str:
        """A word of a command with the container's port and folder as they are here."""
        return text.replace("8000", str(self.port)).replace("/tmp/", f"{self.folder}/")

    def start(self, service: Mapping[str, Any], command: list[str] | None = None) -> subprocess.Popen[str]:
        """Start a service, or in its place another command, whose output can be read."""
        words = command or _words(service.get("command", image().command))
        return subprocess.Popen(
            [self.here(word) for word in words],
            cwd=ROOT,
            env=self.environment(service),
            stdout=subprocess.PIPE if command else None,
            text=True,
        )

    def run(self, service: Mapping[str, Any], *command: str) -> str:
        """A command in the service's container, as by ``docker compose run``; what it says."""
        with self.start(service, list(command)) as process:
            out, _ = process.communicate()
        assert process.returncode == 0, command
        return out

    def is_healthy(self, service: Mapping[str, Any]) -> bool:
        """The service's own check of its health."""
        test = service["healthcheck"]["test"]
        words = ["sh", "-c", self.here(test)] if isinstance(test, str) else [self.here(w) for w in test[1:]]
        done = subprocess.run(
            words, cwd=ROOT, env=self.environment(service), capture_output=True, check=False
        )
        return done.returncode == 0


def _words(command: str | list[str]) -> list[str]:
    return shlex.split(command) if isinstance(command, str) else command


def _free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])
