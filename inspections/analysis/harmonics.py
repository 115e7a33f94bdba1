"""Harmonic regression with serially dependent errors, of thousands of series at once.

As :func:`.harmonic.harmonic_fit` without Huber's weights and for readings on the scale: level, rate and
annual harmonics by generalised least squares, the errors a first-order autoregression in continuous time
whose correlation time is averaged over by its restricted likelihood (Patterson and Thompson 1971, Biometrika
58, 545). The inverse of that correlation is tridiagonal, so that all a series adds is sums of its squares and
of its neighbours' products; where series share their days, these are matrix products.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import stdtr, stdtrit

from inspections.analysis.harmonic import COLLINEAR, LEAST_YEARS
from inspections.analysis.linear import CORRELATION_TIMES, LEAST_GAP
from inspections.analysis.records import YEAR, FloatArray
from inspections.analysis.trends import CONFIDENCE

#: Series in a block, so that a block's tables stay in a core's cache.
_BLOCK = 512


@dataclass(frozen=True, slots=True)
class HarmonicFits:
    """N fits in the series' unit: level at mid-record, rate per year, then cosine and sine a harmonic.

    ``coefficients`` (N, p), ``covariance`` (N, p, p); the other arrays (N,): ``residual_sd`` of a reading,
    ``tau`` the likeliest correlation time in days, ``freedom`` n - p, the rate with its 95 % interval and its
    two-sided p. NaN where a series has too few days, less than a year, or days that can't tell season from
    trend: :func:`.harmonic.harmonic_fit` says what is left of those.
    """

    coefficients: FloatArray
    covariance: FloatArray
    residual_sd: FloatArray
    tau: FloatArray
    freedom: npt.NDArray[np.int64]
    rate_per_year: FloatArray
    rate_low: FloatArray
    rate_high: FloatArray
    p_value: FloatArray


def harmonic_fits(
    time: npt.ArrayLike, value: npt.ArrayLike, harmonics: int = 1, serial: bool = True
) -> HarmonicFits:
    """Fit ``value`` (N, n), NaN where not read, at whole days ``time``: (n,) sorted and shared, or (N, n).

    Days of one series must differ (:func:`.trends.merge_days`). ``serial`` false: independent errors.
    """
    values, times = np.asarray(value, dtype=float), np.asarray(time, dtype=float)
    taus = np.array(CORRELATION_TIMES if serial else CORRELATION_TIMES[:1])
    shared = times.ndim == 1 and not np.isnan(values).any()
    if shared:
        times = times[None]
    else:
        times, values = _packed(np.broadcast_to(times, values.shape), values)
    used = ~np.isnan(times)
    n = used.sum(axis=1)
    centre = np.nansum(times, axis=1) / np.maximum(n, 1)
    days = np.where(used, times, 0.0)
    design = _design(days, centre, used, harmonics)
    told = _told_apart(design, days, used)
    every = _factors(design, days, used, told, taus) if shared else None
    parts = []
    for start in range(0, len(values), _BLOCK):
        part = slice(start, start + _BLOCK)
        factors = every or _factors(design[part], days[part], used[part], told[part], taus)
        parts.append(_solved(factors, values[part], taus))
    coefficients, covariance, variance, tau = (np.concatenate(column) for column in zip(*parts, strict=True))
    freedom = np.broadcast_to(np.maximum(n - design.shape[2], 0), len(values)).astype(np.int64)
    error = np.sqrt(covariance[:, 1, 1])
    rate = coefficients[:, 1]
    some, same = np.unique(np.maximum(freedom, 1), return_inverse=True)
    reach = stdtrit(some, 0.5 + CONFIDENCE / 2)[same] * error
    with np.errstate(divide="ignore", invalid="ignore"):
        p_value = 2 * stdtr(np.maximum(freedom, 1), -np.abs(rate) / error)
    sd = np.sqrt(variance)
    return HarmonicFits(coefficients, covariance, sd, tau, freedom, rate, rate - reach, rate + reach, p_value)


def _packed(time: FloatArray, value: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Each row's readings first, in order of time; NaN and zero after them."""
    time = np.where(np.isnan(value), np.nan, time)
    order = np.argsort(time, axis=1, kind="stable")
    time, value = np.take_along_axis(time, order, axis=1), np.take_along_axis(value, order, axis=1)
    return time, np.where(np.isnan(time), 0.0, value)


def _design(days: FloatArray, centre: FloatArray, used: npt.NDArray[np.bool_], harmonics: int) -> FloatArray:
    """Columns at each series' days (N, n, p); zero where there is none."""
    columns = [np.ones_like(days), (days - centre[:, None]) / YEAR]
    for harmonic in range(1, harmonics + 1):
        angle = 2 * np.pi * harmonic * days / YEAR
        columns += [np.cos(angle), np.sin(angle)]
    return np.where(used[:, :, None], np.stack(columns, axis=2), 0.0)


def _told_apart(design: FloatArray, days: FloatArray, used: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Whether a series has the days for all columns: two more than columns, a year, and no collinearity."""
    n = used.sum(axis=1)
    last = np.take_along_axis(days, np.maximum(n - 1, 0)[:, None], axis=1)[:, 0]
    enough = (n >= design.shape[2] + 2) & (last - days[:, 0] >= LEAST_YEARS * YEAR)
    length = np.sqrt((design**2).sum(axis=1, keepdims=True))
    scaled = design / np.where(length > 0, length, 1.0)
    spread = np.linalg.eigvalsh(np.swapaxes(scaled, 1, 2) @ scaled)
    return np.asarray(enough & (spread[:, 0] * COLLINEAR**2 > spread[:, -1]), dtype=bool)


@dataclass(frozen=True, slots=True)
class _Factors:
    """What rests on the days alone, of M series or one for all, for each of G correlation times.

    ``diagonal`` (M, G, n) and ``beside`` (M, G, n - 1) make up the inverse correlation R^-1, ``rows``
    (M, G, p, n) are X' R^-1, ``inverse`` (M, G, p, p) is (X' R^-1 X)^-1, ``constant`` (M, G) belongs to the
    restricted likelihood.
    """

    used: npt.NDArray[np.bool_]
    told: npt.NDArray[np.bool_]
    diagonal: FloatArray
    beside: FloatArray
    rows: FloatArray
    inverse: FloatArray
    constant: FloatArray


def _factors(
    design: FloatArray,
    days: FloatArray,
    used: npt.NDArray[np.bool_],
    told: npt.NDArray[np.bool_],
    taus: FloatArray,
) -> _Factors:
    both = (used[:, 1:] & used[:, :-1])[:, None, :]
    gaps = np.maximum(np.diff(days, axis=1), LEAST_GAP)[:, None, :]
    with np.errstate(divide="ignore"):
        rho = np.where(both, np.exp(-gaps / taus[:, None]), 0.0)
    # Each reading less rho times the one before is free of all before it, with variance 1 - rho squared.
    free = 1 / (1 - rho**2)
    diagonal = np.repeat(used[:, None, :].astype(float), len(taus), axis=1)
    diagonal[:, :, 1:] *= free
    diagonal[:, :, :-1] += rho**2 * free
    beside = -rho * free
    columns = design[:, None]
    weighted = columns * diagonal[:, :, :, None]
    weighted[:, :, 1:] += columns[:, :, :-1] * beside[:, :, :, None]
    weighted[:, :, :-1] += columns[:, :, 1:] * beside[:, :, :, None]
    rows = np.ascontiguousarray(np.swapaxes(weighted, 2, 3))
    normal = np.where(told[:, None, None, None], rows @ columns, np.eye(design.shape[2]))
    constant = np.log1p(-(rho**2)).sum(axis=2) + np.linalg.slogdet(normal)[1]
    return _Factors(used, told, diagonal, beside, rows, np.linalg.inv(normal), constant)


def _solved(
    factors: _Factors, value: FloatArray, taus: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Coefficients, covariance, variance of a reading and likeliest tau of a block of series."""
    n = factors.used.sum(axis=1)
    free = np.maximum(n - factors.rows.shape[2], 1)[:, None]
    middle = value.sum(axis=1) / np.maximum(n, 1)
    centred = np.where(factors.used, value - middle[:, None], 0.0)
    crossed = _applied(factors.rows, centred)
    each = _solutions(factors.inverse, crossed)
    energy = _applied(factors.diagonal[:, :, None], centred**2)[:, :, 0]
    energy += 2 * _applied(factors.beside[:, :, None], centred[:, 1:] * centred[:, :-1])[:, :, 0]
    energy -= (each * crossed).sum(axis=2)
    energy = np.maximum(energy, np.finfo(float).tiny)
    deviance = free * np.log(energy) + factors.constant
    chance = np.exp(-0.5 * (deviance - deviance.min(axis=1, keepdims=True)))
    chance /= chance.sum(axis=1, keepdims=True)
    mean = np.einsum("ng,ngp->np", chance, each)
    away = each - mean[:, None]
    covariance = _mixed(chance * energy / free, factors.inverse)
    covariance += np.swapaxes(away * chance[:, :, None], 1, 2) @ away
    mean[:, 0] += middle
    unknown = np.broadcast_to(~factors.told, len(value))
    mean[unknown], covariance[unknown] = np.nan, np.nan
    variance = np.where(unknown, np.nan, (chance * energy / free).sum(axis=1))
    return mean, covariance, variance, np.where(unknown, np.nan, taus[np.argmax(chance, axis=1)])


def _applied(matrix: FloatArray, vectors: FloatArray) -> FloatArray:
    """``matrix`` (M, G, p, n), of each series or one for all, times ``vectors`` (N, n): (N, G, p)."""
    if len(matrix) == 1:
        return np.asarray(vectors @ matrix[0].reshape(-1, matrix.shape[3]).T).reshape(-1, *matrix.shape[1:3])
    return np.asarray((matrix @ vectors[:, None, :, None])[..., 0], dtype=float)


def _solutions(inverse: FloatArray, crossed: FloatArray) -> FloatArray:
    """(M, G, p, p) times (N, G, p)."""
    if len(inverse) == 1:
        return np.asarray(np.swapaxes(np.swapaxes(crossed, 0, 1) @ inverse[0], 0, 1), dtype=float)
    return np.asarray((inverse @ crossed[..., None])[..., 0], dtype=float)


def _mixed(weights: FloatArray, matrices: FloatArray) -> FloatArray:
    """Sum over g of weights (N, g) times matrices (M, g, p, p)."""
    if len(matrices) == 1:
        return np.asarray(np.tensordot(weights, matrices[0], axes=1), dtype=float)
    return np.asarray(np.einsum("ng,ngpq->npq", weights, matrices), dtype=float)
