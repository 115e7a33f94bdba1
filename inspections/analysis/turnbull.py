"""Survival without a formula: the nonparametric maximum likelihood of lives, with intervals.

Sources: Turnbull (1976), J. R. Stat. Soc. B 38, 290-295; Frydman (1994), J. R. Stat. Soc. B 56, 71-74, and
Alioum and Commenges (1996), Biometrics 52, 512-524 (where mass can lie with left truncation); Gentleman and
Geyer (1994), Biometrika 81, 618-623 (optimality). Of exact and right-censored lives it is Kaplan and Meier's
(1958) estimate.

Intervals: the variance of the cumulative hazard is the inverse of the observed information in the hazards
above zero (Sun 2001, Biometrics 57, 1008-1015, compares ways; for exact and right-censored lives it is
Greenwood's, 1926), symmetric for the log of the cumulative hazard (Borgan and Liestol 1990, Scand. J. Stat.
17, 35-41), and widened where the coats of a house go together, as for the other fits.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from inspections.analysis.clustering import variance_ratio
from inspections.analysis.curvature import Cells, Information
from inspections.analysis.hazards import Failures, gathered, summit
from inspections.analysis.lifetimes import BoolArray, IntArray, Interval, Lifetimes
from inspections.analysis.records import FloatArray

#: A curve within this of one half over a stretch of time is at its median there.
_HALF = 1e-9


@dataclass(frozen=True, slots=True)
class Npmle:
    """Masses (k,) on the maximal intersections (``left``, ``right``] (k,); right inf: what outlived all.

    ``gap`` bounds how much more likely any other curve could be, in log likelihood. ``hazard`` (m,) belongs
    to ``cells``; inf where nobody is known to have outlived the cell. ``failures`` has the other cells.
    """

    left: FloatArray
    right: FloatArray
    mass: FloatArray
    log_likelihood: float
    gap: float
    lifetimes: Lifetimes = field(repr=False)
    cells: Cells = field(repr=False)
    hazard: FloatArray = field(repr=False)
    failures: Failures = field(repr=False)
    method: str = "nonparametric maximum likelihood (Turnbull)"

    def information(self) -> Information:
        """Scores of the coats, and the observed information, in the hazards above zero."""
        finite = np.isfinite(self.hazard)
        certain = _passed(~finite)
        told = self.lifetimes.failed & (certain[self.cells.first] == certain[self.cells.last])
        return Information(self.failures, self.cells, told, self.hazard, finite)


def turnbull(lifetimes: Lifetimes) -> Npmle:
    """Nonparametric maximum likelihood of lives under any censoring and left truncation.

    ValueError where there are no coats.
    """
    if not len(lifetimes):
        raise ValueError("there must be a coat")
    cells = maximal_cells(lifetimes)
    failures, finite = _kinds(cells, lifetimes.failed)
    found = summit(failures)
    hazard = np.full(len(finite), np.inf)
    hazard[finite] = found.hazard
    outlived = np.exp(-gathered(hazard))
    mass = -np.diff(outlived)
    held = mass > 0
    left, right, mass = cells.left[held], cells.right[held], mass[held]
    if outlived[-1] > 0:
        last = max(float(lifetimes.low.max()), float(right.max(initial=0.0)))
        left, right = np.append(left, last), np.append(right, np.inf)
        mass = np.append(mass, outlived[-1])
    return Npmle(left, right, mass, found.log_likelihood, found.gap, lifetimes, cells, hazard, failures)


def maximal_cells(lifetimes: Lifetimes) -> Cells:
    """Runs of time that begin where a coat was last seen sound and end where one had failed or was entered.

    In between, no curve is made likelier by moving mass (Turnbull 1976; with truncation Frydman 1994). Times
    are half-open: at one time an exact failure begins, then intervals end, then others enter and begin.
    """
    exact, failed = lifetimes.exact, np.flatnonzero(lifetimes.failed)
    entered = np.flatnonzero((lifetimes.entry > 0) & (lifetimes.entry < lifetimes.low))
    # In this order at one time, which a stable sort keeps.
    kinds = (np.flatnonzero(exact), failed, entered, np.flatnonzero(~exact))
    times = (lifetimes.low, lifetimes.high, lifetimes.entry, lifetimes.low)
    time = np.concatenate([part[kind] for part, kind in zip(times, kinds, strict=True)])
    opens = np.repeat([True, False, False, True], [len(kind) for kind in kinds])
    order = np.argsort(time, kind="stable")
    begins = np.flatnonzero(opens[order[:-1]] & ~opens[order[1:]])
    begun = np.zeros(len(order) + 1, dtype=np.int64)
    begun[begins + 1] = 1
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.cumsum(begun)[:-1]
    at_exact, at_end, at_entry, at_start = np.split(place, np.cumsum([len(kind) for kind in kinds])[:-1])
    first, entry = np.empty(len(lifetimes), dtype=np.int64), np.zeros(len(lifetimes), dtype=np.int64)
    first[kinds[0]], first[kinds[3]] = at_exact, at_start
    last = first.copy()
    last[failed] = at_end
    unwatched = lifetimes.entry >= lifetimes.low
    entry[unwatched] = first[unwatched]
    entry[entered] = at_entry
    return Cells(time[order[begins]], time[order[begins + 1]], entry, first, last)


def _kinds(cells: Cells, failed: BoolArray) -> tuple[Failures, BoolArray]:
    """Failed coats by kind, and which cells (m,) anybody is known to have outlived.

    The hazard of the others is infinite: a coat that may have failed in one of them is certain to have, and
    tells nothing more.
    """
    size = len(cells.left) + 1
    watched = np.bincount(cells.entry, minlength=size) - np.bincount(cells.first, minlength=size)
    survivors = np.cumsum(watched)[:-1]
    finite = survivors > 0
    place, certain = _passed(finite), _passed(~finite)
    first, last = cells.first[failed], cells.last[failed]
    unsure = certain[first] == certain[last]
    size = int(place[-1]) + 1
    kinds, weight = np.unique(place[first[unsure]] * size + place[last[unsure]], return_counts=True)
    weights, outlived = weight.astype(float), survivors[finite].astype(float)
    return Failures(kinds // size, kinds % size, weights, outlived), finite


def _passed(cells: BoolArray) -> IntArray:
    """How many of the cells lie before each bound: (m + 1,)."""
    return np.concatenate([[0], np.cumsum(cells)])


@dataclass(frozen=True, slots=True)
class Band:
    """Share surviving at ``years`` (t,), with its interval; NaN beyond the last day any coat was seen."""

    years: FloatArray
    survival: FloatArray
    low: FloatArray
    high: FloatArray
    level: float
    method: str


def survival(npmle: Npmle, years: npt.ArrayLike, level: float = 0.95) -> Band:
    """The share of coats that last longer than ``years`` (t,), with pointwise intervals of ``level``.

    Within a maximal intersection, where the data don't say, the curve is drawn straight.
    """
    at = np.asarray(years, dtype=float)
    if at.ndim != 1 or not np.all(at >= 0) or not 0 < level < 1:
        raise ValueError("years must be a list of ages of 0 or more, and level between 0 and 1")
    band = _band(npmle, at, level)
    beyond = (at > _horizon(npmle)) & (band.survival > 0)
    gone = band.survival <= 0
    if gone.any():
        # The last limit before nothing is left still holds.
        last = np.nextafter(npmle.cells.left[np.isinf(npmle.hazard)][:1], -np.inf)
        band.low[gone], band.high[gone] = 0.0, _band(npmle, last, level).high
    for curve in (band.survival, band.low, band.high):
        curve[beyond] = np.nan
    return band


def median_life(npmle: Npmle, level: float = 0.95) -> Interval:
    """The age that half of the coats outlive, with its interval; None for an end that is not reached.

    The interval holds the ages at which the band of the curve holds one half (Brookmeyer and Crowley 1982,
    Biometrics 38, 29-41).
    """
    finite = np.isfinite(npmle.right)
    last = _horizon(npmle)
    ages = np.unique(np.concatenate([[0.0, last], npmle.left[finite], npmle.right[finite]]))
    # Just before a jump, too, where a time of failure is exact.
    jumps = npmle.right[finite & (npmle.left == npmle.right)]
    ages = np.sort(np.concatenate([ages, np.nextafter(jumps, -np.inf)]))
    band = survival(npmle, ages[ages <= last], level)
    estimate = _crossing(band.years, band.survival)
    level_at = np.flatnonzero(np.abs(band.survival - 0.5) < _HALF)
    if len(level_at) > 1:
        estimate = float(band.years[level_at].mean())
    return Interval(estimate, _crossing(band.years, band.low), _crossing(band.years, band.high))


def _crossing(years: FloatArray, share: FloatArray) -> float | None:
    """First age at which a curve, straight between ``years``, is at one half or below."""
    under = np.flatnonzero(share <= 0.5 + _HALF)
    if not len(under):
        return None
    place = int(under[0])
    if place == 0:
        return float(years[0])
    before, drop = years[place - 1], share[place - 1] - share[place]
    if drop <= 0 or np.nextafter(before, np.inf) == years[place]:
        return float(years[place])
    return float(before + min((share[place - 1] - 0.5) / drop, 1.0) * (years[place] - before))


def _horizon(npmle: Npmle) -> float:
    lives = npmle.lifetimes
    return float(max(lives.low.max(), lives.high[lives.failed].max(initial=0.0)))


def _curve(npmle: Npmle, at: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Share surviving (t,), and how much each cell's hazard counts in its cumulative hazard: (t, m)."""
    left, right, hazard = npmle.cells.left, npmle.cells.right, npmle.hazard
    width = np.where(right > left, right - left, 1.0)
    part = np.where(right > left, np.clip((at[:, None] - left) / width, 0.0, 1.0), at[:, None] >= right)
    kept = np.exp(-hazard)
    shares = 1 - part * (1 - kept)
    weight = np.where(np.isfinite(hazard), part * kept / np.maximum(shares, 1e-300), 0.0)
    return np.asarray(shares.prod(axis=1)), np.asarray(weight)


def _band(npmle: Npmle, at: FloatArray, level: float) -> Band:
    share, weight = _curve(npmle, at)
    information = npmle.information()
    influence = information.solve(weight.T)
    variance = np.maximum((weight.T * influence).sum(axis=0), 0.0)
    ratio = variance_ratio(information.along(influence), npmle.lifetimes.cluster, variance)
    hazard = -np.log(np.clip(share, 1e-300, 1.0))
    reach = float(ndtri((1 + level) / 2)) * np.sqrt(variance * ratio)
    spread = np.exp(np.minimum(reach / np.maximum(hazard, 1e-300), 600.0))
    low, high = np.exp(-hazard * spread), np.exp(-hazard / spread)
    whole = share >= 1
    low[whole], high[whole] = _none_failed(npmle.lifetimes, at[whole], level), 1.0
    method = f"{npmle.method}; log-log intervals from the observed information"
    if ratio.max(initial=1.0) > 1:
        method += f"; houses taken as clusters, variance times {ratio.max():.2f} at most"
    return Band(at, share, low, high, level, method)


def _none_failed(lives: Lifetimes, at: FloatArray, level: float) -> FloatArray:
    """Lower limits while none has failed: exact for the fewest coats that were ever watched till that age."""
    entry, low = np.sort(lives.entry), np.sort(lives.low)

    def watched(age: FloatArray) -> IntArray:
        return np.searchsorted(entry, age) - np.searchsorted(low, age)

    later = np.unique(entry[entry > entry[0]])
    fewest = np.minimum.accumulate(np.append(len(lives), watched(later)))
    count = np.minimum(watched(at), fewest[np.searchsorted(later, at, "right")])
    return np.where(at <= entry[0], 1.0, ((1 - level) / 2) ** (1 / np.maximum(count, 1e-3)))
