"""Making a row for everybody who is to be told: raised twice, or by two at once, it is there once."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from django.conf import settings

from inspections.domain.telling.happenings import (
    FLAG_STAGES,
    PLAN_STAGES,
    Happening,
    dangers,
    due_plans,
    flags,
    rules_of,
)
from inspections.domain.telling.times import next_mail
from inspections.models import MailSettings, Reminder, Webhook, WebhookCall
from inspections.models.telling import USUAL_HOUR
from inspections.vocabulary import Delivery, Stage, Subject
from portfolio.models import Membership, Organisation, User
from portfolio.vocabulary import Role

#: The roles in order of reach; each tells those before it too.
ASCENT: Final = (Role.INSPECTOR, Role.MANAGER, Role.OWNER)
#: A plan that is reckoned anew may fall a few days later: that is no new thing to be told. Ours.
QUIET: Final = dt.timedelta(days=21)
#: What was told longer ago is of no matter, unless it is the very same, which the database knows.
REMEMBERED: Final = dt.timedelta(days=400)
#: Rows of one insert.
AT_ONCE: Final = 500
_RANK: Final = {stage: rank for stages in (PLAN_STAGES, FLAG_STAGES) for rank, stage in enumerate(stages)}


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who can be written to, and when they want to be."""

    user: User
    role: str
    hour: int

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.user.timezone)


def raise_all(now: dt.datetime) -> int:
    """Raise what is to be told in every organisation; how many rows are new."""
    return sum(raise_reminders(one, now) for one in Organisation.objects.order_by("slug"))


def raise_dangers(now: dt.datetime) -> int:
    """Only what can't wait."""
    return sum(raise_reminders(one, now, urgent_only=True) for one in Organisation.objects.order_by("slug"))


def raise_reminders(organisation: Organisation, now: dt.datetime, *, urgent_only: bool = False) -> int:
    """Raise what is to be told of one organisation's houses; how many rows are new.

    Without a mail server only webhooks are told, and without those nothing is raised.
    """
    rules = rules_of(organisation)
    people = people_of(organisation) if settings.EMAIL_HOST else []
    hooks = list(Webhook.objects.of(organisation).filter(is_on=True))
    if not rules.is_on or not (people or hooks):
        return 0
    happenings = list(dangers(organisation, rules, now))
    if not urgent_only:
        happenings += due_plans(organisation, rules, now)
        happenings += flags(organisation, rules, now, _told_of_flags(organisation))
    if not happenings:
        return 0
    past = Past.of(organisation, now)
    reminders = [row for one in happenings for row in _reminders(organisation, one, people, past, now)]
    calls = [row for one in happenings for row in _calls(one, hooks, past, now)]
    return _insert(Reminder, reminders) + _insert(WebhookCall, calls)


def people_of(organisation: Organisation) -> list[Person]:
    """Those of the organisation who can be, and want to be, written to."""
    members = (
        Membership.objects.of(organisation)
        .filter(role__in=ASCENT, user__is_active=True)
        .exclude(user__email="")
        .select_related("user__mail_settings")
    )
    return [
        Person(member.user, member.role, wishes.hour if wishes else USUAL_HOUR)
        for member in members
        if (wishes := wishes_of(member.user)) is None or wishes.wants_mail
    ]


def wishes_of(user: User) -> MailSettings | None:
    return getattr(user, "mail_settings", None)


def reached(people: Iterable[Person], reach: str, who: UUID | None = None) -> list[Person]:
    """Everybody up to the role ``reach``; where there is nobody, those of the next role that has somebody.

    Where it is settled ``who`` is to go, they stand for all inspectors.
    """
    held = list(people)
    if any(person.user.pk == who for person in held):
        held = [one for one in held if one.role != Role.INSPECTOR or one.user.pk == who]
    for height in range(ASCENT.index(Role(reach)) + 1, len(ASCENT) + 1):
        found = [person for person in held if person.role in ASCENT[:height] or person.user.pk == who]
        if found:
            return found
    return []


# What was raised before ------------------------------------------------------------------------------------

_Key = tuple[UUID, UUID]


@dataclass(frozen=True, slots=True)
class Past:
    """What each receiver was told of each subject, by (subject, receiver)."""

    rows: dict[_Key, list[tuple[str, dt.date, dt.datetime]]]
    handed: dict[_Key, User]

    @classmethod
    def of(cls, organisation: Organisation, now: dt.datetime) -> Past:
        rows: dict[_Key, list[tuple[str, dt.date, dt.datetime]]] = defaultdict(list)
        handed: dict[_Key, User] = {}
        since = now - REMEMBERED
        raised = Reminder.objects.of(organisation).filter(raised_at__gte=since)
        raised = raised.exclude(state=Delivery.SETTLED)
        values = ("subject_id", "stage", "day", "raised_at")
        for subject, stage, day, at, person in raised.values_list(*values, "person_id"):
            rows[subject, person].append((stage, day, at))
        calls = WebhookCall.objects.of(organisation).filter(raised_at__gte=since)
        for subject, stage, day, at, hook in calls.values_list(*values, "webhook_id"):
            rows[subject, hook].append((stage, day, at))
        given = Reminder.objects.of(organisation).filter(handed_to__isnull=False).order_by("raised_at")
        for row in given.select_related("handed_to__mail_settings"):
            assert row.handed_to is not None
            handed[row.subject_id, row.person_id] = row.handed_to
        return cls(dict(rows), handed)

    def is_told(self, happening: Happening, receiver: UUID, now: dt.datetime) -> bool:
        """Whether the receiver knows it already, asked to be told later, or was told of it a few days ago."""
        for stage, day, at in self.rows.get((happening.subject_id, receiver), ()):
            if (stage, day) == (happening.stage, happening.day):
                return True
            if stage == Stage.AGAIN and day > now.date():
                return True
            later = stage in _RANK and _RANK[Stage(stage)] >= _RANK.get(happening.stage, -1)
            if happening.subject == Subject.PLAN and later and now - at < QUIET:
                return True
        return False

    def taker(self, happening: Happening, person: Person) -> User:
        """Who has taken it over from the person, in the end."""
        taker, seen = person.user, {person.user.pk}
        while (found := self.handed.get((happening.subject_id, taker.pk))) and found.pk not in seen:
            taker = found
            seen.add(taker.pk)
        return taker


def _told_of_flags(organisation: Organisation) -> dict[UUID, float]:
    """Of each flag the probability at which anybody was told of it last."""
    told: dict[UUID, float] = {}
    for model in (Reminder, WebhookCall):
        rows = model.objects.of(organisation).filter(subject=Subject.FLAG)
        for subject, detail in rows.order_by("raised_at").values_list("subject_id", "detail"):
            if (chance := detail.get("probability")) is not None:
                told[subject] = max(chance, told.get(subject, 0.0))
    return told


# The rows ----------------------------------------------------------------------------------------------


def _reminders(
    organisation: Organisation, happening: Happening, people: list[Person], past: Past, now: dt.datetime
) -> Iterator[Reminder]:
    able = {person.user.pk: person for person in people}
    told = reached(people, happening.reach, happening.person)
    takers = {past.taker(happening, person).pk for person in told}
    for pk in sorted(takers & able.keys()):
        person = able[pk]
        if not past.is_told(happening, pk, now):
            at = now if happening.urgent else next_mail(now, person.hour, person.zone)
            yield Reminder(
                organisation=organisation,
                person=person.user,
                urgent=happening.urgent,
                due_at=at,
                **_what(happening, now),
            )


def _calls(happening: Happening, hooks: list[Webhook], past: Past, now: dt.datetime) -> Iterator[WebhookCall]:
    wanted = {Subject.PLAN: "of_plans", Subject.FLAG: "of_flags", Subject.READING: "of_dangers"}
    for hook in hooks:
        if getattr(hook, wanted[happening.subject]) and not past.is_told(happening, hook.pk, now):
            yield WebhookCall(webhook=hook, due_at=now, **_what(happening, now))


def _what(happening: Happening, now: dt.datetime) -> dict[str, object]:
    return {
        "subject": happening.subject,
        "subject_id": happening.subject_id,
        "day": happening.day,
        "stage": happening.stage,
        "building": happening.building,
        "section": happening.section,
        "detail": happening.detail,
        "raised_at": now,
    }


def _insert(model: type[Reminder] | type[WebhookCall], rows: Sequence[Reminder | WebhookCall]) -> int:
    """Insert what nobody else has inserted meanwhile; how many of the rows are there now by us."""
    inserted = 0
    for first in range(0, len(rows), AT_ONCE):
        some = rows[first : first + AT_ONCE]
        model.objects.bulk_create(some, ignore_conflicts=True)  # type: ignore[arg-type]
        inserted += model.objects.filter(pk__in=[row.pk for row in some]).count()
    return inserted
