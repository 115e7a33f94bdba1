"""What a trial taught, from its stored records: one function for command, API and pages.

An answer is kept in the cache and given again as long as no record changes that it rests on.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from django.utils import timezone

from inspections.analysis.comparison import compare
from inspections.analysis.records import no_readings
from inspections.analysis.trial_results import Comparison, NotComparable
from inspections.domain.kept import kept
from inspections.models import Trial
from inspections.queries.series import building_record
from inspections.queries.trials import places_of, question_of, standing_allocations, state_of
from portfolio.domain.refusals import Conflict


def compare_trial(trial: Trial, *, as_of: dt.date | None = None) -> Comparison:
    """The trial's answer from what was known at the end of ``as_of``, or of today at its last house.

    :class:`Conflict` where the records hold no question that can be answered; it says what is missing. The
    answer's walls are without their readings.
    """
    allocations = standing_allocations(trial)
    buildings = {one.section.building.code: one.section.building for one in allocations}
    if as_of is None:
        zones = [building.zone for building in buildings.values()]
        as_of = max((timezone.localdate(timezone=zone) for zone in zones), default=timezone.localdate())
    question, places, day = question_of(trial), places_of(allocations), as_of

    def answered() -> Comparison | str:
        houses = {code: building_record(building) for code, building in buildings.items()}
        try:
            return _light(compare(question, places, houses, day))
        except NotComparable as reason:
            return str(reason)

    rests_on = (trial.organisation_id, question, places, day, state_of(trial, buildings.values()))
    found = kept("trial", rests_on, answered)
    if isinstance(found, str):
        raise Conflict(found)
    return found


def _light(found: Comparison) -> Comparison:
    """The answer without all that was ever read of its walls, which nobody asks it for."""
    walls = (replace(one, record=replace(one.record, readings=no_readings())) for one in found.walls)
    return replace(found, walls=tuple(walls))
