"""What an organisation's own openings change in its probabilities of trapped water.

The log-odds x of trapped water that the model gives are moved to ``x + shift + (slope - 1) (x - MIDDLE)``:
Cox's (1958, Biometrika 45, 562-565) shift and slope of stated probabilities, about the call. The slope stays
above nought, so walls keep their order. The prior is centred on the model as it is: even odds that it is
right here, else a normal shift and a normal logarithm of the slope. The posterior means over a grid of both
are used; with few openings they stay near 0 and 1, with many the openings have their way.

Walls are not opened at random, but mostly because of what the readings said. As with Begg & Greenes (1983)
the opened walls stand for the unopened ones of the same probability, which is what a regression on x does;
beyond that, each opening counts by the inverse of the chance of its band to be opened, tempered and bounded
(:data:`TEMPER`, :data:`MOST`), so that the few walls that nobody suspected are heard beside the many that
were. The weights add up to the effective number of openings (Kish 1965), never to more than there were.
All from memory. Chosen and judged by ``python -m tests.simulation.recalibrating``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from inspections.analysis.alarms import CALL
from inspections.analysis.openings import BANDS, Opening
from inspections.analysis.records import FloatArray

#: Fewer openings change nothing. Ours: the least from which simulated organisations whose walls differ gain
#: more than those lose whose walls don't; from fewer, one odd wall would move all the others.
LEAST: Final = 8
#: Chance beforehand that an organisation's walls are as the calibration's.
AS_CALIBRATED: Final = 0.5
#: Standard deviations, where they aren't, of the shift in log-odds and of the slope's logarithm: 95 % of
#: organisations then hold water a seventh to seven times as often at the same log-odds. Ours.
SHIFT_SD, SLOPE_SD = 1.0, 0.3
#: Shares of walls in the bands of :data:`openings.BANDS`, over simulated portfolios of six makes: only how
#: they stand to one another matters. A fixed table, so that no verdict hangs on the other walls' verdicts.
WALLS: Final = (0.74, 0.16, 0.03, 0.07)
#: The power of the chance of being opened that weighs an opening, and how many times another one's weight
#: one may have at most.
TEMPER: Final = 0.5
MOST: Final = 4.0
#: Where the slope turns: the log-odds of the call.
MIDDLE: Final = float(np.log(CALL / (1 - CALL)))
#: Log-odds beyond which a probability is no surer: floats of one part in 1e13.
_SUREST = 30.0
_SHIFTS = np.linspace(-3.5, 3.5, 71) * SHIFT_SD
_SLOPES = np.exp(np.linspace(-3.0, 3.0, 31) * SLOPE_SD)
_ENDS = (0.025, 0.975)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with its 95 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Recalibration:
    """How probabilities of trapped water are moved, and by what: ``held`` of the opened walls held water,
    where the model alone promised ``expected``.

    ``shift`` and ``slope`` are as used, in hundredths, so that a result's version tells all of it.
    """

    openings: int
    held: int
    expected: float
    shift: Estimate
    slope: Estimate

    @property
    def changes(self) -> bool:
        """Whether anything is moved."""
        return self.shift.value != 0 or self.slope.value != 1

    def gain(self, probability: FloatArray) -> FloatArray:
        """What is added to the log-odds of the probabilities (n,) of trapped water that the model gives."""
        given = log_odds(probability)
        return np.asarray(self.shift.value + (self.slope.value - 1) * (given - MIDDLE))


#: The model as it is.
AS_IS: Final = Recalibration(0, 0, 0.0, Estimate(0.0, 0.0, 0.0), Estimate(1.0, 1.0, 1.0))


def log_odds(probability: FloatArray) -> FloatArray:
    """Natural log-odds of probabilities, at most :data:`_SUREST` from nought."""
    share = np.asarray(probability, dtype=float)
    with np.errstate(divide="ignore"):
        return np.asarray(np.clip(np.log(share) - np.log1p(-share), -_SUREST, _SUREST))


def recalibration(openings: Sequence[Opening], least: int = LEAST) -> Recalibration:
    """What ``openings`` (the model's own probability before each, and what was found) change.

    Of fewer than ``least`` nothing is made: :data:`AS_IS` but for the counts.
    """
    # In one order always, so that the same openings give the same numbers to the last digit.
    openings = sorted(openings, key=lambda one: (one.probability, one.held))
    given = log_odds(np.array([one.probability for one in openings], dtype=float))
    held = np.array([one.held for one in openings], dtype=bool)
    expected = float(sum(one.probability for one in openings))
    told = (len(openings), int(held.sum()), expected)
    if len(openings) < least:
        return Recalibration(*told, AS_IS.shift, AS_IS.slope)
    posterior, still = _posterior(given, held, weights(given))
    shifts = _estimate(_SHIFTS, posterior.sum(axis=1), 0.0, still)
    slopes = _estimate(_SLOPES, posterior.sum(axis=0), 1.0, still)
    return Recalibration(*told, shifts, slopes)


def weights(given: FloatArray) -> FloatArray:
    """The weight of each opening with log-odds ``given`` (n,), adding up to their effective number."""
    edges = log_odds(np.array(BANDS))
    band = np.searchsorted(edges, given, side="right")
    opened = np.bincount(band, minlength=len(WALLS)) / np.array(WALLS)
    inverse = (1 / opened[band]) ** TEMPER
    bounded = np.minimum(inverse, MOST * inverse.min())
    return np.asarray(bounded * bounded.sum() / (bounded**2).sum())


def _posterior(
    given: FloatArray, held: npt.NDArray[np.bool_], weight: FloatArray
) -> tuple[FloatArray, float]:
    """Posterior of shift and slope on the grid, and of the model as it is; together they add up to 1."""
    at = (given - MIDDLE)[:, None] * _SLOPES + MIDDLE
    moved = at[:, None, :] + _SHIFTS[:, None]
    sign = np.where(held, -1.0, 1.0)
    like = -(weight[:, None, None] * np.logaddexp(0.0, sign[:, None, None] * moved)).sum(axis=0)
    as_is = -float((weight * np.logaddexp(0.0, sign * given)).sum())
    prior = -0.5 * ((_SHIFTS[:, None] / SHIFT_SD) ** 2 + (np.log(_SLOPES) / SLOPE_SD) ** 2)
    prior -= np.log(np.exp(prior).sum())
    most = max(float(like.max()), as_is)
    grid = (1 - AS_CALIBRATED) * np.exp(like + prior - most)
    still = AS_CALIBRATED * float(np.exp(as_is - most))
    whole = grid.sum() + still
    return np.asarray(grid / whole), float(still / whole)


def _estimate(values: FloatArray, posterior: FloatArray, middle: float, still: float) -> Estimate:
    """Mean and central 95 % of ``values`` with their ``posterior``, and ``still`` at ``middle``."""
    every, chance = np.append(values, middle), np.append(posterior, still)
    order = np.argsort(every, kind="stable")
    run = np.cumsum(chance[order])
    low, high = every[order][np.minimum(np.searchsorted(run, _ENDS), len(run) - 1)].tolist()
    return Estimate(round(float(every @ chance), 2), round(low, 2), round(high, 2))
