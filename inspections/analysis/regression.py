"""A level, a rate and a season from a few irregular, partly censored readings.

The workhorse of the verdict: a linear regression with one annual harmonic and a weak normal prior on its
coefficients, so that two readings give a wide answer rather than none. Readings beyond a scale's end enter as
truncated normals by expectation-maximisation (Dempster, Laird & Rubin 1977, section 4.1), outliers are
weighted down after Huber (1964). The prior is stated in units of the noise and so knows no scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inspections.analysis.linear import HUBER, truncated_normal
from inspections.analysis.records import YEAR, FloatArray
from inspections.analysis.tabulating import alike

#: Prior standard deviation of the rate, in noise standard deviations a year. A wall that fills over three to
#: ten years moves by several noise widths in all; from common practice with hand meters, not from a source.
RATE_PRIOR = 1.5
#: Prior standard deviation of the season's two coefficients, in noise standard deviations: a basement's
#: readings swing more than they scatter.
SEASON_PRIOR = 3.0
#: Readings that the noise expected beforehand is worth.
NOISE_WEIGHT = 4.0
_PRIOR = np.diag([1e-6, RATE_PRIOR**-2, SEASON_PRIOR**-2, SEASON_PRIOR**-2])
_ROUNDS = 6
#: Series worked on at once, so that they fit a core's cache.
_TOGETHER = 256


@dataclass(frozen=True, slots=True)
class SeasonalFit:
    """Coefficients ``(level at the origin, rate a year, cosine, sine)`` and their covariance.

    The origin is that of :class:`Asked`; the cosine peaks at the turn of the year. ``noise``
    is the standard deviation of one reading about the line, in the readings' unit. ``residual`` has shape
    (n,), censored readings standing at their conditional expectation.
    """

    coefficient: FloatArray
    covariance: FloatArray
    noise: float
    residual: FloatArray
    n: int
    years: float

    @property
    def level(self) -> float:
        """Season-removed level at the origin."""
        return float(self.coefficient[0])

    @property
    def rate(self) -> float:
        """Change a year."""
        return float(self.coefficient[1])

    @property
    def rate_error(self) -> float:
        """Standard error of the rate."""
        return float(np.sqrt(self.covariance[1, 1]))

    @property
    def season(self) -> tuple[float, float]:
        """Cosine and sine coefficients of the year."""
        return float(self.coefficient[2]), float(self.coefficient[3])


@dataclass(frozen=True, slots=True)
class Asked:
    """Readings at days ``time`` known to lie in ``[low, high]`` (equal where exact), (n,), to be fitted.

    The level is wanted at day ``origin``; ``noise`` is the scatter expected beforehand.
    """

    time: FloatArray
    low: FloatArray
    high: FloatArray
    origin: float
    noise: float


def seasonal_fit(
    time: FloatArray, low: FloatArray, high: FloatArray, origin: float, noise_guess: float
) -> SeasonalFit | None:
    """As :func:`seasonal_fits`, of one series; None without a single reading."""
    return seasonal_fits([Asked(time, low, high, origin, noise_guess)])[0]


def seasonal_fits(asked: Sequence[Asked]) -> list[SeasonalFit | None]:
    """Level, rate and season of each series, many at once; None for those without a reading."""
    found: list[SeasonalFit | None] = [None] * len(asked)
    for which in alike([len(one.time) for one in asked], _TOGETHER):
        read = [i for i in which if len(asked[i].time)]
        for i, fit in zip(read, _fits([asked[i] for i in read]) if read else [], strict=True):
            found[i] = fit
    return found


def _fits(asked: list[Asked]) -> list[SeasonalFit]:
    """Series of like length, in rows that are filled up with readings of no weight."""
    n = np.array([len(one.time) for one in asked])
    used = np.arange(n.max()) < n[:, None]
    time, low, high = (_rows([getattr(one, name) for one in asked], used) for name in ("time", "low", "high"))
    origin = np.array([one.origin for one in asked])[:, None]
    guess = np.array([one.noise for one in asked])
    angle = 2 * np.pi * time / YEAR
    design = np.stack((np.ones_like(time), (time - origin) / YEAR, np.cos(angle), np.sin(angle)), axis=2)
    across = np.ascontiguousarray(np.swapaxes(design, 1, 2))
    exact = low == high
    value = np.where(exact, low, np.where(np.isfinite(low), low, high))
    spread = np.zeros(value.shape)
    weight = used.astype(float)
    row, column = np.nonzero(~exact)
    normal, coefficient, noise = np.zeros(0), np.zeros(0), guess
    for _ in range(_ROUNDS):
        weighted = across * weight[:, None, :]
        normal = weighted @ design + _PRIOR
        coefficient = np.linalg.solve(normal, weighted @ value[:, :, None])
        fitted = (design @ coefficient)[:, :, 0]
        energy = (weight * (value - fitted) ** 2 + spread).sum(axis=1)
        freedom = np.maximum(weight.sum(axis=1) - np.minimum(2.0, n - 1.0), 0.0)
        noise = np.sqrt((energy + NOISE_WEIGHT * guess**2) / (freedom + NOISE_WEIGHT))
        if len(row):
            value[row, column], spread[row, column] = truncated_normal(
                fitted[row, column], noise[row], low[row, column], high[row, column]
            )
        scaled = np.abs(value - fitted) / (HUBER * noise)[:, None]
        weight = used / np.maximum(scaled, 1.0)
    covariance = np.linalg.inv(normal) * (noise**2)[:, None, None]
    residual = value - (design @ coefficient)[:, :, 0]
    return [
        SeasonalFit(
            coefficient=coefficient[i, :, 0],
            covariance=covariance[i],
            noise=float(noise[i]),
            residual=residual[i, : n[i]],
            n=int(n[i]),
            years=float(one.time[-1] - one.time[0]) / YEAR,
        )
        for i, one in enumerate(asked)
    ]


def _rows(columns: list[FloatArray], used: npt.NDArray[np.bool_]) -> FloatArray:
    """One row a series, zero after its end."""
    rows = np.zeros(used.shape)
    rows[used] = np.concatenate(columns)
    return rows
