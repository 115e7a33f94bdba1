"""How much errors that last widen Kendall's test: the law of S when readings stay alike for a while.

Errors follow a first-order autoregression in continuous time, correlation share * exp(-gap / tau), beside a
meter's own scatter. The restricted likelihood (Patterson and Thompson 1971, Biometrika 58, 545) of each pair
of share and tau, given season means and a line, weighs what each does to the variance of S. That variance is
known for normal readings: Var S = sum of 2/pi asin(r) over pairs of pairs, r the correlation of their
differences (Hamed 2008, J. Hydrol. 349, 350; Greiner 1909). Its linear part, sum of 2/pi r, holds nineteen
twentieths of it and is a quadratic form. We take the ratio of that form to its value without dependence,
which is up to a tenth too high where errors last longest.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr, ndtri

from inspections.analysis.kendall import IntArray, Table
from inspections.analysis.records import YEAR, FloatArray

#: Days over which errors may be alike: from ten (weather) to two years (the room's use); and the share of the
#: scatter that lasts, the rest being the meter's. Our choice.
TIMES = (20.0, 40.0, 80.0, 160.0, 320.0, 640.0)
SHARES = (0.5, 1.0)
MIXTURES: tuple[tuple[float, float], ...] = (
    (0.0, 1.0),
    *((share, tau) for share in SHARES for tau in TIMES),
)
#: Chance of each beforehand: half for errors that don't last, the rest falling with the root of the time.
#: Ours, from simulated walls whose errors last up to half a year (``tests/simulation/coverage.py``).
INDEPENDENT = 0.5
_FALLING = np.array([tau**-0.5 for _, tau in MIXTURES[1:]])
PRIOR = np.append(INDEPENDENT, (1 - INDEPENDENT) * _FALLING / _FALLING.sum())
#: Readings are drawn in to this many robust standard deviations before the errors' likeness is judged.
_DRAWN_IN = 3.0
_MAD = 1.4826
_NEWTON_STEPS, _SETTLED = 60, 1e-14
_TWO_OVER_ROOT_TWO_PI = 2 / np.sqrt(2 * np.pi)
#: Numbers in a block of correlation matrices.
_BLOCK = 40_000


def serial_law(table: Table, per_day: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Chance of each of :data:`MIXTURES`, and Var S under it over Var S of independent readings; (N, G) both.

    ``per_day`` (N,): each series' slope, about which outliers are drawn in.
    """
    count, _, places = table.value.shape
    filled = table.filled.reshape(len(table.time), -1)
    width = max(int(filled.sum(axis=1).max(initial=0)), 1)
    at = np.argsort(~filled, axis=1, kind="stable")[:, :width]
    time = np.take_along_axis(table.time.reshape(filled.shape), at, axis=1)
    value = np.take_along_axis(
        _drawn_in(table, per_day).reshape(count, -1), np.broadcast_to(at, (count, width)), axis=1
    )
    if len(time) == 1:
        form, constant, freedom, ratio = _forms(time, at // places)
        energy = np.stack([((value @ one) * value).sum(axis=1) for one in form[:, 0]], axis=1)
        return _chances(energy, constant, freedom), np.broadcast_to(ratio, energy.shape)
    # Walls of one house are read on the same days, and share what rests on the days alone.
    keys = np.concatenate([np.nan_to_num(time, nan=-1.0), at // places], axis=1)
    _, first, same = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    chance, inflation = np.empty((count, len(MIXTURES))), np.empty((count, len(MIXTURES)))
    rows = max(1, _BLOCK // (width * width))
    for start in range(0, len(first), rows):
        days = first[start : start + rows]
        form, constant, freedom, ratio = _forms(time[days], at[days] // places)
        own = np.flatnonzero((same >= start) & (same < start + rows))
        of = same[own] - start
        each = value[own]
        energy = np.stack([((each[:, None] @ one[of])[:, 0] * each).sum(axis=1) for one in form], axis=1)
        chance[own] = _chances(energy, constant[of], freedom[of])
        inflation[own] = ratio[of]
    return chance, inflation


def reach(variance: FloatArray, chance: FloatArray, inflation: FloatArray, level: float) -> FloatArray:
    """The |S| that trendless series (N,) pass with probability 1 - ``level``, over all mixtures (N, G)."""
    root = np.sqrt(np.maximum(variance, np.finfo(float).tiny)[:, None] * inflation)
    # Newton's method from below: the tail is convex, so that no step leads too far.
    found = float(ndtri(0.5 + level / 2)) * root.min(axis=1)
    for _ in range(_NEWTON_STEPS):
        density = chance * np.exp(-0.5 * (found[:, None] / root) ** 2) / root
        missing = tail(found, variance, chance, inflation) - (1 - level)
        step = missing / (_TWO_OVER_ROOT_TWO_PI * density.sum(axis=1))
        found = found + step
        if np.all(np.abs(step) <= _SETTLED * found):
            break
    return np.asarray(np.where(variance > 0, found, 0.0), dtype=float)


def tail(s: FloatArray, variance: FloatArray, chance: FloatArray, inflation: FloatArray) -> FloatArray:
    """Probability (N,) of an |S| beyond ``s`` (N,) under no trend, over all mixtures (N, G)."""
    root = np.sqrt(np.maximum(variance, np.finfo(float).tiny)[:, None] * inflation)
    return np.asarray((chance * 2 * ndtr(-np.maximum(s, 0.0)[:, None] / root)).sum(axis=1), dtype=float)


def _drawn_in(table: Table, per_day: FloatArray) -> FloatArray:
    """Residuals about the line and each season's median, outliers drawn in; zero where a place is empty."""
    residual = table.detrended(per_day).value
    empty = np.isnan(residual)
    residual = residual - _median(residual, 2)
    size = _MAD * _median(np.abs(residual).reshape(len(residual), -1), 1)[:, :, None]
    drawn = np.clip(residual, -_DRAWN_IN * size, _DRAWN_IN * size)
    return np.asarray(np.where(empty, 0.0, np.where(size > 0, drawn, residual)), dtype=float)


def _median(values: FloatArray, axis: int) -> FloatArray:
    """Median along an axis, kept, of what is not NaN; zero where there is nothing."""
    ordered = np.sort(values, axis=axis)
    count = (~np.isnan(values)).sum(axis=axis, keepdims=True)
    below, above = (
        np.take_along_axis(ordered, place, axis=axis)
        for place in (np.maximum(count - 1, 0) // 2, np.minimum(count // 2, values.shape[axis] - 1))
    )
    return np.asarray(np.where(count > 0, (below + above) / 2, 0.0), dtype=float)


def _forms(time: FloatArray, season: IntArray) -> tuple[FloatArray, FloatArray, IntArray, FloatArray]:
    """For days (M, n), NaN where none, of numbered seasons: what the likelihood needs, and the ratios (M, G).

    The quadratic forms (G, M, n, n) that give each mixture's residual energy, the constants (M, G) of its
    restricted likelihood, and the degrees of freedom (M,).
    """
    used = ~np.isnan(time)
    both = used[:, :, None] & used[:, None, :]
    ahead = np.where(both, time[:, :, None] - time[:, None, :], 0.0)
    apart = both & ~np.eye(time.shape[1], dtype=bool)
    pairs = np.sign(np.where(season[:, :, None] == season[:, None, :], ahead, 0.0))
    dummies = ((season[:, :, None] == np.arange(season.max() + 1)) & used[:, :, None]).astype(float)
    centre = np.nansum(time, axis=1) / np.maximum(used.sum(axis=1), 1)
    years = np.where(used, time - centre[:, None], 0.0) / YEAR
    design = np.concatenate([dummies, years[:, :, None]], axis=2)
    unused = np.einsum("mp,pq->mpq", ~design.any(axis=1), np.eye(design.shape[2]))
    share, tau = (np.array(column)[:, None, None, None] for column in zip(*MIXTURES, strict=True))
    rho = np.where(apart, share * np.exp(-np.abs(ahead) / tau), 0.0)
    correlation = rho + np.eye(time.shape[1])
    inverse = np.linalg.inv(correlation)
    columns = inverse @ design
    normal = np.swapaxes(design, 1, 2) @ columns + unused
    form = inverse - columns @ np.linalg.solve(normal, np.swapaxes(columns, 2, 3))
    constant = np.linalg.slogdet(correlation)[1] + np.linalg.slogdet(normal)[1]
    weight = (pairs / np.sqrt(2 * (1 - rho))).sum(axis=3)
    ratio = ((correlation @ weight[..., None])[..., 0] * weight).sum(axis=2).T
    ratio = np.maximum(ratio / np.maximum(ratio[:, :1], np.finfo(float).tiny), 1.0)
    freedom = used.sum(axis=1) - design.any(axis=1).sum(axis=1)
    return form, constant.T, freedom, ratio


def _chances(energy: FloatArray, constant: FloatArray, freedom: IntArray) -> FloatArray:
    """Posterior chance of each mixture (N, G); all alike where the readings leave no freedom."""
    free = np.maximum(freedom, 0)[:, None]
    deviance = constant + free * np.log(np.maximum(energy, np.finfo(float).tiny))
    deviance = np.where((free > 0) & (energy > 0).all(axis=1, keepdims=True), deviance, 0.0)
    chance = PRIOR * np.exp(-0.5 * (deviance - deviance.min(axis=1, keepdims=True)))
    return np.asarray(chance / chance.sum(axis=1, keepdims=True), dtype=float)
