"""What walls that were opened to look say of the verdicts: the only truth there is.

Walls are not opened at random: a wall that is called is opened sooner. Within a band of the probability that
was given beforehand, the opened walls are taken to stand for the others (verification depends on what the
readings said and on nothing else), and the bands are weighted by how many walls lie in each: Begg & Greenes
(1983), Biometrics 39, 207-215, equations 1 and 2 (from memory). Some walls opened at random keep that true.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inspections.analysis.alarms import CALL
from inspections.analysis.records import FloatArray

#: Total moisture less hygroscopic, in per cent of the dry mass, from which masonry counts as holding water:
#: the bands in common use call 5 to 10 % wet. It depends on the material; saturation would tell better.
WET_MASS = 5.0
#: Depth to which a hand probe enters the bedding mortar, mm, from which it has gone soft. Ours.
SOFT_MM = 10.0
#: Edges of the bands of probability; the call is one of them.
BANDS = (0.05, CALL, 0.60)
#: So many openings of walls that were called, and of others, are the fewest that anything is said from. Ours.
FEWEST = 5
_DRAWS, _ENDS = 4000, (0.025, 0.975)
#: What a missed wall costs, in needless looks, as the call implies it.
MISSED = (1 - CALL) / CALL


@dataclass(frozen=True, slots=True)
class Opening:
    """One opened wall: the probability of trapped water given before, and whether water was found."""

    probability: float
    held: bool


@dataclass(frozen=True, slots=True)
class Share:
    """An estimated share with its 95 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Truth:
    """What the openings say. ``sensitivity``: of walls that hold water, the share that is called;
    ``false_calls``: of those that don't, the share called all the same. None where too few were opened.

    ``expected`` is how many of the opened walls the probabilities promised to hold water.
    """

    opened: int
    called: int
    held: int
    expected: float
    sensitivity: Share | None
    false_calls: Share | None


def finding(moisture: float, hygroscopic: float, soft_mm: float) -> bool | None:
    """Whether an opened wall held water; None where nothing that tells was measured.

    ``moisture`` and ``hygroscopic`` in per cent by mass, ``soft_mm`` the depth of soft mortar; NaN if unread.
    Moisture decides where it was weighed, salt's own share taken off; else soft mortar does.
    """
    if np.isfinite(moisture):
        return bool(moisture - np.nan_to_num(hygroscopic) >= WET_MASS)
    return bool(soft_mm >= SOFT_MM) if np.isfinite(soft_mm) else None


def truth_of(openings: Sequence[Opening], everywhere: FloatArray, fewest: int = FEWEST) -> Truth:
    """What ``openings`` say of walls whose probabilities of trapped water are ``everywhere`` (n,).

    Each band's share of walls that hold water gets Jeffreys' prior (Brown, Cai & DasGupta 2001), and the
    intervals are quantiles of what follows from it; the point estimates are Begg & Greenes' own, a band
    without an opening counting as its prior's mean.
    """
    given = np.array([opening.probability for opening in openings], dtype=float)
    held = np.array([opening.held for opening in openings], dtype=bool)
    called = given >= CALL
    enough = len(everywhere) > 0 and min(int(called.sum()), int((~called).sum())) >= fewest
    shares = _shares(given, held, everywhere) if enough else (None, None)
    return Truth(
        opened=len(openings),
        called=int(called.sum()),
        held=int(held.sum()),
        expected=float(given.sum()),
        sensitivity=shares[0],
        false_calls=shares[1],
    )


def _shares(given: FloatArray, held: npt.NDArray[np.bool_], everywhere: FloatArray) -> tuple[Share, Share]:
    bands = len(BANDS) + 1
    band = np.searchsorted(BANDS, given, side="right")
    wet = np.bincount(band[held], minlength=bands).astype(float)
    dry = np.bincount(band[~held], minlength=bands).astype(float)
    walls = np.bincount(np.searchsorted(BANDS, everywhere, side="right"), minlength=bands)
    called = np.arange(bands) > BANDS.index(CALL)
    seen = wet + dry
    plain = np.where(seen > 0, wet / np.maximum(seen, 1), 0.5)
    drawn = np.random.default_rng(0).beta(wet + 0.5, dry + 0.5, size=(_DRAWS, bands))
    found = []
    for share_plain, share_drawn in ((plain, drawn), (1 - plain, 1 - drawn)):
        value = _called_share(share_plain, walls, called)
        ends = np.quantile(_called_share(share_drawn, walls, called), _ENDS)
        found.append(Share(float(value), float(ends[0]), float(ends[1])))
    return found[0], found[1]


def _called_share(
    share: FloatArray, walls: npt.NDArray[np.int64], called: npt.NDArray[np.bool_]
) -> FloatArray:
    """Of the walls of a kind, ``share`` (…, bands) of each band, the share that lies in the called bands."""
    count = share * walls
    return np.asarray(count[..., called].sum(axis=-1) / np.maximum(count.sum(axis=-1), 1e-12))


def worth_opening(probability: float) -> float:
    """What opening a wall is expected to save, in needless looks: most near the call, nothing when sure.

    The expected value of perfect information (Raiffa & Schlaifer 1961): the loss of the better of calling and
    not calling, that knowing would spare.
    """
    return float(min(1 - probability, MISSED * probability))
