"""Many harmonic regressions at once: as one by one, and as statsmodels."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st

from inspections.analysis.harmonic import harmonic_fit
from inspections.analysis.harmonics import harmonic_fits
from inspections.analysis.records import YEAR


def simulated(seed, series=5, visits=40):
    random = np.random.default_rng(seed)
    time = np.sort(random.choice(np.arange(12000, 16000), visits, replace=False)).astype(float)
    rho = np.exp(-np.abs(np.subtract.outer(time, time)) / 120.0)
    noise = random.normal(size=(series, visits)) @ np.linalg.cholesky(rho).T
    return time, 300 + 0.4 * (time - time[0]) / YEAR + 3 * np.sin(2 * np.pi * time / YEAR) + noise


def same(fits, i, one):
    # Normal equations lose half the digits that the single fit's QR keeps.
    assert fits.coefficients[i] == pytest.approx(one.coefficients, rel=1e-7, abs=1e-9)
    assert fits.covariance[i] == pytest.approx(one.covariance, rel=1e-6, abs=1e-9)
    numbers = (fits.rate_per_year[i], fits.rate_low[i], fits.rate_high[i], fits.residual_sd[i])
    theirs = (one.rate_per_year, one.rate_low, one.rate_high, one.residual_sd)
    assert numbers == pytest.approx(theirs, rel=1e-6, abs=1e-8)
    assert (fits.tau[i], fits.freedom[i]) == (one.tau, one.freedom)
    assert fits.p_value[i] == pytest.approx(one.p_value, rel=1e-5, abs=1e-12)


@given(st.integers(0, 10**6), st.booleans(), st.integers(1, 2))
@settings(max_examples=15)
def test_shared_days_as_one_by_one(seed, serial, harmonics):
    time, values = simulated(seed)
    fits = harmonic_fits(time, values, harmonics, serial)
    for i, value in enumerate(values):
        same(fits, i, harmonic_fit(time, value, harmonics=harmonics, robust=False, serial=serial))


@given(st.integers(0, 10**6), st.booleans())
@settings(max_examples=15)
def test_own_days_and_gaps_as_one_by_one(seed, serial):
    random = np.random.default_rng(seed)
    rows = [simulated(seed + i, 1) for i in range(4)]
    time, values = np.stack([row[0] for row in rows]), np.concatenate([row[1] for row in rows])
    shuffled = random.permutation(40)
    values[random.random(values.shape) < 0.3] = np.nan
    fits = harmonic_fits(time[:, shuffled], values[:, shuffled], serial=serial)
    for i, value in enumerate(values):
        same(fits, i, harmonic_fit(time[i], value, robust=False, serial=serial))


def test_independent_errors_agree_with_statsmodels():
    time, values = simulated(3)
    angle = 2 * np.pi * time / YEAR
    design = np.column_stack([np.ones_like(time), (time - time.mean()) / YEAR, np.cos(angle), np.sin(angle)])
    fits = harmonic_fits(time, values, serial=False)
    for i, value in enumerate(values):
        theirs = sm.OLS(value, design).fit()
        assert fits.coefficients[i] == pytest.approx(theirs.params, rel=1e-9)
        assert np.sqrt(np.diag(fits.covariance[i])) == pytest.approx(theirs.bse, rel=1e-9)
        assert fits.p_value[i] == pytest.approx(theirs.pvalues[1], rel=1e-7)


def test_too_little_is_unknown():
    time = np.array([12000.0, 12100, 12200, 12300, 12400, 12500, 13000])
    values = np.array([[1, 2, 3, 4, 5, np.nan, np.nan], [1, 2, 3, 2, 1, 3, np.nan], [1, 2, 1, 2, 1, 2, 3.0]])
    fits = harmonic_fits(time, values)
    assert np.isnan(fits.rate_per_year).tolist() == [True, False, False]
    assert np.isnan(fits.coefficients[0]).all()
    # Half-yearly visits on two days of the year can't tell cosine from sine.
    twice = 12000 + np.round(np.arange(12) * YEAR / 2)
    assert np.isnan(harmonic_fits(twice, np.random.default_rng(1).normal(size=(2, 12))).rate_low).all()
