"""That the settings for production hold, and refuse to start half-configured."""

import os
import secrets
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import call_command
from pytest_django import Settings

ROOT = Path(__file__).parent.parent
PRODUCTION = {
    "WYTHE_PRODUCTION": "yes",
    "WYTHE_SECRET_KEY": secrets.token_hex(32),
    "WYTHE_HOSTS": "walls.example",
}


def check(**environment: str) -> subprocess.CompletedProcess[str]:
    """Run Django's own checks for production, in which a warning counts as a failure."""
    return subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level=WARNING"],
        cwd=ROOT,
        env=os.environ | environment,
        capture_output=True,
        text=True,
        check=False,
    )


def test_production_passes_djangos_own_checks() -> None:
    done = check(**PRODUCTION)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("WYTHE_SECRET_KEY", ""),
        ("WYTHE_SECRET_KEY", "too short"),
        ("WYTHE_SECRET_KEY", "abc" * 20),
        ("WYTHE_PRODUCTION", "perhaps"),
        ("WYTHE_SESSION_HOURS", "0"),
        ("WYTHE_API_REQUESTS_A_MINUTE", "many"),
    ],
)
def test_production_does_not_start_half_configured(name: str, value: str) -> None:
    done = check(**PRODUCTION | {name: value})
    assert done.returncode != 0
    assert name in done.stderr.splitlines()[-1]


def test_every_static_file_that_is_named_in_another_is_there(settings: Settings, tmp_path: Path) -> None:
    """Collecting them with their digests, as the image does, fails on a name that leads nowhere."""
    settings.STATIC_ROOT = tmp_path
    settings.STORAGES = settings.STORAGES | {
        "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"}
    }
    call_command("collectstatic", interactive=False, verbosity=0)
    assert (tmp_path / "staticfiles.json").exists()
