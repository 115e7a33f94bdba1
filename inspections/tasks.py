"""Celery tasks: they take ids, fetch, and call the domain."""

from __future__ import annotations

from uuid import UUID

from inspections.domain.assess import reassess
from portfolio.celery import app
from portfolio.models import Building


@app.task(ignore_result=True)
def reassess_building(building_id: str) -> None:
    """Assess one house and store the results."""
    building = Building.objects.standing().filter(pk=UUID(building_id)).select_related("organisation").first()
    if building is not None:
        reassess(building)
