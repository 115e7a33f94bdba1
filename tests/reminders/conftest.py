"""A mail server that is named; nothing is sent to it, since Django's tests keep mails in memory."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from pytest_django import Settings

    from tests.support.cast import Cast


@pytest.fixture
def mail_server(settings: Settings) -> None:
    settings.EMAIL_HOST = "mail.example.org"
    settings.DEFAULT_FROM_EMAIL = "walls@example.org"
    settings.SITE_URL = "https://walls.example.org"


@pytest.fixture
def people(cast: Cast, mail_server: None) -> Cast:
    from tests.reminders.houses import with_addresses

    return with_addresses(cast)
