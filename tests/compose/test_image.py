"""That the image installs what the checks ran with, and nothing that is not known by its hash."""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import requires
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.compose.composed import DOCKERFILE, ROOT

RENEW = "a dependency has changed: run .ci/pin"
HASHED = re.compile(r"^([\w.-]+)==(\S+)((?: \\\n    --hash=sha256:[0-9a-f]{64})+)$", re.MULTILINE)


def pinned(path: Path) -> dict[str, str]:
    """Package to release, of a file with one a line."""
    lines = [line.split("==") for line in path.read_text(encoding="utf-8").splitlines() if "==" in line]
    return {canonicalize_name(name): release.rstrip("\\ ") for name, release in lines}


def needed() -> set[str]:
    """The packages that the project needs to run, and those that they need."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    found: set[tuple[str, str]] = set()
    waiting = [Requirement(text) for text in project["dependencies"]]
    while waiting:
        one = waiting.pop()
        for extra in ("", *one.extras):
            key = (canonicalize_name(one.name), extra)
            if key in found:
                continue
            found.add(key)
            asked = [Requirement(text) for text in requires(one.name) or ()]
            waiting += [r for r in asked if r.marker is None or r.marker.evaluate({"extra": extra})]
    return {name for name, _ in found}


def test_every_file_that_is_installed_is_known_by_its_hash() -> None:
    text = (ROOT / ".ci/hashes.txt").read_text(encoding="utf-8")
    entries = HASHED.findall(text)
    assert len(entries) == text.count("==") > 20
    assert "://" not in text
    installs = [line for line in DOCKERFILE.read_text(encoding="utf-8").splitlines() if "pip install" in line]
    assert installs == ["RUN pip install --require-hashes --only-binary=:all: -r hashes.txt"]


def test_the_image_holds_what_is_needed_in_the_releases_that_were_checked() -> None:
    hashed, checked = pinned(ROOT / ".ci/hashes.txt"), pinned(ROOT / "constraints.txt")
    assert set(hashed) == needed(), RENEW
    assert hashed == {name: checked.get(name) for name in hashed}, RENEW
