"""Harmonic regression on real series, on simulated ones, and under changes that must not matter."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st

from inspections.analysis.harmonic import harmonic_fit
from inspections.analysis.records import YEAR
from tests.analysis.published import table

seeds = st.integers(0, 10**6)


def wall(seed, years=8, per_year=4, rate=0.5, sd=1.0, tau=60.0, amplitude=4.0, phase=30.0):
    """Readings with a season that peaks ``phase`` days into the year, and autoregressive errors."""
    random = np.random.default_rng(seed)
    n = years * per_year
    time = np.floor(14610 + (np.arange(n) + random.uniform(-0.2, 0.2, n)) / per_year * YEAR)
    error = np.empty(n)
    error[0] = random.normal()
    for i in range(1, n):
        rho = np.exp(-(time[i] - time[i - 1]) / tau) if tau else 0.0
        error[i] = rho * error[i - 1] + np.sqrt(1 - rho**2) * random.normal()
    season = amplitude * np.cos(2 * np.pi * (time - phase) / YEAR)
    return time, 30 + rate * (time - 14610) / YEAR + season + sd * error


def test_nottingham_agrees_with_least_squares():
    # Anderson (1976), monthly air temperatures; statsmodels' ordinary least squares is the second program.
    data = table("nottem")
    time = np.floor((data["year"] - 1970 + (data["month"] - 0.5) / 12) * YEAR)
    fit = harmonic_fit(time, data["temp_f"], harmonics=2, robust=False, serial=False)
    angle = 2 * np.pi * time / YEAR
    design = sm.add_constant(np.column_stack([(time - time.mean()) / YEAR, *waves(angle), *waves(2 * angle)]))
    theirs = sm.OLS(data["temp_f"], design).fit()
    assert fit.coefficients == pytest.approx(theirs.params)
    assert fit.covariance == pytest.approx(theirs.cov_params())
    assert (fit.rate_low, fit.rate_high) == pytest.approx(tuple(theirs.conf_int()[1]))
    assert fit.p_value == pytest.approx(theirs.pvalues[1])
    predicted = theirs.get_prediction(design[:5]).conf_int()
    assert np.column_stack(fit.with_season(time[:5])[1:]) == pytest.approx(predicted)


def test_nottingham_season():
    # Warmest in the second half of July, half a swing near 11.5 deg F: read off the published monthly means.
    data = table("nottem")
    time = np.floor((data["year"] - 1970 + (data["month"] - 0.5) / 12) * YEAR)
    fit = harmonic_fit(time, data["temp_f"])
    means = [data["temp_f"][data["month"] == month].mean() for month in range(1, 13)]
    assert fit.season_amplitude == pytest.approx((max(means) - min(means)) / 2, rel=0.05)
    assert 195 < fit.season_phase < 212


def test_a_rate_is_found_beside_season_steps_and_an_outlier():
    time, value = wall(2, years=12, sd=0.3)
    value[time >= 17000] += 6
    value[20] += 60
    fit = harmonic_fit(time, value, steps=[17000])
    assert fit.rate_per_year == pytest.approx(0.5, abs=0.2)
    assert fit.steps == pytest.approx([6], abs=1)
    assert fit.step_errors[0] < 1
    assert fit.season_amplitude == pytest.approx(4, abs=0.3)
    assert fit.season_phase == pytest.approx(30, abs=5)
    assert fit.weights.argmin() == 20


@pytest.mark.parametrize("tau", [0.0, 120.0])
def test_coverage_of_rate_and_level(tau):
    """Of 300 simulated walls, 95 % of the intervals hold the true rate, and the true level at the end."""
    rates = levels = 0
    for seed in range(300):
        time, value = wall(seed, tau=tau)
        fit = harmonic_fit(time, value)
        rates += fit.rate_low <= 0.5 <= fit.rate_high
        truth = 30 + 0.5 * (time[-1] - 14610) / YEAR
        _, low, high = fit.season_removed(time[-1])
        levels += low <= truth <= high
    # Three standard errors of a share of 0.95 in 300 are 0.038.
    assert rates / 300 == pytest.approx(0.95, abs=0.038)
    assert levels / 300 == pytest.approx(0.95, abs=0.038)


def test_a_ceiling_does_not_flatten_the_rate():
    time, value = wall(7, years=10, rate=2.0)
    ceiling = 42.0
    seen = np.minimum(value, ceiling)
    fit = harmonic_fit(time, seen, seen, np.where(value > ceiling, np.inf, seen))
    cut = harmonic_fit(time, seen)
    assert (value > ceiling).sum() > 8
    assert fit.rate_low < 2 < fit.rate_high
    assert cut.rate_high < 2
    assert "off the scale" in fit.method


def test_season_removed_is_with_season_less_the_season():
    time, value = wall(5)
    fit = harmonic_fit(time, value)
    year = np.linspace(15000, 15000 + YEAR, 2001)[:-1]
    swing = fit.with_season(year)[0] - fit.season_removed(year)[0]
    assert swing.mean() == pytest.approx(0, abs=1e-9)
    assert swing.max() == pytest.approx(fit.season_amplitude, rel=1e-4)
    assert year[swing.argmax()] % YEAR == pytest.approx(fit.season_phase, abs=0.5)
    level, error = fit.level_at(15000.0)
    assert level.shape == error.shape == ()


def test_one_season_a_year_cannot_tell_the_season():
    time = 14610 + np.arange(8) * 365.0
    fit = harmonic_fit(time, np.arange(8) + np.tile([0.1, -0.1], 4))
    assert "season: left in" in fit.method
    assert np.isnan(fit.season_amplitude)
    assert fit.rate_per_year == pytest.approx(1, abs=0.1)


def test_less_than_a_year_has_a_level_and_no_rate():
    fit = harmonic_fit(14610 + np.arange(10) * 20.0, np.linspace(10, 14, 10))
    assert np.isnan(fit.rate_per_year)
    assert np.isnan(fit.p_value)
    assert fit.level_at(14700)[0] == pytest.approx(12, abs=0.5)
    assert "less than a year" in fit.method


def test_a_step_without_readings_before_it_is_unknown():
    time, value = wall(3)
    fit = harmonic_fit(time, value, steps=[0.0])
    assert np.isnan(fit.steps).all()
    assert fit.rate_per_year == harmonic_fit(time, value).rate_per_year


@pytest.mark.parametrize(("n", "apart"), [(0, 100), (1, 100), (2, 100), (4, 130), (5, 130)])
def test_too_few_days_give_no_fit(n, apart):
    assert harmonic_fit(14610 + np.arange(n) * float(apart), np.arange(n) * 1.0) is None


def test_repeats_of_a_day_are_no_evidence():
    time, value = wall(3)
    once = harmonic_fit(time, value)
    again = harmonic_fit(np.repeat(time, 4) + np.tile([0, 0.2, 0.5, 0.9], len(time)), np.repeat(value, 4))
    assert (again.n, again.rate_low, again.rate_high) == (once.n, once.rate_low, once.rate_high)


@given(seeds, st.floats(0.05, 20), st.floats(-50, 50), st.randoms())
def test_units_and_row_order_change_nothing(seed, scale, offset, random):
    time, value = wall(seed)
    order = list(range(len(time)))
    random.shuffle(order)
    fit, other = harmonic_fit(time, value), harmonic_fit(time[order], scale * value[order] + offset)
    rates = np.array([fit.rate_per_year, fit.rate_low, fit.rate_high])
    assert [other.rate_per_year, other.rate_low, other.rate_high] == pytest.approx(
        scale * rates, rel=1e-4, abs=1e-4
    )
    assert other.season_phase == pytest.approx(fit.season_phase, abs=1e-3)


@given(seeds, st.integers(-20000, 20000))
def test_time_origin_changes_nothing(seed, days):
    time, value = wall(seed)
    fit, other = harmonic_fit(time, value), harmonic_fit(time + days, value)
    assert other.rate_low == pytest.approx(fit.rate_low, rel=1e-5, abs=1e-6)
    assert other.residual_sd == pytest.approx(fit.residual_sd, rel=1e-5)
    assert (other.season_phase - days - fit.season_phase) % YEAR == pytest.approx(0, abs=1e-3) or (
        other.season_phase - days - fit.season_phase
    ) % YEAR == pytest.approx(YEAR, abs=1e-3)


def waves(angle):
    return np.cos(angle), np.sin(angle)
