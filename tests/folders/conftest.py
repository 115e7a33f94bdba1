"""Files that tests keep lie in a folder of their own, and no broker is told."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from django.test import Client

from tests.support.cast import Cast, client_of

if TYPE_CHECKING:
    from pytest_django import Settings


@pytest.fixture(autouse=True)
def media(settings: Settings, tmp_path: Path) -> Path:
    settings.MEDIA_ROOT = tmp_path / "media"
    settings.REDIS_URL = ""
    return settings.MEDIA_ROOT


@pytest.fixture
def manager(cast: Cast) -> Client:
    return client_of(cast.manager)
