"""The verdict's regression against least squares with the prior as further rows, and against itself."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inspections.analysis import regression
from inspections.analysis.records import YEAR
from inspections.analysis.regression import Asked, seasonal_fit, seasonal_fits


def series(seed, n, censored=0.2):
    random = np.random.default_rng(seed)
    time = 15000 + np.sort(random.choice(4000, n, replace=False)).astype(float)
    value = 50 + 2 * (time - 15000) / YEAR + 5 * np.cos(2 * np.pi * time / YEAR) + random.normal(0, 2, n)
    high = np.where(random.random(n) < censored, np.inf, value)
    return Asked(time, value, high, 17000.0, 2.0)


def test_without_outliers_it_is_least_squares_with_the_prior_as_rows():
    """numpy.linalg.lstsq is the independent way; with so much noise expected no reading is weighed down."""
    one = series(1, 25, censored=0.0)
    fit = seasonal_fit(one.time, one.low, one.high, one.origin, 100.0)
    angle = 2 * np.pi * one.time / YEAR
    design = np.column_stack([np.ones(25), (one.time - one.origin) / YEAR, np.cos(angle), np.sin(angle)])
    spread = [1e3, regression.RATE_PRIOR, regression.SEASON_PRIOR, regression.SEASON_PRIOR]
    rows, values = np.vstack([design, np.diag(1 / np.array(spread))]), np.append(one.low, np.zeros(4))
    expected, *_ = np.linalg.lstsq(rows, values, rcond=None)
    assert fit.coefficient == pytest.approx(expected, rel=1e-9)
    energy = ((one.low - design @ expected) ** 2).sum()
    assert fit.noise**2 == pytest.approx((energy + 4 * 100.0**2) / (25 - 2 + 4), rel=1e-9)


@settings(max_examples=20, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 10**6), st.integers(0, 40)), min_size=1, max_size=12))
def test_many_at_once_are_each_as_alone(wanted):
    many = [series(seed, n) for seed, n in wanted]
    for one, found in zip(many, seasonal_fits(many), strict=True):
        alone = seasonal_fit(one.time, one.low, one.high, one.origin, one.noise)
        if not len(one.time):
            assert (found, alone) == (None, None)
            continue
        assert found.coefficient == pytest.approx(alone.coefficient, rel=1e-9, abs=1e-9)
        assert found.covariance == pytest.approx(alone.covariance, rel=1e-9, abs=1e-9)
        assert found.residual == pytest.approx(alone.residual, rel=1e-9, abs=1e-9)
        assert (found.n, found.years) == (alone.n, alone.years)
