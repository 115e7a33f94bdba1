"""The description that is kept with the code is the one that is served: every change of it is seen."""

from __future__ import annotations

from pathlib import Path

import yaml

from tests.api.client import description

FILE = Path(__file__).parents[2] / "docs" / "openapi.yaml"
RENEW = "python manage.py spectacular --file docs/openapi.yaml"


def test_the_kept_description_is_the_served_one() -> None:
    kept = yaml.safe_load(FILE.read_text(encoding="utf-8"))
    assert kept == description(), f"the API's description has changed; look at the change, then: {RENEW}"
