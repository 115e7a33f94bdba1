"""Level, rate, season and steps of one series by harmonic regression.

Level, linear trend, annual harmonics and steps at given days, fitted by :func:`.linear.linear_fit`: serially
dependent errors, Huber's weights and readings off the scale as intervals. Harmonic regression of seasonal
series: Bloomfield (2000), Fourier Analysis of Time Series, ch. 2; a rate beside season and steps: Helsel et
al. (2020), Statistical Methods in Water Resources, ch. 12.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import stdtr, stdtrit

from inspections.analysis.linear import LinearFit, columns_are_independent, linear_fit
from inspections.analysis.records import YEAR, FloatArray
from inspections.analysis.trends import CONFIDENCE, merge_days

#: Condition number of the scaled columns from which season, trend and steps can't be told apart (Belsley, Kuh
#: and Welsch 1980, Regression Diagnostics, sec. 3.2: moderate to strong from 30).
COLLINEAR = 30.0
#: Years of record below which season and trend are one.
LEAST_YEARS = 1.0


@dataclass(frozen=True, slots=True)
class HarmonicFit:
    """A fitted level, rate, season and steps; numbers are in the series' unit.

    ``rate_low`` and ``rate_high`` bound the rate per year at 95 %; NaN with ``rate_per_year`` where no trend
    was fitted. ``season_phase`` is the day of the year, 0 to 365.24 from 1 January, on which the first
    harmonic is highest. ``steps`` are the given steps' sizes, NaN where readings lie on one side only.
    ``tau`` is the likeliest correlation time of the errors in days. ``weights`` (Huber's) and ``expected``
    (readings, those off the scale at their conditional means) belong to the merged days ``time``; ``method``
    says what was left out, and why.
    """

    coefficients: FloatArray
    covariance: FloatArray
    residual_sd: float
    tau: float
    n: int
    freedom: int
    rate_per_year: float
    rate_low: float
    rate_high: float
    p_value: float
    season_amplitude: float
    season_phase: float
    steps: FloatArray
    step_errors: FloatArray
    method: str
    time: FloatArray
    expected: FloatArray
    weights: FloatArray
    model: _Model

    def level_at(self, time: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Level with the season removed at days ``time`` (any shape), and its standard error."""
        return self._predict(time, season=False)

    def season_removed(self, time: npt.ArrayLike) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Level with the season removed, and the 95 % limits of that mean, at days ``time``."""
        return self._band(time, season=False)

    def with_season(self, time: npt.ArrayLike) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Level with its season, and the 95 % limits of that mean, at days ``time``."""
        return self._band(time, season=True)

    def _predict(self, time: npt.ArrayLike, season: bool) -> tuple[FloatArray, FloatArray]:
        at = np.asarray(time, dtype=float)
        rows = self.model.design(at.ravel())
        if not season:
            rows[:, self.model.season_columns] = 0.0
        mean = rows @ self.coefficients
        error = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", rows, self.covariance, rows), 0.0))
        return mean.reshape(at.shape), error.reshape(at.shape)

    def _band(self, time: npt.ArrayLike, season: bool) -> tuple[FloatArray, FloatArray, FloatArray]:
        mean, error = self._predict(time, season)
        reach = student_reach(self.freedom) * error
        return mean, mean - reach, mean + reach


@dataclass(frozen=True, slots=True)
class _Model:
    """Which columns the regression has: level, trend, two a harmonic, and the steps."""

    centre: float
    trend: bool
    harmonics: int
    steps: tuple[float, ...]

    @property
    def season_columns(self) -> slice:
        start = 1 + self.trend
        return slice(start, start + 2 * self.harmonics)

    @property
    def step_columns(self) -> slice:
        return slice(self.season_columns.stop, self.season_columns.stop + len(self.steps))

    def design(self, time: FloatArray) -> FloatArray:
        """Columns at days ``time`` (n,), shape (n, p)."""
        columns = [np.ones(len(time))]
        if self.trend:
            columns.append((time - self.centre) / YEAR)
        for harmonic in range(1, self.harmonics + 1):
            angle = 2 * np.pi * harmonic * time / YEAR
            columns += [np.cos(angle), np.sin(angle)]
        columns += [(time >= step).astype(float) for step in self.steps]
        return np.column_stack(columns)


def harmonic_fit(
    time: npt.ArrayLike,
    value: npt.ArrayLike,
    low: npt.ArrayLike | None = None,
    high: npt.ArrayLike | None = None,
    weights: npt.ArrayLike | None = None,
    harmonics: int = 1,
    steps: Iterable[float] = (),
    trend: bool = True,
    robust: bool = True,
    serial: bool = True,
) -> HarmonicFit | None:
    """Fit level, trend, annual harmonics and steps to readings at days ``time``; arrays of shape (n,).

    Readings of one day are merged (median; their ``weights``, relative precisions, add up). ``low`` and
    ``high`` bound readings off the scale, which stand at their conditional means under a normal law
    (Tobin's likelihood by expectation-maximisation). ``steps`` are the first days on a new level.

    Where the days can't tell season from trend, harmonics are dropped, highest first; over less than a year
    trend and season both are, and the rate is NaN. None where there are fewer days than coefficients and two.
    """
    days = merge_days(time, value, low, high)
    precision = _merged_weights(time, value, weights)
    asked = tuple(float(step) for step in steps)
    if not len(days):
        return None
    model, notes = _identifiable(_Model(float(days.time.mean()), trend, harmonics, asked), days.time)
    design = model.design(days.time)
    at = days.time if serial else None
    fit = linear_fit(design, days.value, days.low, days.high, at, precision, robust)
    if fit is None:
        return None
    if np.any(days.low != days.high):
        notes.append("readings off the scale at their conditional means")
    return _describe(fit, model, asked, days.time, notes)


def student_reach(freedom: int) -> float:
    """Student's t that holds 95 % on both sides together."""
    return float(stdtrit(freedom, 0.5 + CONFIDENCE / 2))


def _merged_weights(
    time: npt.ArrayLike, value: npt.ArrayLike, weights: npt.ArrayLike | None
) -> FloatArray | None:
    if weights is None:
        return None
    times, values = np.asarray(time, dtype=float), np.asarray(value, dtype=float)
    known = np.isfinite(times) & ~np.isnan(values)
    _, day = np.unique(np.floor(times[known]), return_inverse=True)
    return np.asarray(np.bincount(day, weights=np.asarray(weights, dtype=float)[known]), dtype=float)


def _identifiable(model: _Model, time: FloatArray) -> tuple[_Model, list[str]]:
    """The richest part of the model that the days can tell apart, and what was left out."""
    notes = []
    trend, harmonics = model.trend, model.harmonics
    kept = tuple(step for step in model.steps if time[0] < step <= time[-1])
    if trend and time[-1] - time[0] < LEAST_YEARS * YEAR:
        trend, harmonics = False, 0
        notes.append("less than a year: level only")
    part = _Model(model.centre, trend, harmonics, kept)
    while part.harmonics and not columns_are_independent(part.design(time), COLLINEAR):
        part = _Model(model.centre, trend, part.harmonics - 1, kept)
    if part.harmonics < harmonics:
        notes.append("too few times of the year to tell the season: left in")
    return part, notes


def _describe(
    fit: LinearFit, model: _Model, asked: tuple[float, ...], time: FloatArray, notes: list[str]
) -> HarmonicFit:
    errors = np.sqrt(np.diag(fit.covariance))
    rate, rate_error = (fit.coefficients[1], errors[1]) if model.trend else (np.nan, np.nan)
    reach = student_reach(fit.freedom) * rate_error
    season = fit.coefficients[model.season_columns]
    amplitude = float(np.hypot(season[0], season[1])) if len(season) else np.nan
    phase = float(np.arctan2(season[1], season[0]) % (2 * np.pi)) if len(season) else np.nan
    sizes = dict(zip(model.steps, fit.coefficients[model.step_columns], strict=True))
    step_errors = dict(zip(model.steps, errors[model.step_columns], strict=True))
    return HarmonicFit(
        coefficients=fit.coefficients,
        covariance=fit.covariance,
        residual_sd=fit.residual_sd,
        tau=fit.tau,
        n=len(time),
        freedom=fit.freedom,
        rate_per_year=float(rate),
        rate_low=float(rate - reach),
        rate_high=float(rate + reach),
        p_value=_two_sided(float(rate), float(rate_error), fit.freedom),
        season_amplitude=amplitude,
        season_phase=phase / (2 * np.pi) * YEAR,
        steps=np.array([sizes.get(step, np.nan) for step in asked]),
        step_errors=np.array([step_errors.get(step, np.nan) for step in asked]),
        method="; ".join(["harmonic regression with serially dependent errors", *notes]),
        time=time,
        expected=fit.expected,
        weights=fit.weights,
        model=model,
    )


def _two_sided(estimate: float, error: float, freedom: int) -> float:
    if not error > 0:
        return np.nan if np.isnan(error) else float(estimate == 0)
    return float(2 * stdtr(freedom, -abs(estimate) / error))
