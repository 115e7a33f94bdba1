"""Fixtures for every test: services, a browser, and the cast of an organisation."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, ViewportSize

from tests.support import browser, services


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
