"""Files that tests keep lie in a folder of their own."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from pytest_django import Settings


@pytest.fixture(autouse=True)
def media(settings: Settings, tmp_path: Path) -> Path:
    settings.MEDIA_ROOT = tmp_path / "media"
    return settings.MEDIA_ROOT
