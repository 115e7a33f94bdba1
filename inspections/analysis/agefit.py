"""Failures at each age, and groups of coats beside each other at like ages.

A coat that was found is watched when it is old, a new one when it is young, and coats fail more often with
age: failures over years alone compare ages, not coats. Here a coat's failures a year are a rate of its age
times a factor of its group (piecewise-constant hazards: Holford 1980, Biometrics 36, 299-305; Laird and
Olivier 1981, J. Am. Stat. Assoc. 76, 231-240), by the likelihood of when each failure was seen (Lindsey and
Ryan 1998, Stat. Med. 17, 219-238). A failure whose interval spans several ages counts in each by the share
that this fit gives it there. All from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv, gammaincinv

from inspections.analysis.clustering import variance_ratio
from inspections.analysis.lifetimes import BoolArray, IntArray, Lifetimes
from inspections.analysis.records import FloatArray

#: Ages at which rates change, years: near enough that a rate hardly grows in between.
STEPS = (*np.arange(0.0, 20.0, 2.5), *np.arange(20.0, 40.0, 5.0), *np.arange(40.0, 100.0, 10.0))
#: Standard deviation of the step of the log rate from one age to the next, weakly held to, so that an age
#: without a failure has a low rate rather than none. Ours.
STEP = 2.0
#: Standard error of the log of a factor from which on it is not told: without ages in common, the steps that
#: are weakly held to are all that joins two groups.
UNTOLD = STEP
_ROUNDS, _HALVINGS, _GAIN = 300, 30, 1e-10
_FLAT, _MOMENT, _HUGE = 1e-10, 1e-6, 300.0


@dataclass(frozen=True, slots=True)
class AgeFit:
    """Rates at ``ages`` (b,) of the base group, and factors of groups (g,); what each coat has of it (n, b).

    A group that never failed has a factor of nought. ``failures`` are spread over ages, ``years`` expected.
    """

    ages: FloatArray
    rate: FloatArray
    factor: FloatArray
    failures: FloatArray
    years: FloatArray
    place: IntArray
    told: Told

    def spread(self, groups: IntArray, weight: FloatArray, cluster: IntArray) -> FloatArray:
        """Variance (t,) of the logs of these ``groups``' factors times the rates' mean by ``weight`` (b, t).

        With a ``weight`` of nought, of the factors alone. Widened for houses, and never narrowed.
        """
        factor = np.zeros((len(self.told.own), len(groups)))
        at = self.place[groups]
        free = np.flatnonzero((at >= 0) & (at < len(factor)))
        factor[at[free], free] = 1.0
        share = self.rate[:, None] * weight
        rate = share / np.where(share.sum(axis=0) > 0, share.sum(axis=0), 1.0)
        return self.told.variance(factor, rate, cluster)


@dataclass(frozen=True, slots=True)
class Told:
    """The observed information: of log factors (k,) diagonal, of log rates (b, b), across (k, b).

    ``member`` (n,) is each coat's factor: k that of the base group, k + 1 a group that never failed.
    ``score`` (n, b) by age.
    """

    member: IntArray
    score: FloatArray
    own: FloatArray
    across: FloatArray
    rates: FloatArray

    def solve(self, factor: FloatArray, rate: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The inverse information times (k, t) and (b, t)."""
        lean = self.across / self.own[:, None]
        values, vectors = np.linalg.eigh(self.rates - self.across.T @ lean)
        # Far from the summit, and where ages tell nothing, it may not be positive.
        firm = np.maximum(values, _FLAT * max(float(values.max()), _FLAT))
        found = (vectors / firm) @ (vectors.T @ (rate - lean.T @ factor))
        return (factor - self.across @ found) / self.own[:, None], found

    def variance(self, factor: FloatArray, rate: FloatArray, cluster: IntArray) -> FloatArray:
        """Variance (t,) of sums of log factors (k, t) and log rates (b, t), widened for houses."""
        solved, found = self.solve(factor, rate)
        plain = (factor * solved).sum(axis=0) + (rate * found).sum(axis=0)
        padded = np.vstack([solved, np.zeros((2, solved.shape[1]))])
        influence = self.score.sum(axis=1)[:, None] * padded[self.member] + self.score @ found
        return np.asarray(plain * variance_ratio(influence, cluster, plain), dtype=float)


def fit_ages(
    lifetimes: Lifetimes, group: IntArray, base: int, groups: int, steps: Sequence[float] = STEPS
) -> AgeFit | None:
    """Rates by age (from each of ``steps`` to the next) and factors of ``groups``; None without a failure.

    ``group`` (n,) is each coat's place among the groups; that of the ``base`` has a factor of 1, and must
    have failed.
    """
    if not lifetimes.failures:
        return None
    left = np.array(steps)
    width = np.diff(np.append(left, np.inf))

    def until(age: FloatArray) -> FloatArray:
        return np.asarray(np.clip(age[:, None] - left, 0.0, width), dtype=float)

    failed = lifetimes.failed
    # A time that is known to the day is a moment's interval.
    high = np.where(lifetimes.exact, lifetimes.low + _MOMENT, np.where(failed, lifetimes.high, lifetimes.low))
    sound = until(lifetimes.low) - until(lifetimes.entry)
    doubtful = until(high) - until(lifetimes.low)
    seen = (sound + doubtful).sum(axis=0) > 0
    left, sound, doubtful = left[seen], sound[:, seen], doubtful[:, seen]
    counts = np.bincount(group[failed], minlength=groups)
    others = np.flatnonzero((counts > 0) & (np.arange(groups) != base))
    place = np.where(counts > 0, len(others), len(others) + 1)
    place[others] = np.arange(len(others))
    search = _Search(sound, doubtful, failed, place[group], len(others))
    search.climb()
    chance, score, _ = search.state(search.factor, search.rate)
    logs = np.append(search.factor, [0.0, -np.inf])
    rows = np.flatnonzero(failed)
    years = sound.copy()
    years[rows] = (chance - score)[rows] / np.exp(logs[search.member[rows], None] + search.rate)
    told = search.information(score)
    return AgeFit(left, np.exp(search.rate), np.exp(logs[place]), chance, years, place, told)


class _Search:
    """The likelihood of log factors (k,) and log rates (b,), and its summit."""

    def __init__(
        self, sound: FloatArray, doubtful: FloatArray, failed: BoolArray, member: IntArray, factors: int
    ) -> None:
        self.sound, self.doubtful, self.failed, self.member = sound, doubtful, failed, member
        self.mine = member <= factors
        years = float((sound + doubtful / 2)[self.mine].sum())
        self.factor = np.zeros(factors)
        self.rate = np.full(sound.shape[1], np.log(failed.sum() / years))
        steps = np.diff(np.eye(len(self.rate)), axis=0)
        self.prior = steps.T @ steps / STEP**2

    def _widths(self, factor: FloatArray, rate: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """What is expected of each coat while sound and while it failed (n, b), and the latter's sum."""
        base = np.exp(np.append(factor, [0.0, -np.inf])[self.member][:, None] + rate)
        width = np.where(self.failed[:, None], self.doubtful * base, 0.0)
        return self.sound * base, width, np.where(self.failed, width.sum(axis=1), 1.0)

    def state(self, factor: FloatArray, rate: FloatArray) -> tuple[FloatArray, FloatArray, float]:
        """Each coat's failures and scores by age (n, b), and the log likelihood."""
        lasted, width, total = self._widths(factor, rate)
        share = -np.expm1(-total)
        before = np.cumsum(width, axis=1) - width
        chance = np.exp(-before) * -np.expm1(-width) / share[:, None]
        score = width * np.where(self.failed, 1 / np.expm1(np.minimum(total, _HUGE)), 0.0)[:, None] - lasted
        value = float(np.log(share[self.failed]).sum() - lasted.sum()) - 0.5 * float(rate @ self.prior @ rate)
        return np.where(self.failed[:, None], chance, 0.0), score, value

    def climb(self) -> None:
        """By the information that failures of known ages would give (Lange 1995), in halved steps."""
        chance, score, value = self.state(self.factor, self.rate)
        for _ in range(_ROUNDS):
            mean = (chance - score)[self.mine]
            across = self._by_factor(mean)
            told = Told(
                self.member, score, across.sum(axis=1), across, np.diag(mean.sum(axis=0)) + self.prior
            )
            slope = self._by_factor(score[self.mine]).sum(axis=1)
            turn = score[self.mine].sum(axis=0) - self.prior @ self.rate
            moves = told.solve(slope[:, None], turn[:, None])
            move, bend = moves[0][:, 0], moves[1][:, 0]
            gain = float(slope @ move + turn @ bend)
            if gain < _GAIN * max(1.0, abs(value)):
                return
            for _ in range(_HALVINGS):
                factor, rate = self.factor + move, self.rate + bend
                chance, score, risen = self.state(factor, rate)
                if risen >= value:
                    break
                move, bend = move / 2, bend / 2
            else:
                return
            self.factor, self.rate, value = factor, rate, risen

    def _by_factor(self, value: FloatArray) -> FloatArray:
        """Sums of the rows of coats in the fit (m, b) by factor (k, b), the base group's left out."""
        sums = np.zeros((len(self.factor) + 1, value.shape[1]))
        np.add.at(sums, self.member[self.mine], value)
        return sums[:-1]

    def information(self, score: FloatArray) -> Told:
        """The observed information: less than that of known ages, for what visits leave open (Louis 1982)."""
        _, width, total = self._widths(self.factor, self.rate)
        pull = np.where(self.failed, 1 / np.expm1(np.minimum(total, _HUGE)), 0.0)
        bend = (pull * (1 + pull))[:, None] * width
        sums = width.sum(axis=1)[:, None]
        across = self._by_factor((bend * sums - score)[self.mine])
        rates = bend.T @ width - np.diag(score[self.mine].sum(axis=0)) + self.prior
        return Told(self.member, score, across.sum(axis=1), across, rates)


def limits(rate: FloatArray, variance: FloatArray, level: float = 0.95) -> tuple[FloatArray, FloatArray]:
    """Limits of rates (t,) whose logs have this ``variance``: Garwood's (1936) for as many events as that."""
    events, tail = 1 / variance, (1 - level) / 2
    return rate * gammaincinv(events, tail) / events, rate * gammaincinv(events + 1, 1 - tail) / events


def ratio_limits(
    ratio: FloatArray, events: tuple[FloatArray, float], variance: FloatArray, level: float = 0.95
) -> tuple[FloatArray, FloatArray]:
    """Limits of ratios (t,) whose logs have this ``variance``, from so many ``events`` of either group.

    Exact where the groups are alike in age (Przyborowski and Wilenski 1940); else for as many fewer events
    in either as the variance is larger. An end that is not reached is inf.
    """
    first, second, tail = events[0], np.full(len(ratio), events[1]), (1 - level) / 2
    known = (1 / first + 1 / second) / variance
    first, second = first * known, second * known
    low, high = betaincinv(first, second + 1, tail), betaincinv(first + 1, second, 1 - tail)
    odds = ratio * second / first
    with np.errstate(divide="ignore"):
        return low / (1 - low) * odds, high / (1 - high) * odds
