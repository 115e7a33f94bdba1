"""What somebody answers to a reminder: later, somebody else, or no mails at all."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Final
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import F, QuerySet

from inspections.domain.postponing import hand_over
from inspections.domain.telling.raising import ASCENT, wishes_of
from inspections.domain.telling.times import mail_moment, next_mail
from inspections.models import MailSettings, Plan, Reminder
from inspections.models.telling import USUAL_HOUR
from inspections.vocabulary import Delivery, Stage
from portfolio import queries
from portfolio.domain.history import note_change
from portfolio.domain.refusals import Invalid
from portfolio.models import Membership, User

#: How many days it may be put off by one press, and by any.
USUAL_DAYS: Final = (3, 7, 14, 30)
MOST_DAYS: Final = 90


@transaction.atomic
def tell_later(*, reminder: Reminder, days: int, now: dt.datetime) -> dt.date:
    """Tell the person again in so many days, and of this thing not before; the day."""
    if not 1 <= days <= MOST_DAYS:
        raise Invalid([("days", f"Say a number of days from 1 to {MOST_DAYS}.")])
    person = reminder.person
    wishes, zone = wishes_of(person), ZoneInfo(person.timezone)
    day = now.astimezone(zone).date() + dt.timedelta(days=days)
    _of_the_same(reminder).filter(state__in=(Delivery.DUE, Delivery.FAILED)).update(state=Delivery.SETTLED)
    _of_the_same(reminder).filter(stage=Stage.AGAIN, day__gt=now.date()).exclude(day=day).delete()
    Reminder.objects.update_or_create(
        subject_id=reminder.subject_id,
        day=day,
        stage=Stage.AGAIN,
        person=person,
        defaults={
            **_what(reminder, now),
            "due_at": mail_moment(day, wishes.hour if wishes else USUAL_HOUR, zone),
            "state": Delivery.DUE,
        },
    )
    return day


@transaction.atomic
def give_to(*, reminder: Reminder, to: User, now: dt.datetime) -> None:
    """Let somebody else of the organisation be told from now on, and go: beginning with their next mail."""
    if not is_member(reminder) or to not in takers(reminder):
        raise Invalid([("to", "Choose somebody of the list.")])
    own = _of_the_same(reminder)
    own.filter(state__in=(Delivery.DUE, Delivery.FAILED)).update(state=Delivery.SETTLED)
    own.update(handed_to=to)
    Reminder.objects.filter(subject_id=reminder.subject_id, person=to).update(handed_to=None)
    Reminder.objects.update_or_create(
        subject_id=reminder.subject_id,
        day=now.astimezone(ZoneInfo(to.timezone)).date(),
        stage=Stage.HANDED,
        person=to,
        defaults={
            **_what(reminder, now),
            "detail": {**reminder.detail, "from": _name(reminder.person)},
            "due_at": now,
            "state": Delivery.DUE,
            "urgent": reminder.stage == Stage.DANGER,
        },
    )
    plan = Plan.objects.filter(pk=reminder.subject_id).first()
    if plan is not None:
        hand_over(plan=plan, organisation=reminder.organisation, user=reminder.person, username=to.username)
    note_change(
        record=reminder,
        organisation=reminder.organisation,
        user=reminder.person,
        fields={"person": [reminder.person.username, to.username]},
        reason="handed over",
    )


def is_member(reminder: Reminder) -> bool:
    """Whether the person is still of the organisation: a link does not outlast that."""
    return queries.membership(reminder.person, reminder.organisation) is not None


def takers(reminder: Reminder) -> list[User]:
    """To whom it can be handed: everybody else of the organisation who can be written to."""
    members = Membership.objects.of(reminder.organisation).filter(role__in=ASCENT, user__is_active=True)
    others = members.exclude(user=reminder.person_id).exclude(user__email="").select_related("user")
    return [member.user for member in others.order_by("user__username")]


def end_mails(person: User, now: dt.datetime) -> None:
    """Write to the person no more, until they want it again. Doing so twice changes nothing."""
    change_wishes(person=person, values={"wants_mail": False}, now=now)


def wishes_kept(person: User) -> MailSettings:
    """How a person wants to be written to as a row, made with the usual values where there is none yet."""
    wishes, _ = MailSettings.objects.get_or_create(user=person)
    return wishes


@transaction.atomic
def change_wishes(*, person: User, values: Mapping[str, object], now: dt.datetime) -> MailSettings:
    """Keep how a person wants to be written to; what waits moves to their new hour, or is dropped."""
    wishes = wishes_kept(person)
    own = {name: values[name] for name in ("wants_mail", "hour") if name in values}
    changed = {name: value for name, value in own.items() if getattr(wishes, name) != value}
    if changed:
        MailSettings.objects.filter(pk=wishes.pk).update(**changed, revision=F("revision") + 1)
        wishes.refresh_from_db()
    theirs = {name: values[name] for name in ("email", "timezone") if name in values}
    if theirs:
        User.objects.filter(pk=person.pk).update(**theirs)
        MailSettings.objects.filter(pk=wishes.pk).update(revision=F("revision") + 1)
        person.refresh_from_db()
        wishes.refresh_from_db()
    if changed or theirs:
        _move_what_waits(person, wishes, now)
    return wishes


def _move_what_waits(person: User, wishes: MailSettings, now: dt.datetime) -> None:
    waits = Reminder.objects.filter(person=person, state=Delivery.DUE, urgent=False)
    if not wishes.wants_mail:
        waits.update(state=Delivery.SETTLED)
        return
    zone = ZoneInfo(person.timezone)
    for row in waits.filter(stage=Stage.AGAIN, due_at__gt=now):
        Reminder.objects.filter(pk=row.pk).update(due_at=mail_moment(row.day, wishes.hour, zone))
    others = waits.exclude(stage=Stage.AGAIN).filter(due_at__gt=now)
    others.update(due_at=next_mail(now, wishes.hour, zone))


def _of_the_same(reminder: Reminder) -> QuerySet[Reminder]:
    """All that the person is or was told of the same thing."""
    same: QuerySet[Reminder] = Reminder.objects.filter(
        subject_id=reminder.subject_id, person=reminder.person_id
    )
    return same


def _what(reminder: Reminder, now: dt.datetime) -> dict[str, object]:
    return {
        "organisation": reminder.organisation,
        "subject": reminder.subject,
        "building": reminder.building,
        "section": reminder.section,
        "detail": reminder.detail,
        "raised_at": now,
    }


def _name(person: User) -> str:
    return person.get_full_name() or person.username
