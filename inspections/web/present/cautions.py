"""The cautions that stand on every page which leads to work on a wall.

Gathered from common practice and the public rules named in the project's domain reference; from memory where
a figure is given. They defer to the local code and to licensed practice, and replace neither.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Caution:
    """What can hurt, and what to do about it."""

    hazard: str
    text: str


DEFERRAL: Final = (
    "The local code and licensed practice decide; where this page and they differ, follow them. "
    "These cautions are reminders, not a method of work."
)

CAUTIONS: Final = (
    Caution(
        "Undermined or moving walls",
        "Stop if a wall bulges, leans, has stepped cracks or stones loose at its foot, and call a structural "
        "engineer. Don’t dig beside an old footing, and don’t cover a wall that moves.",
    ),
    Caution(
        "Shock near water",
        "Never stand in water near a sump, pump or socket before an electrician has made it dead. "
        "Basement sockets belong behind a residual-current (ground-fault) device.",
    ),
    Caution(
        "Silica dust",
        "Grinding or chasing mortar, brick and stone sets free dust that scars the lungs. Wet the work or "
        "draw the dust off at the tool, and wear a fitted respirator.",
    ),
    Caution(
        "Lime and cement",
        "Both burn skin and eyes. Goggles and gloves; rinse at once, eyes for a quarter of an hour, then a "
        "doctor.",
    ),
    Caution(
        "Lead paint",
        "Presume it in a house from before 1978. Have it tested before you scrape, sand or strip; removal "
        "has its own rules and certified firms.",
    ),
    Caution(
        "Asbestos",
        "Old coats, pipe wrap and flooring may hold it. Have a sample taken by someone qualified before "
        "anything is broken off.",
    ),
    Caution(
        "Mould",
        "A patch up to about one square metre (ten square feet): mask, gloves, goggles, and find the water "
        "first. More than that, or anyone in the house with weak lungs: a contractor.",
    ),
    Caution(
        "Radon",
        "Sealing, opening a floor or changing how a basement is aired can raise or lower it. Test "
        "afterwards; keep sumps covered airtight.",
    ),
)

SOURCE_FIRST: Final = (
    "Water first. Before any coat is touched, look at gutter, downpipe, the fall of the paving, pipes, "
    "window well and the neighbour’s side, mend what is found, and write the check down with its date."
)
