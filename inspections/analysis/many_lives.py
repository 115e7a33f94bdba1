"""Weibull lives of many groups at once: for each what :func:`inspections.analysis.weibull.fit_weibull` tells.

The same searches, but all groups take each step together, on arrays: a thousand small groups cost little more
than one. A task is one group's summit, or one end of one of its intervals; ``group`` (k,) are the groups of k
tasks, ``theta`` (k, 2) coefficient and rate of each, as in :mod:`inspections.analysis.logtimes`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import ndtri

from inspections.analysis.clustering import variance_ratios
from inspections.analysis.lifetimes import BoolArray, IntArray, Interval, Lifetimes
from inspections.analysis.logtimes import (
    ENOUGH,
    GAIN,
    GREATEST_RATE,
    HALVINGS,
    LEAST_BEND,
    LEAST_RATE,
    STEPS,
    WEIBULL,
)
from inspections.analysis.profiles import FLAT, TOLERANCE, TRIES, UNTOLD, LogLife, LogRate
from inspections.analysis.records import FloatArray
from inspections.analysis.weibull import ENDLESS, LifeFit, depth_of_none, life_fit, unfailed_fit

#: What is told of a group: log shape, log scale and log median, the bounds of their limits and, of lives,
#: the quantile of z.
_AIMS = (LogRate, LogLife, LogLife)
_SHAPE = 0
_LEAST, _MOST = (np.array([getattr(aim, end) for aim in _AIMS]) for end in ("least", "most"))
_QUANTILE = np.array([0.0, 0.0, WEIBULL.middle])

#: Halved steps that are tried together: of many tasks the whole one mostly does, few need a short one.
_SHARES = np.split(0.5 ** np.arange(HALVINGS), [1, 3])

#: Log likelihood (k,), gradient (k, 2) and hessian (k, 2, 2).
Rise = tuple[FloatArray, FloatArray, FloatArray]


def fit_weibulls(groups: Sequence[Lifetimes], level: float = 0.95) -> list[LifeFit]:
    """The fit of each group's lives."""
    if not 0 < level < 1:
        raise ValueError("level must lie between 0 and 1")
    if not groups:
        return []
    count, of = len(groups), np.repeat(np.arange(len(groups)), [len(group) for group in groups])
    names = ("entry", "low", "high", "cluster")
    lifetimes = Lifetimes(*(np.concatenate([getattr(group, name) for group in groups]) for name in names))
    failures = np.bincount(of[lifetimes.failed], minlength=count)
    failed = failures > 0
    unit, theta = _starts(lifetimes, of, failures)
    likelihoods = Likelihoods(lifetimes, of, unit)
    value, hessian = np.zeros(count), np.zeros((count, 2, 2))
    reached, some = np.zeros(count, dtype=bool), np.flatnonzero(failed)
    theta[some], value[some], hessian[some], reached[some] = climb(likelihoods, some, theta[some])

    error, ratio = _errors(likelihoods, theta, hessian, reached, lifetimes.cluster)
    depth = float(ndtri((1 + level) / 2)) * np.sqrt(ratio)
    depth[~failed] = depth_of_none(level)
    first = np.where(reached[:, None], error * depth, np.where(failed, 1.0, LogLife.most)[:, None])
    # Where none has failed, only how short lives may be can be found, and nothing where nobody was watched.
    limits = np.full((2, count, len(_AIMS)), np.nan)
    watched = (unit > 0)[:, None] & (np.arange(len(_AIMS)) != _SHAPE)
    for end, side, asked in (
        (0, -1, failed[:, None] | watched),
        (1, 1, failed[:, None] & np.isfinite(first)),
    ):
        group, aim = np.nonzero(asked)
        limits[end, group, aim] = _limits(
            likelihoods, group, aim, side, theta[group], value[group], first[group, aim], depth[group, aim]
        )
    told = reached[:, None] & (error < UNTOLD)
    estimate = np.where(told, _value(np.arange(len(_AIMS)), theta[:, None]), np.nan)

    def interval(one: int, aim: int) -> Interval:
        ends = (estimate[one, aim], *limits[:, one, aim])
        return Interval(*(None if np.isnan(end) else float(end) for end in ends))

    fits = []
    for one, lives in enumerate(groups):
        found = [interval(one, aim) for aim in range(len(_AIMS))]
        own = float(unit[one])
        if failed[one]:
            log_likelihood = float(value[one]) if reached[one] else None
            coats = len(lives), int(failures[one])
            fits.append(life_fit(WEIBULL, found, own, ratio[one], log_likelihood, coats, level))
        else:
            fits.append(unfailed_fit(WEIBULL, [life.low for life in found[1:]], own, len(lives), level))
    return fits


def _starts(lifetimes: Lifetimes, owner: IntArray, failures: IntArray) -> tuple[FloatArray, FloatArray]:
    """Units of time (g,) and where the searches start (g, 2): :func:`inspections.analysis.weibull.start`.

    Without failures the longest that a coat was seen to last, and a life without end.
    """
    groups, failed = len(failures), lifetimes.failed
    middle = np.where(failed, (lifetimes.low + lifetimes.high) / 2, lifetimes.low)
    unit = np.zeros(groups)
    np.maximum.at(unit, owner, lifetimes.low)
    some = failures > 0
    logs = np.bincount(owner[failed], np.log(middle[failed]), groups)[some]
    unit[some] = np.exp(logs / failures[some])
    theta = np.tile(ENDLESS, (groups, 1))
    exposure = np.bincount(owner, middle - lifetimes.entry, groups)[some] / failures[some]
    theta[some, 0] = np.log(exposure / unit[some])
    return unit, theta


def _errors(
    likelihoods: Likelihoods, theta: FloatArray, hessian: FloatArray, reached: BoolArray, cluster: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Standard errors of the aims at the summits, and the factors on the deviance for houses: (g, 3) each.

    The factor is 1 where the summit was not ``reached`` (g,).
    """
    rate = theta[:, 1]
    gradient = np.zeros((len(theta), 2, len(_AIMS)))
    gradient[:, 0, 1:] = 1 / rate[:, None]
    gradient[:, 1, 1:] = -(theta[:, :1] + _QUANTILE[1:]) / rate[:, None] ** 2
    gradient[:, 1, _SHAPE] = 1 / rate
    values, vectors = np.linalg.eigh(-hessian)
    least = np.maximum(FLAT * np.abs(values).max(axis=1, initial=0.0), 1e-300)
    scaled = vectors / np.maximum(values, least[:, None])[:, None]
    influence = scaled @ (vectors.transpose(0, 2, 1) @ gradient)
    variance = (gradient * influence).sum(axis=1)
    told = np.where(reached[:, None, None], influence, 0.0)
    moved = np.einsum("ni,nia->na", likelihoods.scores(theta), told[likelihoods.owner])
    return np.sqrt(variance), variance_ratios(moved, cluster, likelihoods.owner, variance)


# The likelihood ------------------------------------------------------------------------------------------


class _Kind:
    """Lives of one kind of censoring in the order of their groups, (n,): the logs of one time, or of two."""

    def __init__(self, owner: IntArray, groups: int, life: IntArray, *logs: FloatArray) -> None:
        order = np.argsort(owner[life], kind="stable")
        self.life, self.logs = life[order], [own[order] for own in logs]
        self.size = np.bincount(owner[life], minlength=groups)
        self.start = np.cumsum(self.size) - self.size

    def of(self, group: IntArray) -> tuple[IntArray, list[FloatArray]]:
        """The lives of tasks: which of the tasks each is for, and its logs."""
        size = self.size[group]
        task = np.repeat(np.arange(len(group)), size)
        place = np.arange(len(task)) + (self.start[group] - np.cumsum(size) + size)[task]
        return task, [own[place] for own in self.logs]


class Likelihoods:
    """The log likelihood of each group's lives, as :class:`inspections.analysis.logtimes.Likelihood` has it.

    Times enter as years over their group's ``unit`` (g,).
    """

    def __init__(self, lifetimes: Lifetimes, owner: IntArray, unit: FloatArray) -> None:
        self.owner, groups = owner, len(unit)
        low, high, entry = lifetimes.low, lifetimes.high, lifetimes.entry
        exact, unsure = lifetimes.exact, lifetimes.failed & ~lifetimes.exact

        def kind(which: BoolArray, *years: FloatArray) -> _Kind:
            life = np.flatnonzero(which)
            return _Kind(owner, groups, life, *(np.log(own[life] / unit[owner[life]]) for own in years))

        self.inside = kind(unsure & (low > 0), low, high)
        #: Having survived counts, having had to survive until entry is taken off.
        self.others = (
            (kind(exact, low), 1.0, WEIBULL.density),
            (kind(unsure & (low <= 0), high), 1.0, WEIBULL.dead),
            (kind(~lifetimes.failed & (low > 0), low), 1.0, WEIBULL.alive),
            (kind(entry > 0, entry), -1.0, WEIBULL.alive),
        )
        self.exact = np.bincount(owner[exact], minlength=groups)
        self.constant = -np.bincount(owner[exact], np.log(low[exact]), groups)

    def __call__(self, group: IntArray, theta: FloatArray) -> Rise:
        """Log likelihood, gradient and hessian of each task."""
        size, (gamma, rate), count = len(group), theta.T, self.exact[group]
        value = self.constant[group] + count * np.log(rate)
        gradient, hessian = np.zeros((size, 2)), np.zeros((size, 2, 2))
        gradient[:, 1], hessian[:, 1, 1] = count / rate, -count / rate**2

        def add(
            task: IntArray, chance: FloatArray, slopes: list[FloatArray], bends: list[FloatArray]
        ) -> None:
            """Each life's log chance, its slopes by gamma and rate, and its three second derivatives."""
            value[:] += np.bincount(task, chance, size)
            for one, own in enumerate(slopes):
                gradient[:, one] += np.bincount(task, own, size)
            for (one, other), own in zip(((0, 0), (0, 1), (1, 1)), bends, strict=True):
                hessian[:, one, other] += np.bincount(task, own, size)

        for kind, sign, log_chance in self.others:
            if len(kind.life):
                task, (y,) = kind.of(group)
                chance, slope, bend = (sign * own for own in log_chance(rate[task] * y - gamma[task]))
                add(task, chance, [-slope, slope * y], [bend, -bend * y, bend * y**2])
        if len(self.inside.life):
            task, (a, b) = self.inside.of(group)
            chance, at_a, at_b, bend_a, bend_b = _between(a, b, gamma[task], rate[task])
            aa, bb, ab = at_a * (bend_a - at_a), at_b * (bend_b - at_b), at_a * at_b
            mixed = ab * (a + b) - aa * a - bb * b
            bends = [aa + bb - 2 * ab, mixed, aa * a**2 + bb * b**2 - 2 * ab * a * b]
            add(task, chance, [-at_a - at_b, at_a * a + at_b * b], bends)
        hessian[:, 1, 0] = hessian[:, 0, 1]
        return value, gradient, hessian

    def scores(self, theta: FloatArray) -> FloatArray:
        """The gradient of each life's log likelihood at its group's ``theta`` (g, 2): (n, 2)."""
        score, group = np.zeros((len(self.owner), 2)), np.arange(len(theta))
        exact = self.others[0][0].life
        score[exact, 1] = 1 / theta[self.owner[exact], 1]
        for kind, sign, log_chance in self.others:
            task, (y,) = kind.of(group)
            slope = sign * log_chance(theta[task, 1] * y - theta[task, 0])[1]
            score[kind.life] += np.column_stack([-slope, slope * y])
        task, (a, b) = self.inside.of(group)
        _, at_a, at_b, _, _ = _between(a, b, *theta[task].T)
        score[self.inside.life] += np.column_stack([-at_a - at_b, at_a * a + at_b * b])
        return score


def _between(a: FloatArray, b: FloatArray, gamma: FloatArray, rate: FloatArray) -> tuple[FloatArray, ...]:
    return WEIBULL.between(rate * a - gamma, rate * b - gamma)


# The searches --------------------------------------------------------------------------------------------


def climb(
    likelihoods: Likelihoods, group: IntArray, theta: FloatArray, along: FloatArray | None = None
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray]:
    """Each task's summit, or that on its line ``along`` (k, 2): :func:`inspections.analysis.logtimes.climb`.

    Returns the summits (k, 2), log likelihoods (k,) and hessians (k, 2, 2) there, and whether (k,) each lies
    inside the rates that are told apart.
    """
    theta, inside = theta.copy(), np.ones(len(group), dtype=bool)
    turns = inside.copy() if along is None else along[:, 1] != 0
    value, gradient, hessian = likelihoods(group, theta)
    going = np.arange(len(group))
    for _ in range(STEPS):
        move = _uphill(gradient[going], hessian[going], None if along is None else along[going])
        gain = (gradient[going] * move).sum(axis=1)
        rises = ~(gain < GAIN * np.maximum(1.0, np.abs(value[going])))
        going, move, gain = going[rises], move[rises], gain[rises]
        if not len(going):
            break
        turn, rate = move[:, 1], theta[going, 1]
        room = np.where(turn < 0, -0.9 * rate, 2 * GREATEST_RATE - rate)
        length = np.minimum(np.divide(room, turn, out=np.ones(len(turn)), where=turn != 0), 1.0)
        trying = np.arange(len(going))
        for shares in _SHARES:
            task, step = np.repeat(going[trying], len(shares)), np.outer(length[trying], shares).ravel()
            trial = theta[task] + step[:, None] * np.repeat(move[trying], len(shares), axis=0)
            risen = likelihoods(group[task], trial)
            enough = risen[0] >= value[task] + ENOUGH * step * np.repeat(gain[trying], len(shares))
            # The longest step that gains enough.
            table = enough.reshape(-1, len(shares))
            won = np.flatnonzero(table.any(axis=1))
            at, done = won * len(shares) + table[won].argmax(axis=1), going[trying[won]]
            theta[done] = trial[at]
            value[done], gradient[done], hessian[done] = (own[at] for own in risen)
            trying = np.delete(trying, won)
            if not len(trying):
                break
        # Where no step was short enough, this is as far as it goes.
        going = np.delete(going, trying)
        apart = (theta[going, 1] > LEAST_RATE) & (theta[going, 1] < GREATEST_RATE)
        inside[going] = apart | ~turns[going]
        going = going[inside[going]]
    return theta, value, hessian, inside


def _uphill(slope: FloatArray, curvature: FloatArray, along: FloatArray | None) -> FloatArray:
    """Newton's steps (k, 2), bent uphill where the surface is not concave."""
    if along is not None:
        bend = np.abs(np.einsum("ki,kij,kj->k", along, curvature, along))
        return np.asarray(
            along * ((along * slope).sum(axis=1) / np.maximum(bend, LEAST_BEND))[:, None], dtype=float
        )
    values, vectors = np.linalg.eigh(-curvature)
    size = np.abs(values)
    least = LEAST_BEND * np.maximum(size.max(axis=1, keepdims=True), LEAST_BEND)
    part = np.einsum("kij,ki->kj", vectors, slope) / np.maximum(size, least)
    return np.asarray(np.einsum("kij,kj->ki", vectors, part), dtype=float)


def _value(aim: IntArray, theta: FloatArray) -> FloatArray:
    """The aims' values, (k,) or as ``aim`` and ``theta`` (…, 2) broadcast."""
    gamma, rate = theta[..., 0], theta[..., 1]
    return np.where(aim == _SHAPE, np.log(rate), (gamma + _QUANTILE[aim]) / rate)


def _line(aim: IntArray, value: FloatArray, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A point (k, 2) near ``theta`` with each ``value`` (k,), and the direction (k, 2) of all such points."""
    gamma, rate = theta.T
    to_life = np.column_stack([value * rate - _QUANTILE[aim], rate])
    shape = np.exp(np.where(aim == _SHAPE, value, 0.0))
    to_shape = np.column_stack([gamma * (shape / rate), shape])
    is_shape = (aim == _SHAPE)[:, None]
    along = np.column_stack([value, np.ones(len(value))])
    return np.where(is_shape, to_shape, to_life), np.where(is_shape, [1.0, 0.0], along)


def _limits(
    likelihoods: Likelihoods,
    group: IntArray,
    aim: IntArray,
    side: int,
    theta: FloatArray,
    top: FloatArray,
    first: FloatArray,
    depth: FloatArray,
) -> FloatArray:
    """Values (k,) on one ``side`` where the root of the deviance is ``depth``; NaN where it never is.

    As :meth:`inspections.analysis.profiles.Fit.limit`; ``top`` (k,) are the log likelihoods at the summits
    ``theta``, ``first`` the distances tried first.
    """
    theta, centre = theta.copy(), _value(aim, theta)
    farthest = np.maximum(_MOST[aim] - centre if side > 0 else centre - _LEAST[aim], 0.0)
    inner, outer = np.zeros((2, len(group))), np.full((2, len(group)), np.inf)
    tried = np.zeros((3, 2, len(group)))
    distance = np.minimum(first, farthest)
    found, going = np.full(len(group), np.nan), np.arange(len(group))
    for _ in range(TRIES):
        point, along = _line(aim[going], centre[going] + side * distance[going], theta[going])
        theta[going], value, _, _ = climb(likelihoods, group[going], point, along)
        root = np.sqrt(np.maximum(2 * (top[going] - value), 0.0))
        close = np.abs(root - depth[going]) < TOLERANCE * depth[going]
        narrow = outer[0, going] - inner[0, going] < 1e-12 * np.maximum(1.0, np.abs(centre[going]))
        # What is found stays; what lies beyond the farthest is not reached.
        ended, over = close | narrow, root >= depth[going]
        lost = ~ended & ~over & (distance[going] >= farthest[going])
        found[going[ended]] = (centre + side * distance)[going[ended]]
        kept = ~ended & ~lost
        going, root, over = going[kept], root[kept], over[kept]
        if not len(going):
            return found
        here = np.stack([distance[going], root])
        tried[:, :, going] = np.stack([tried[1][:, going], tried[2][:, going], here])
        outer[:, going[over]], inner[:, going[~over]] = here[:, over], here[:, ~over]
        distance[going] = np.where(
            np.isfinite(outer[0, going]),
            _within(inner[:, going], outer[:, going], tried[:, :, going], depth[going]),
            np.minimum(_beyond(tried[1:, :, going], depth[going]), farthest[going]),
        )
    found[going] = (centre + side * distance)[going]
    return found


def _beyond(tried: FloatArray, depth: FloatArray) -> FloatArray:
    """The next distances (k,) outwards: a little beyond where the last two points (2, 2, k) point to."""
    (before, at_before), (last, at_last) = tried
    run, rise = last - before, at_last - at_before
    slope = np.divide(rise, run, out=np.zeros_like(run), where=run > 0)
    ahead = np.divide(1.1 * (depth - at_last), slope, out=np.full_like(run, np.inf), where=slope > 0)
    return np.asarray(np.maximum(np.minimum(last + ahead, 4 * last), 1e-9), dtype=float)


def _within(inner: FloatArray, outer: FloatArray, tried: FloatArray, depth: FloatArray) -> FloatArray:
    """The next distances (k,) in brackets (2, k), by the last three points (3, 2, k)."""
    (a, at_a), (b, at_b), (c, at_c) = tried
    with np.errstate(divide="ignore", invalid="ignore"):
        curve = (
            a * (depth - at_b) * (depth - at_c) / ((at_a - at_b) * (at_a - at_c))
            + b * (depth - at_a) * (depth - at_c) / ((at_b - at_a) * (at_b - at_c))
            + c * (depth - at_a) * (depth - at_b) / ((at_c - at_a) * (at_c - at_b))
        )
        share = np.clip((depth - inner[1]) / (outer[1] - inner[1]), 0.01, 0.99)
        line = inner[0] + share * (outer[0] - inner[0])
    return np.asarray(np.where((inner[0] < curve) & (curve < outer[0]), curve, line), dtype=float)
