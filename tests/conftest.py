"""Fixtures for every test: services, a browser, and the cast of an organisation."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING
from uuid import uuid4

import hypothesis
import pytest
from playwright.sync_api import Browser, BrowserContext, Page, ViewportSize

from tests.support import browser, collecting, services

# No example is timed. In continuous integration the examples are the same each time.
hypothesis.settings.register_profile(
    "wythe", deadline=None, derandomize=services.everything_must_be_there(), print_blob=True
)
hypothesis.settings.load_profile("wythe")

# Models can only be imported once Django is set up, which is after this file is read.
if TYPE_CHECKING:
    from django.contrib.auth.models import AbstractBaseUser
    from pytest_django import Settings
    from pytest_django.live_server_helper import LiveServer

    from tests.support.cast import Cast


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    collecting.arrange(items)


@pytest.fixture(autouse=True)
def own_cache(settings: Settings) -> None:
    """Each test finds an empty cache, without emptying a Redis that others may use."""
    settings.CACHES = {"default": settings.CACHES["default"] | {"KEY_PREFIX": uuid4().hex}}


@pytest.fixture
def cast(db: None) -> Cast:
    """Owner, manager, inspector and analyst of one organisation, and the owner of another."""
    from tests.support.cast import assemble

    return assemble()


@pytest.fixture
def postgres_url() -> Iterator[str]:
    """An empty PostgreSQL database for what the test starts itself, whatever the test's own database is."""
    with services.empty_postgres_database() as url:
        yield url


@pytest.fixture
def postgres(transactional_db: None) -> None:
    """For a test that means something on PostgreSQL only; it runs where the tests' own database is one."""
    from django.db import connection

    if connection.vendor != "postgresql":
        pytest.skip("the tests' own database is not PostgreSQL: set DATABASE_URL=postgres://…")


@pytest.fixture
def redis_url() -> Iterator[str]:
    with services.empty_redis_database() as url:
        yield url


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """One browser for a module's tests.

    Playwright keeps an event loop in this thread while it runs, and Django refuses the database to a thread
    with one. Here the tests are plain calls, nothing else runs in that loop, so Django is told to allow it;
    both end with the module, so that other modules' tests keep Django's guard.
    """
    with pytest.MonkeyPatch.context() as environment, browser.running_chromium() as running:
        environment.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
        yield running


@pytest.fixture
def viewport() -> ViewportSize:
    """Desk size; a test at other sizes says `@pytest.mark.parametrize("viewport", [PHONE, DESK])`."""
    return browser.DESK


@pytest.fixture
def browser_context(chromium: Browser, viewport: ViewportSize) -> Iterator[BrowserContext]:
    """A browser profile of its own."""
    context = chromium.new_context(viewport=viewport)
    yield context
    context.close()


@pytest.fixture
def page(browser_context: BrowserContext) -> Iterator[Page]:
    """A page on which nothing may fail: an error in a script fails the test that met it."""
    errors: list[str] = []
    page = browser_context.new_page()
    page.on("pageerror", lambda error: errors.append(str(error)))
    yield page
    page.close()
    assert not errors, f"errors in the page's scripts: {errors}"


@pytest.fixture
def sign_in(browser_context: BrowserContext, live_server: LiveServer) -> Callable[[AbstractBaseUser], None]:
    """Sign a user in to the served pages without the form, which has tests of its own."""

    def sign_in(user: AbstractBaseUser) -> None:
        from django.conf import settings
        from django.test import Client

        client = Client()
        client.force_login(user)
        session = client.cookies[settings.SESSION_COOKIE_NAME].value
        browser_context.add_cookies(
            [{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": live_server.url}]
        )

    return sign_in
