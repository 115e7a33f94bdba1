"""Which coats stand on a wall, and which of them holds the most water back."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from inspections.analysis.materials import stack_sd
from inspections.queries.series import coat_of, day_number
from portfolio.models import Treatment
from portfolio.vocabulary import COAT_KINDS, Face, Purpose


def standing(treatments: Iterable[Treatment], today: dt.date) -> list[Treatment]:
    """The coats on the room's side that are in place, from the wall outward."""
    own = (
        one
        for one in treatments
        if one.kind in COAT_KINDS
        and one.face != Face.OUTSIDE
        and one.purpose != Purpose.PATCH
        and one.applied_on <= today
        and (one.removed_on is None or one.removed_on > today)
    )
    return sorted(own, key=lambda one: (one.layer, one.applied_on))


def tightest(treatments: Iterable[Treatment], today: dt.date) -> Treatment | None:
    """The coat in place that resists vapour most: water is held behind this one."""
    day = day_number(today)
    return max(
        standing(treatments, today), key=lambda one: float(stack_sd((coat_of(one),), day)[0]), default=None
    )
