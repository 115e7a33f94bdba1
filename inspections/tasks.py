"""Celery tasks: they take ids, fetch, and call the domain. When each is run is said in the settings."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from uuid import UUID

from django.utils import timezone

from inspections.domain import renewing
from inspections.domain.assess import reassess_due
from inspections.domain.replays import replay_due
from inspections.domain.telling import calling, raising, sending
from inspections.records import uploads
from portfolio.celery import app
from portfolio.domain.due import CHUNK
from portfolio.models import Building

#: What waits longer than this for a task of its own has lost it, and is found by the schedule.
LOST = dt.timedelta(minutes=2)


@app.task(ignore_result=True)
def reassess_buildings(building_ids: Sequence[str]) -> int:
    """Assess some houses, those of them whose records changed since they were last assessed."""
    ids = [UUID(one) for one in building_ids]
    assessed = reassess_due(buildings=ids)
    for building in Building.objects.filter(pk__in=ids):
        replay_due(building=building)
    return assessed


@app.task(ignore_result=True)
def run_upload(upload_id: str) -> None:
    """Check or load what a person sent, if that still waits."""
    uploads.run(UUID(upload_id))


# By the schedule; each gives how many there were ---------------------------------------------------------


@app.task(ignore_result=True)
def run_uploads() -> int:
    """Go on with what nobody is at."""
    return uploads.run_waiting()


@app.task(ignore_result=True)
def reassess_waiting(lost_only: bool = False) -> int:
    """Assess houses that wait: all, or those alone that lost their task, some at a time."""
    if lost_only:
        return reassess_due(asked_before=timezone.now() - LOST, most=CHUNK)
    return reassess_due()


@app.task(ignore_result=True)
def look_back(at_most: int | None = None) -> int:
    """Work out what would have been said at each past visit."""
    return replay_due(at_most=at_most)


@app.task(ignore_result=True)
def ask_for_old_assessments() -> int:
    """Ask for the houses that nobody has looked at for a while."""
    return renewing.ask_for_old_assessments(timezone.now())


@app.task(ignore_result=True)
def raise_reminders() -> int:
    """Find out who has to be told of what."""
    return raising.raise_all(timezone.now())


@app.task(ignore_result=True)
def send_mails() -> int:
    """Send what is due, and what can't wait."""
    raising.raise_dangers(timezone.now())
    return sending.send_due()


@app.task(ignore_result=True)
def call_webhooks() -> int:
    """Tell programs."""
    return calling.call_due()
