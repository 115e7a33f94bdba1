"""Which coats stand on a wall, and which one a page names."""

from __future__ import annotations

from collections.abc import Sequence

from inspections.queries.coats import standing as standing
from inspections.queries.coats import tightest as tightest
from inspections.queries.pages import AreaLevel
from inspections.web.present import hatches
from portfolio.models import Treatment


def hatch_families(coats: Sequence[Treatment]) -> tuple[str, ...]:
    """The hatches of the coats in place, each once, from the wall outward."""
    return tuple(dict.fromkeys(hatches.family(coat.kind, coat.binder) for coat in coats))


def levels_since(coat: Treatment | None, latest: dict[str, AreaLevel]) -> dict[str, float]:
    """The latest areas, m², leaving out those that were read on what stood before this coat."""
    return {
        name: level.area for name, level in latest.items() if coat is None or level.day >= coat.applied_on
    }
