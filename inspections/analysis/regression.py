"""A level, a rate and a season from a few irregular, partly censored readings.

The workhorse of the verdict: a linear regression with one annual harmonic and a weak normal prior on its
coefficients, so that two readings give a wide answer rather than none. Readings beyond a scale's end enter as
truncated normals by expectation-maximisation (Dempster, Laird & Rubin 1977, section 4.1), outliers are
weighted down after Huber (1964). The prior is stated in units of the noise and so knows no scale.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inspections.analysis.linear import HUBER, truncated_normal
from inspections.analysis.records import YEAR, FloatArray

#: Prior standard deviation of the rate, in noise standard deviations a year. A wall that fills over three to
#: ten years moves by several noise widths in all; from common practice with hand meters, not from a source.
RATE_PRIOR = 1.5
#: Prior standard deviation of the season's two coefficients, in noise standard deviations: a basement's
#: readings swing more than they scatter.
SEASON_PRIOR = 3.0
_ROUNDS = 6


@dataclass(frozen=True, slots=True)
class SeasonalFit:
    """Coefficients ``(level at the origin, rate a year, cosine, sine)`` and their covariance.

    The origin is the time given to :func:`seasonal_fit`; the cosine peaks at the turn of the year. ``noise``
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
    def level_error(self) -> float:
        """Standard error of the level at the origin."""
        return float(np.sqrt(self.covariance[0, 0]))

    @property
    def season(self) -> tuple[float, float]:
        """Cosine and sine coefficients of the year."""
        return float(self.coefficient[2]), float(self.coefficient[3])


def seasonal_fit(
    time: FloatArray,
    low: FloatArray,
    high: FloatArray,
    origin: float,
    noise_guess: float,
    noise_weight: float = 4.0,
) -> SeasonalFit | None:
    """Fit level, rate and season to readings known to lie in ``[low, high]`` (equal where exact).

    ``time`` and ``origin`` are in days; arrays have shape (n,). ``noise_guess`` is the noise expected
    beforehand, worth ``noise_weight`` readings. Returns None without a single reading.
    """
    n = len(time)
    if n == 0:
        return None
    angle = 2 * np.pi * time / YEAR
    design = np.column_stack((np.ones(n), (time - origin) / YEAR, np.cos(angle), np.sin(angle)))
    exact = low == high
    value = np.where(exact, low, np.where(np.isfinite(low), low, high))
    spread = np.zeros(n)
    noise = noise_guess
    weight = np.ones(n)
    prior = np.array([1e-6, RATE_PRIOR**-2, SEASON_PRIOR**-2, SEASON_PRIOR**-2])
    normal = coefficient = np.zeros(0)
    for _ in range(_ROUNDS):
        weighted = design * weight[:, None]
        normal = weighted.T @ design + np.diag(prior)
        coefficient = np.linalg.solve(normal, weighted.T @ value)
        fitted = design @ coefficient
        residual = value - fitted
        energy = float(np.sum(weight * residual**2 + spread))
        freedom = max(float(weight.sum()) - min(2.0, n - 1.0), 0.0)
        noise = float(np.sqrt((energy + noise_weight * noise_guess**2) / (freedom + noise_weight)))
        if not exact.all():
            mean, variance = truncated_normal(fitted[~exact], noise, low[~exact], high[~exact])
            value[~exact] = mean
            spread[~exact] = variance
        scaled = np.abs(value - fitted) / (HUBER * noise)
        weight = 1 / np.maximum(scaled, 1.0)
    return SeasonalFit(
        coefficient=coefficient,
        covariance=np.asarray(np.linalg.inv(normal) * noise**2, dtype=np.float64),
        noise=noise,
        residual=value - design @ coefficient,
        n=n,
        years=float(time[-1] - time[0]) / YEAR,
    )
