"""The API's page in a browser: requests that are really sent, by a token and by a session."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth.models import AbstractBaseUser
from django.test import Client
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from portfolio.domain.tokens import issue_token
from portfolio.models import Building
from tests.api import factories
from tests.support.browser import DESK, PHONE
from tests.support.cast import Cast, assemble

PATIENCE = 60_000
SignIn = Callable[[AbstractBaseUser], None]


@pytest.fixture
def told(page: Page) -> list[str]:
    """What the console says is wrong, what the policy refused among it, and every other host asked."""
    found: list[str] = []
    page.on("console", lambda one: found.append(one.text) if one.type in ("error", "warning") else None)
    page.on("request", lambda one: found.append(one.url) if "//localhost" not in one.url else None)
    return found


@pytest.fixture
def cast(transactional_db: None) -> Cast:
    return assemble()


def opened(page: Page, live_server: LiveServer) -> Page:
    page.set_default_timeout(PATIENCE)
    page.goto(f"{live_server.url}/api/")
    page.locator(".opblock-tag").first.wait_for()
    return page


def sent(page: Page, operation: str, body: str = "") -> str:
    """The status and answer of an operation of the buildings that is tried."""
    block = page.locator(f"#operations-buildings-{operation}")
    if not block.count():
        page.locator("[data-tag='buildings']").first.click()
    block.locator(".opblock-summary-control").first.click()
    block.locator("button.try-out__btn").click()
    if body:
        block.locator("textarea").fill(body)
    block.locator("button.execute").click()
    status = block.locator(".live-responses-table tbody td.response-col_status").first.text_content()
    return f"{status} {block.locator('.live-responses-table').first.text_content()}".strip()


@pytest.mark.browser
@pytest.mark.parametrize("viewport", [PHONE], ids=["phone"])
def test_a_signed_in_person_reads_and_writes(
    page: Page, told: list[str], live_server: LiveServer, sign_in: SignIn, cast: Cast
) -> None:
    factories.building(cast.organisation, code="H1")
    sign_in(cast.owner)
    opened(page, live_server)
    answer = sent(page, "buildings_list")
    assert answer.startswith("200")
    assert '"H1"' in answer
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    new = '{"code": "H2", "name": "Reed House (invented)", "timezone": "UTC"}'
    assert sent(page, "buildings_create", new).startswith("201")
    assert Building.objects.of(cast.organisation).filter(code="H2").exists()
    assert told == []


@pytest.mark.browser
@pytest.mark.parametrize("viewport", [DESK], ids=["desk"])
def test_a_token_is_taken(page: Page, told: list[str], live_server: LiveServer, cast: Cast) -> None:
    factories.building(cast.organisation, code="H1")
    _, key = issue_token(user=cast.analyst, organisation=cast.organisation, name="notebook")
    opened(page, live_server)
    page.locator("button.authorize").first.click()
    token = page.locator(".auth-container").filter(has_text="http, Bearer")
    token.locator("input").fill(key)
    token.locator("button.authorize").click()
    token.locator(".btn-done").click()
    answer = sent(page, "buildings_list")
    assert answer.startswith("200")
    assert '"H1"' in answer
    assert told == []


@pytest.mark.django_db
def test_the_page_is_open_and_says_what_it_needs() -> None:
    answer: Any = Client().get("/api/")
    assert answer.status_code == 200
    assert b"/api/v1/schema/?format=json" in answer.content
    assert b"<noscript>" in answer.content
    assert "unsafe" not in answer["Content-Security-Policy"]
