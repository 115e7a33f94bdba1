"""A person's calendar of what falls due, at an address that only they know and can take back."""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets
from itertools import groupby
from typing import Final, cast

from django.db import transaction
from django.db.models import F
from django.urls import reverse
from icalendar import Calendar, Event

from inspections.domain.telling import links
from inspections.models import MailSettings, Plan
from inspections.queries.telling import due_of, follow_ups_of
from portfolio.models import Building, User

SECRET_BYTES: Final = 32
#: How far ahead it looks.
AHEAD: Final = dt.timedelta(days=400)
#: How often programs are asked to come again.
REFRESH: Final = dt.timedelta(hours=6)


def digest_of(secret: str) -> str:
    """What is kept of a secret; it has 256 random bits, so that a plain SHA-256 can't be searched."""
    return hashlib.sha256(secret.encode()).hexdigest()


@transaction.atomic
def open_calendar(person: User) -> str:
    """Give the person an address, whose secret is shown this once; an earlier one leads nowhere any more."""
    secret = secrets.token_urlsafe(SECRET_BYTES)
    wishes, _ = MailSettings.objects.get_or_create(user=person)
    _keep(wishes, digest_of(secret))
    return secret


def close_calendar(person: User) -> None:
    """Let the address lead nowhere."""
    for wishes in MailSettings.objects.filter(user=person):
        _keep(wishes, None)


def _keep(wishes: MailSettings, digest: str | None) -> None:
    MailSettings.objects.filter(pk=wishes.pk).update(calendar_digest=digest, revision=F("revision") + 1)


def calendar_of(person: User, now: dt.datetime) -> bytes:
    """What falls due in the person's organisations as an iCalendar file (RFC 5545)."""
    calendar = Calendar()
    calendar.add("prodid", "-//Wythe//Inspections//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", "Walls to look at")
    calendar.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    for (day, _), some in groupby(due_of(person, now.date() + AHEAD), key=_round):
        calendar.add_component(_inspection(day, list(some), now))
    for action in follow_ups_of(person, now.date() - AHEAD, now.date() + AHEAD):
        building = action.section.building
        event = _event(f"follow-up-{action.pk}", cast(dt.date, action.follow_up_on), building, now)
        wall = action.section.wall or action.section.code
        event.add("summary", f"Did it help? {building}: {action.get_kind_display()}, {wall}")
        event.add("description", links.absolute(reverse("section", args=[action.section_id])))
        calendar.add_component(event)
    return cast(bytes, calendar.to_ical())


def _round(plan: Plan) -> tuple[dt.date, str]:
    """What one goes for: a house on a day."""
    return plan.falls_on, str(plan.building_id)


def _inspection(day: dt.date, plans: list[Plan], now: dt.datetime) -> Event:
    building = plans[0].building
    event = _event(f"inspect-{building.pk}-{day.isoformat()}", day, building, now)
    papers = [f"Paper: {one.paper}" for one in plans if one.paper]
    sections = [one.section for one in plans if one.section and not one.paper]
    walls = [f"{one.wall or 'section'} ({one.code})" for one in sections]
    house = ["the whole house"] if any(not one.paper and not one.section for one in plans) else []
    parts = [_counted(len(walls))] * bool(walls) + house + papers
    event.add("summary", f"{building}: {', '.join(parts)}")
    address = links.absolute(reverse("building", args=[building.pk]))
    event.add("description", "\n".join([*house, *walls, *papers, address]))
    return event


def _counted(walls: int) -> str:
    return "one stretch of wall" if walls == 1 else f"{walls} stretches of wall"


def _event(key: str, day: dt.date, building: Building, now: dt.datetime) -> Event:
    event = Event()
    event.add("uid", f"{key}@wythe")
    event.add("dtstamp", now)
    event.add("dtstart", day)
    event.add("dtend", day + dt.timedelta(days=1))
    event.add("transp", "TRANSPARENT")
    where = ", ".join(part for part in (building.street, building.locality) if part)
    if where:
        event.add("location", where)
    return event
