"""When a verdict becomes a flag, and when the flag closes again: limits for looks that go on for decades.

Every section is looked at again at every visit, so a limit that is right once is passed by chance in the long
run. The limits here were found by simulating the looks (``python -m tests.simulation.looks``): the least
levels at which the upper 95 % limit of the false openings stays within :data:`FALSE_OPENINGS` on every
generator of the calibration, and the false share of the open flags within :data:`FALSE_SHARE` over all of
them. A flag opens and closes at levels that lie apart (a Schmitt trigger), so that one odd reading neither
opens nor closes it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

#: Trapped water is called from this probability on, though another explanation may be somewhat likelier: a
#: wall that is missed is taken to cost about twice a needless look, and a look is due where the odds are
#: better than one to the ratio of the two. Ours.
CALL: Final = 0.35
#: False openings allowed for each kind of flag, per 100 section-years: in a portfolio of 300 sections, three
#: needless looks a year. Ours.
FALSE_OPENINGS: Final = 1.0
#: Of the open flags of a kind at any time, the share that may be false (the false discovery share), where
#: water is at work in as many walls as in the simulations: a flag is false if its verdict was the truth at no
#: look since a year before it opened. Ours.
FALSE_SHARE: Final = 0.20


@dataclass(frozen=True, slots=True)
class Limits:
    """Probabilities at which a flag opens, and under which it closes."""

    opens: float
    closes: float


#: By verdict that somebody must act on, since water is at work in the wall.
LIMITS: Final[dict[str, Limits]] = {
    "trapped_water": Limits(opens=0.60, closes=0.42),
    "water_entry": Limits(opens=0.35, closes=0.25),
}


def is_open(was_open: bool, probability: float, is_verdict: bool, limits: Limits) -> bool:
    """Whether a flag is open after a look: ``is_verdict`` says that the look's verdict is the flag's own."""
    if was_open:
        return probability >= limits.closes
    return is_verdict and probability >= limits.opens
