"""What becomes of coats: failed, taken off by plan while sound, or still in place, at each age.

Planned removal competes with failure. Supposed that it doesn't look at the wall, the share that has failed by
an age is the sum of what fails at each age times what had not been taken off by then (Kalbfleisch and
Prentice 2002, The Statistical Analysis of Failure Time Data, sec. 8.2; from memory): of exact times the
estimate of Aalen and Johansen (1978). Failures are Turnbull's estimate, removals Kaplan and Meier's with late
entry.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from inspections.analysis.failures import FAILED, REMOVED, Coats, Lives
from inspections.analysis.lifechecks import BLOCKS
from inspections.analysis.lifetimes import BoolArray, IntArray, Interval, Lifetimes
from inspections.analysis.rates import GRID, LEAST_COATS, LONGEST, MANY, Group, places
from inspections.analysis.records import YEAR, FloatArray
from inspections.analysis.results import Told
from inspections.analysis.turnbull import turnbull

#: Steps in a year by which the sum is taken.
_STEPS = 12
#: A share under this is none.
_NONE = 1e-9


@dataclass(frozen=True, slots=True)
class Fate(Told):
    """Of one group's coats, the shares that at this age have failed, were taken off sound, or stand sound."""

    group: dict[str, str | None]
    coats: int
    failures: int
    removals: int
    years: float
    failed: Interval
    taken_off: Interval
    sound: Interval


def fates(
    by: Sequence[str], group: Sequence[Group], coats: Coats, lives: Lives, house: IntArray, as_of: float
) -> tuple[Fate, ...]:
    """Shares at each whole year of age for each ``group`` of five coats or more; ``as_of`` the last day."""
    names, place = places(group)
    ended = np.minimum(coats.ended, as_of)
    in_place = np.maximum((ended - coats.begun) / YEAR, lives.low)
    taken = (lives.state == REMOVED) & coats.planned
    # A coat that failed is watched for removal until then: what is done to it later is no plan of its own.
    middle = np.where(lives.state == FAILED, (lives.low + np.minimum(lives.high, 1e6)) / 2, in_place)
    until = np.where(taken, lives.low, middle)
    found: list[Fate] = []
    for one, name in enumerate(names):
        own = (place == one) & lives.at_risk
        if own.sum() >= LEAST_COATS:
            parts = _Watched(lives, house, until, taken)
            found += _group_fates(dict(zip(by, name, strict=True)), parts, own)
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Watched:
    """Lives, houses, the age until which each coat was watched for removal (n,), and whether it came."""

    lives: Lives
    house: IntArray
    until: FloatArray
    taken: BoolArray


def _group_fates(label: dict[str, str | None], watched: _Watched, own: BoolArray) -> list[Fate]:
    lives = watched.lives
    failed = own & (lives.state == FAILED)
    ends = np.where(lives.state == FAILED, lives.high, lives.low)[own]
    years = np.arange(1.0, min(float(ends.max()), LONGEST) + 1e-9)
    if not len(years):
        return []
    shares = _shares(watched, own, years)
    reach = _reach(watched, own, years)
    rows = []
    counts = int(own.sum()), int(failed.sum()), int((own & watched.taken).sum())
    entry, low = np.sort(lives.entry[own]), np.sort(lives.low[own])
    seen = np.searchsorted(entry, years, side="left") - np.searchsorted(low, years, side="left")
    for at, year in enumerate(years.tolist()):
        parts = (_limited(shares[kind, at], reach[kind, at], int(seen[at])) for kind in range(3))
        rows.append(Fate(label, *counts, year, *parts))
    return rows


def _shares(watched: _Watched, own: BoolArray, years: FloatArray) -> FloatArray:
    """Failed, taken off and sound (3, t) at ``years``."""
    lives = watched.lives
    grid = np.arange(0, years[-1] * _STEPS + 1) / _STEPS
    failing = _failed_by(_lifetimes(lives, own), grid)
    kept = _kept(lives.entry[own], watched.until[own], watched.taken[own], grid)
    between = (kept[1:] + kept[:-1]) / 2
    failed = np.append(0.0, np.cumsum(np.diff(failing) * between))
    sound = (1 - failing) * kept
    at = (years * _STEPS).astype(np.int64)
    return np.asarray(np.vstack([failed, 1 - failed - sound, sound])[:, at])


def _lifetimes(lives: Lives, own: BoolArray) -> Lifetimes:
    entry, low, high = lives.entry[own], lives.low[own], lives.high[own]
    if len(entry) > MANY:
        entry, low = np.floor(entry * GRID) / GRID, np.floor(low * GRID) / GRID
        high = np.maximum(np.floor(high * GRID), np.floor(low * GRID) + 1) / GRID
    return Lifetimes(entry, low, high, np.zeros(len(entry), dtype=np.int64))


def _failed_by(lifetimes: Lifetimes, at: FloatArray) -> FloatArray:
    """Turnbull's share that has failed by each age (t,), straight where the lives don't say."""
    curve = turnbull(lifetimes)
    finite = np.isfinite(curve.right)
    left, right, mass = curve.left[finite], curve.right[finite], curve.mass[finite]
    width = np.where(right > left, right - left, 1.0)
    part = np.where(right > left, np.clip((at[:, None] - left) / width, 0, 1), at[:, None] >= right)
    return np.asarray(part @ mass)


def _kept(entry: FloatArray, until: FloatArray, taken: BoolArray, at: FloatArray) -> FloatArray:
    """Kaplan and Meier's share not taken off by each age (t,), of coats watched from ``entry``."""
    times = np.unique(until[taken])
    events = np.bincount(np.searchsorted(times, until[taken]), minlength=len(times))
    at_risk = np.searchsorted(np.sort(entry), times, side="left") - np.searchsorted(
        np.sort(until), times, side="left"
    )
    share = np.append(1.0, np.cumprod(1 - events / np.maximum(at_risk, 1)))
    return np.asarray(share[np.searchsorted(times, at, side="right")])


def _reach(watched: _Watched, own: BoolArray, years: FloatArray) -> FloatArray:
    """Half the width (3, t) of 95 % intervals by a jackknife over blocks of houses; NaN with one house."""
    block = np.full(len(own), -1)
    block[own] = np.unique(watched.house[own], return_inverse=True)[1] % BLOCKS
    count = int(block.max()) + 1
    if count < 2:
        return np.full((3, len(years)), np.nan)
    left = np.array([_shares(watched, own & (block != one), years) for one in range(count)])
    spread = np.sqrt((count - 1) / count * ((left - left.mean(axis=0)) ** 2).sum(axis=0))
    return np.asarray(float(stdtrit(count - 1, 0.975)) * spread)


def _limited(share: float, reach: float, seen: int) -> Interval:
    """The interval of a share, symmetric for the log of minus its log, so that it stays a share.

    Of none or all, the exact limit of as many coats as were ``seen`` sound at that age (a binomial's).
    """
    share = min(max(float(share), 0.0), 1.0)
    if not np.isfinite(reach):
        return Interval(share, None, None)
    if _NONE < share < 1 - _NONE:
        lost = -np.log1p(-share)
        spread = float(np.exp(min(reach / ((1 - share) * lost), 50.0)))
        return Interval(share, float(-np.expm1(-lost / spread)), float(-np.expm1(-lost * spread)))
    far = 1 - 0.025 ** (1 / seen) if seen > 0 else 1.0
    return Interval(share, max(share - max(far, reach), 0.0), min(share + max(far, reach), 1.0))
