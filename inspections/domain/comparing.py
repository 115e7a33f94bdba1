"""What a trial taught, from its stored records: one function for command, API and pages."""

from __future__ import annotations

import datetime as dt

from django.utils import timezone

from inspections.analysis.comparison import compare
from inspections.analysis.trial_results import Comparison, NotComparable
from inspections.models import Trial
from inspections.queries.series import building_record
from inspections.queries.trials import places_of, question_of, standing_allocations
from portfolio.domain.refusals import Conflict


def compare_trial(trial: Trial, *, as_of: dt.date | None = None) -> Comparison:
    """The trial's answer from what was known at the end of ``as_of``, or of today at its last house.

    :class:`Conflict` where the records hold no question that can be answered; it says what is missing.
    """
    allocations = standing_allocations(trial)
    buildings = {one.section.building.code: one.section.building for one in allocations}
    if as_of is None:
        zones = [building.zone for building in buildings.values()]
        as_of = max((timezone.localdate(timezone=zone) for zone in zones), default=timezone.localdate())
    houses = {code: building_record(building) for code, building in buildings.items()}
    try:
        return compare(question_of(trial), places_of(allocations), houses, as_of)
    except NotComparable as reason:
        raise Conflict(str(reason)) from reason
