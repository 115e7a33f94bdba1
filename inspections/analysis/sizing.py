"""How many pairs of walls it takes to see a difference, and what so many pairs can show.

A spread estimated from a few pairs is as likely too small as too large, and a trial planned on it would be
too small half the time; its upper 80 % limit is taken instead (Browne 1995, Stat. Med. 14, 1933). Power is
that of the paired t test by the noncentral t (Cohen 1988, Statistical Power Analysis, ch. 2).
"""

from __future__ import annotations

import math

import numpy as np
from scipy.special import chdtri, nctdtr, stdtrit

#: Two-sided level of the test, the power asked for, and the limit of the spread (Browne 1995).
LEVEL, POWER, SURE_OF_SPREAD = 0.05, 0.80, 0.80
#: The fewest pairs whose lot can reach p under 0.05: 2/2⁶ is 0.031, and 2/2⁵ is not (Fisher 1935).
FEWEST_PAIRS = 6
#: No trial of this size is meant.
MOST_PAIRS = 100_000
_HALVINGS = 60


def upper_spread(spread: float, freedom: int, sure: float = SURE_OF_SPREAD) -> float:
    """Limit under which the true standard deviation lies with confidence ``sure``; inf without freedom."""
    if freedom < 1:
        return np.inf
    return float(spread * math.sqrt(freedom / chdtri(freedom, sure)))


def power(pairs: int, difference: float, spread: float) -> float:
    """Chance that ``pairs`` (2 or more) show a true ``difference`` at :data:`LEVEL`, two-sided.

    ``spread``: standard deviation of a pair's difference, in the same unit.
    """
    if spread <= 0:
        return 1.0 if difference else LEVEL
    freedom, shift = pairs - 1, abs(difference) / spread * math.sqrt(pairs)
    edge = float(stdtrit(freedom, 1 - LEVEL / 2))
    # Far out in a tail the library gives NaN: there is nothing left to add.
    missed, turned = np.nan_to_num(nctdtr(freedom, shift, [edge, -edge]))
    return float(1 - missed + turned)


def pairs_needed(difference: float, spread: float, wanted: float = POWER) -> int | None:
    """The fewest pairs that show a true ``difference`` with power ``wanted``; None if beyond any trial."""
    if difference == 0 or not math.isfinite(spread):
        return None
    low, high = FEWEST_PAIRS - 1, FEWEST_PAIRS
    while power(high, difference, spread) < wanted:
        low, high = high, 2 * high
        if high > MOST_PAIRS:
            return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if power(middle, difference, spread) < wanted else (low, middle)
    return high


def detectable(pairs: int, spread: float, wanted: float = POWER) -> float | None:
    """The least true difference that ``pairs`` show with power ``wanted``; None for too few pairs."""
    if pairs < FEWEST_PAIRS or not math.isfinite(spread):
        return None
    low, high = 0.0, spread
    while power(pairs, high, spread) < wanted:
        low, high = high, 2 * high
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if power(pairs, middle, spread) < wanted else (low, middle)
    return (low + high) / 2
