"""People, walls and what falls due on them, for the tests of telling."""

from __future__ import annotations

import datetime as dt
from typing import Any

from inspections.models import MailSettings, Plan, Reminder
from portfolio.models import Organisation, User
from tests.api import factories
from tests.support.cast import Cast

#: A Thursday, at noon.
NOW = dt.datetime(2026, 3, 5, 12, 0, tzinfo=dt.UTC)
TODAY = NOW.date()
DAY = dt.timedelta(days=1)


def with_addresses(cast: Cast) -> Cast:
    """Everybody has an address for mails."""
    for person in (*cast.members, cast.outsider):
        person.email = f"{person.username}@example.org"
        person.save(update_fields=["email"])
    return cast


def person_of(organisation: Organisation, role: str, **fields: Any) -> User:
    from portfolio.models import Membership

    name = f"person{factories.number()}"
    user = User.objects.create(username=name, email=f"{name}@example.org", **fields)
    Membership.objects.create(user=user, organisation=organisation, role=role)
    return user


def wants(user: User, **fields: Any) -> MailSettings:
    return MailSettings.objects.create(user=user, **fields)


def due(organisation: Organisation, days: int, **fields: Any) -> Plan:
    """A plan that falls due so many days after today."""
    return factories.plan(organisation, due_on=TODAY + days * DAY, **fields)


def told() -> list[tuple[str, str, str]]:
    """Who is told of which stage in which state, sorted."""
    rows = Reminder.objects.values_list("person__username", "stage", "state")
    return sorted((str(who), str(stage), str(state)) for who, stage, state in rows)
