"""Which coats stand on a wall, and which one a page names."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence

from inspections.analysis.materials import stack_sd
from inspections.queries.pages import AreaLevel
from inspections.queries.series import coat_of, day_number
from inspections.web.present import hatches, words
from portfolio.models import Treatment
from portfolio.vocabulary import Face, Purpose


def standing(treatments: Iterable[Treatment], today: dt.date) -> list[Treatment]:
    """The coats on the room's side that are in place, from the wall outward."""
    own = (
        one
        for one in treatments
        if one.kind in words.COAT_KINDS
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


def hatch_families(coats: Sequence[Treatment]) -> tuple[str, ...]:
    """The hatches of the coats in place, each once, from the wall outward."""
    return tuple(dict.fromkeys(hatches.family(coat.kind, coat.binder) for coat in coats))


def levels_since(coat: Treatment | None, latest: dict[str, AreaLevel]) -> dict[str, float]:
    """The latest areas, m², leaving out those that were read on what stood before this coat."""
    return {
        name: level.area for name, level in latest.items() if coat is None or level.day >= coat.applied_on
    }
