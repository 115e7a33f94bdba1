"""The description that is kept with the code is the one that is served, so that every change of it is seen."""

from __future__ import annotations

import json
from pathlib import Path

from tests.api.client import description

FILE = Path(__file__).parents[2] / "docs" / "openapi.json"
RENEW = "python manage.py spectacular --format openapi-json --file docs/openapi.json"


def test_the_kept_description_is_the_served_one() -> None:
    kept = json.loads(FILE.read_text(encoding="utf-8"))
    assert kept == description(), f"the API's description has changed; look at the change, then: {RENEW}"
