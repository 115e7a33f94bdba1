"""Asking for a house to be assessed anew once what was changed in its records is saved.

The request is a row of the same transaction, so that it is neither lost with a process nor made for a change
that was rolled back. A broker, where there is one, hears of it after the commit; else the rows wait for
`manage.py run_due` or the next `manage.py assess`.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from uuid import UUID

from django.conf import settings
from django.db import transaction

from portfolio.models import Reassessment

#: By name, since what is assessed is no concern of this package.
TASK = "inspections.tasks.reassess_buildings"
#: Houses of one task: few enough that many workers share a whole portfolio evenly. Ours.
CHUNK = 20


@transaction.atomic
def ask_for_assessment(building_ids: Iterable[UUID]) -> None:
    """Let these houses be assessed anew, after the transaction."""
    wanted = sorted(set(building_ids))
    Reassessment.objects.bulk_create(Reassessment(building_id=building_id) for building_id in wanted)
    if settings.REDIS_URL:
        # A broker that is down must not fail a request whose work is saved: the row still waits.
        transaction.on_commit(partial(_tell_workers, wanted), robust=True)


def _tell_workers(building_ids: list[UUID]) -> None:
    # Only where there is a broker: every start would wait for it.
    from portfolio.celery import app

    ids = [str(building_id) for building_id in building_ids]
    for first in range(0, len(ids), CHUNK):
        app.send_task(TASK, [ids[first : first + CHUNK]], retry=False)
