"""A mail as it is written: HTML and plain text that say the same, with small pictures of trends inside."""

from __future__ import annotations

import datetime as dt
import logging
from email.mime.image import MIMEImage
from email.utils import make_msgid
from typing import Final
from urllib.parse import urlsplit
from uuid import UUID
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.template.loader import render_to_string
from django.urls import reverse

from inspections.domain.telling import links
from inspections.models import Mail
from inspections.queries import letters
from inspections.queries.pages import Areas
from inspections.vocabulary import Stage, Subject
from inspections.web.mails import picture
from inspections.web.mails.items import ORDER, Item, item
from inspections.web.present import calibrated, dates, units, words

log = logging.getLogger(__name__)

#: So many things are told at length, and of so many of them a picture is shown; the rest have a line each.
AT_LENGTH: Final = 10
PICTURES: Final = 6
#: Readings that a picture needs to show a course.
LEAST_POINTS: Final = 2
LONGEST_SUBJECT: Final = 120


class _Letter(EmailMultiAlternatives):
    """Text, HTML and the pictures that the HTML shows (RFC 2387)."""

    mixed_subtype = "related"


def write(mail: Mail, now: dt.datetime) -> EmailMultiAlternatives:
    """The mail to one person of all that its reminders tell."""
    person = mail.person
    today = now.astimezone(ZoneInfo(person.timezone)).date()
    told = sorted(letters.told_by(mail), key=_rank)
    areas = letters.areas_of(told[:AT_LENGTH])
    items = [_item(one, areas, today, person.units) for one in told]
    _say_once(items)
    at_length, rest = items[:AT_LENGTH], items[AT_LENGTH:]
    images = _pictures(at_length, person.units)
    organisations = sorted({one.reminder.organisation.name for one in told})
    shown = {
        "person": person.get_full_name() or person.username,
        "urgent": mail.urgent,
        "lead": _lead(items, mail.urgent),
        "items": at_length,
        "rest": rest,
        "organisations": words.listed(organisations),
        "is_invented": any(one.reminder.organisation.is_invented for one in told),
        "today": dates.day(today),
        "end": links.to_end(person),
        "settings": links.absolute(reverse("my-mails")),
        "portfolio": _portfolio(told),
        "calibrated_on": calibrated.made(
            one.stretch.assessment.model_version for one in told if one.stretch and one.stretch.assessment
        ).basis,
    }
    message = _Letter(
        subject=_subject(items, mail.urgent, organisations),
        body=render_to_string("wythe/mails/letter.txt", shown),
        to=[mail.address],
        headers=_headers(mail),
    )
    message.attach_alternative(render_to_string("wythe/mails/letter.html", shown), "text/html")
    for image in images:
        message.attach(image)
    return message


def _portfolio(told: list[letters.Told]) -> str:
    """Where all walls stand: of the organisation that the mail is about, or of one to be chosen."""
    slugs = {one.reminder.organisation.slug for one in told}
    query = f"?organisation={slugs.pop()}" if len(slugs) == 1 else ""
    return links.absolute(f"{reverse('portfolio')}{query}")


def _rank(told: letters.Told) -> tuple[int, dt.date, str]:
    row = told.reminder
    return ORDER.index(Stage(row.stage)), row.day, str(row.section or row.building)


def _item(told: letters.Told, areas: Areas, today: dt.date, system: str) -> Item:
    """One thing; what can't be told at length, for whatever reason, is told by its name alone."""
    try:
        return item(told, areas, today, system)
    except Exception:
        log.exception("Reminder %s could not be told at length", told.reminder.pk)
        row = told.reminder
        place = str(row.section or row.building)
        return Item(name=place, href=settings.SITE_URL, standing=f"{row.get_stage_display()}.", told=told)


def _say_once(items: list[Item]) -> None:
    """Of a wall that is told of twice its state is said once, and of a verdict why it matters."""
    walls: set[str] = set()
    reasons: set[str] = set()
    for one in items:
        if one.name in walls:
            one.claim = one.course = one.changed = one.why = ""
            one.shows = None
        if one.why in reasons:
            one.why = ""
        walls.add(one.name)
        reasons.add(one.why)


def _headers(mail: Mail) -> dict[str, str]:
    host = urlsplit(settings.SITE_URL).hostname or "localhost"
    return {
        "Message-ID": f"<{mail.pk}.{mail.claim.hex[:8]}@{host}>",
        "Auto-Submitted": "auto-generated",
        # One press ends it, without signing in (RFC 8058).
        "List-Unsubscribe": f"<{links.to_end(mail.person)}>",
        "List-Unsubscribe-Post": "List-Unsubscribe=One-Click",
    }


# What it is about ------------------------------------------------------------------------------------------


def _counts(items: list[Item]) -> list[str]:
    stages = [Stage(one.told.reminder.stage) for one in items if one.told]
    plans = [one for one in items if one.told and one.told.reminder.subject == Subject.PLAN]
    late = sum(stage in (Stage.AFTER, Stage.LATER) for stage in stages)
    flags = sum(one.told is not None and one.told.reminder.subject == Subject.FLAG for one in items)
    dangers = stages.count(Stage.DANGER)
    told = [
        (dangers, "reading that can’t wait", "readings that can’t wait"),
        (flags, "flag to answer", "flags to answer"),
        (late, "inspection overdue", "inspections overdue"),
        (len(plans) - late, "inspection due", "inspections due"),
    ]
    return [words.counted(count, one, many) for count, one, many in told if count]


def _lead(items: list[Item], urgent: bool) -> str:
    if urgent:
        return "This can’t wait for the day’s mail."
    return f"{words.capital(words.listed(_counts(items)))}."


def _subject(items: list[Item], urgent: bool, organisations: list[str]) -> str:
    told = items[0].short if urgent and items else words.listed(_counts(items))
    what = f"At once: {told}" if urgent else words.capital(told)
    return " ".join(f"{what} · {words.listed(organisations)}".split())[:LONGEST_SUBJECT]


# Pictures --------------------------------------------------------------------------------------------------


def _pictures(items: list[Item], system: str) -> list[MIMEImage]:
    wanted = [one for one in items if one.shows][:PICTURES]
    quantities: dict[UUID, tuple[str, str]] = {
        one.told.stretch.section.pk: (one.shows.quantity, one.shows.unit)
        for one in wanted
        if one.shows and one.told and one.told.stretch
    }
    by_section = letters.days_of(quantities)
    images = []
    for one in wanted:
        assert one.told is not None
        if one.told.stretch:
            points = by_section.get(one.told.stretch.section.pk, [])
        else:
            points = letters.building_days(one.told.reading) if one.told.reading else []
        if len(points) >= LEAST_POINTS:
            images.append(_picture(one, points, system))
    return images


def _picture(one: Item, points: letters.Points, system: str) -> MIMEImage:
    shows = one.shows
    assert shows is not None
    form = units.shown(shows.unit, system)
    drawn = picture.draw(
        [(day, form.value(value)) for day, value in points], trend=shows.trend, threshold=shows.threshold
    )
    one.cid = make_msgid(domain="trend").strip("<>")
    name = words.capital(words.quantity_name(shows.quantity))
    level = ", the action level dashed" if shows.threshold is not None else ""
    course = ", with its trend and the 95 % interval" if shows.trend else ""
    days = words.counted(len(points), "day of readings", "days of readings")
    one.caption = f"{name} ({units.label(shows.unit, system)}){course}{level}; {days}."
    image = MIMEImage(drawn, "png")
    image.add_header("Content-ID", f"<{one.cid}>")
    image.add_header("Content-Disposition", "inline", filename="trend.png")
    return image
