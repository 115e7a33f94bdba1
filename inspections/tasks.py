"""Celery tasks: they take ids, fetch, and call the domain."""

from __future__ import annotations

from uuid import UUID

from inspections.domain.assess import reassess_due
from inspections.domain.replays import replay_due
from inspections.records import uploads
from portfolio.celery import app
from portfolio.models import Building


@app.task(ignore_result=True)
def reassess_building(building_id: str) -> None:
    """Assess one house, if its records changed since it was last assessed, and look back on it."""
    building = Building.objects.filter(pk=UUID(building_id)).first()
    if building is not None:
        reassess_due(building=building)
        replay_due(building=building)


@app.task(ignore_result=True)
def run_upload(upload_id: str) -> None:
    """Check or load what a person sent, if that still waits."""
    uploads.run(UUID(upload_id))
