"""The pages of telling in a browser: at a phone's width, with nothing that axe-core finds wrong."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from inspections.domain.telling import links
from inspections.domain.telling.links import Do
from tests.api import factories
from tests.support.browser import PHONE, accessibility_faults
from tests.support.cast import Cast

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("viewport", [PHONE])
def test_every_page_fits_a_phone_and_can_be_used_by_anybody(
    transactional_db: None, live_server: LiveServer, page: Page, sign_in: Callable[[Any], None], settings: Any
) -> None:
    from tests.support.cast import assemble

    cast: Cast = assemble()
    settings.SITE_URL = live_server.url
    row = factories.reminder(cast.organisation, person=cast.owner)
    call = factories.webhook_call(cast.organisation, state="failed", error="It answered 500.")
    sign_in(cast.owner)
    answers = [links.to_answer(Do.LATER, row), links.to_answer(Do.HAND_OVER, row), links.to_end(cast.owner)]
    pages = ["reminders/", "reminders/rules/", "webhooks/", f"webhooks/{call.webhook.pk}/", "mails/"]
    for url in [*answers, *(f"{live_server.url}/{path}" for path in pages)]:
        answer = page.goto(url)
        assert answer is not None
        assert answer.status == 200, url
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"], url
        assert accessibility_faults(page) == [], url
    page.goto(answers[0])
    page.get_by_role("button", name="In 7 days").click()
    assert "You are told of it again on" in page.inner_text("main")
