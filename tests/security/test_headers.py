"""The headers that browsers are told to be careful with, on every kind of answer."""

from __future__ import annotations

import pytest
from django.test import Client

EXPECTED = {
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}


@pytest.mark.django_db
@pytest.mark.parametrize(
    "path", ["/sign-in/", "/", "/nowhere/", "/api/v1/", "/api/v1/schema/", "/static/wythe/wythe.css"]
)
def test_every_answer_carries_them(path: str) -> None:
    response = Client().get(path)
    response.close()
    policy = response["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "unsafe" not in policy
    assert "geolocation=()" in response["Permissions-Policy"]
    if not path.startswith("/static/"):  # Static files are answered before Django's own middleware.
        assert {name: response.get(name) for name in EXPECTED} == EXPECTED
