"""Whether what waits to be told still holds: what was settled meanwhile is not told, nor who has left."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from uuid import UUID

from inspections.domain.telling.happenings import rules_of
from inspections.domain.telling.raising import ASCENT
from inspections.models import LIVE_FLAG_STATES, Flag, Plan, Reading, Reminder
from inspections.vocabulary import FlagState, Stage, Subject
from portfolio.models import Membership

#: Stages of a plan that hold as long as it is due, on whichever day.
_WHEN_DUE = (Stage.AGAIN, Stage.HANDED)


def settled(reminders: Iterable[Reminder], now: dt.datetime) -> list[UUID]:
    """Those of the reminders that need not be told any more."""
    held = list(reminders)
    members = Membership.objects.filter(
        organisation__in={row.organisation_id for row in held}, user__in={row.person_id for row in held}
    )
    still_in = set(members.filter(role__in=ASCENT).values_list("organisation", "user"))
    ids = {subject: [row.subject_id for row in held if row.subject == subject] for subject in Subject}
    due = dict(Plan.objects.filter(pk__in=ids[Subject.PLAN]).values_list("pk", "falls_on"))
    states = dict(Flag.objects.filter(pk__in=ids[Subject.FLAG]).values_list("pk", "state"))
    readings = Reading.objects.standing().filter(pk__in=ids[Subject.READING])
    standing = set(readings.values_list("pk", flat=True))
    return [
        row.pk
        for row in held
        if (row.organisation_id, row.person_id) not in still_in or not _holds(row, due, states, standing, now)
    ]


def _holds(
    row: Reminder, due: dict[UUID, dt.date], states: dict[UUID, str], standing: set[UUID], now: dt.datetime
) -> bool:
    if row.subject == Subject.READING:
        return row.subject_id in standing
    if row.subject == Subject.FLAG:
        state = states.get(row.subject_id)
        waits = (FlagState.OPENED,) if row.stage in (Stage.OPENED, Stage.UNANSWERED) else LIVE_FLAG_STATES
        return state in waits
    day = due.get(row.subject_id)
    if row.stage in _WHEN_DUE:
        soon = now.date() + dt.timedelta(days=rules_of(row.organisation).before_days)
        return day is not None and day <= soon
    return day == row.day
