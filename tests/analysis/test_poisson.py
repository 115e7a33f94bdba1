"""Exact limits of rates, against printed tables and statsmodels."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest
from statsmodels.stats.rates import confint_poisson

from inspections.analysis.lifetimes import Interval
from inspections.analysis.poisson import garwood, rate, rate_ratio
from tests.analysis.published import table

EVENTS = [0, 1, 2, 3, 5, 10, 20, 50, 100]


def test_garwoods_table():
    # Garwood (1936), 95 %; scipy chi2, R poisson.test and statsmodels agree.
    low, high = garwood(EVENTS)
    assert low == pytest.approx(
        [0, 0.0253, 0.2422, 0.6187, 1.6235, 4.7954, 12.2165, 37.1110, 81.3640], abs=5.1e-5
    )
    assert high == pytest.approx(
        [3.6889, 5.5716, 7.2247, 8.7673, 11.6683, 18.3904, 30.8884, 65.9188, 121.6268], abs=5.1e-5
    )


@pytest.mark.parametrize(
    ("events", "exposure", "level", "low", "high", "digits"),
    [
        (36, 20, 0.90, 1.336558, 2.377037, 6),  # EnvStats, help page of epois: mean 1.8, n 20
        (137, 24.19893, 0.95, 4.753125, 6.692709, 6),  # R, help page of poisson.test
    ],
)
def test_rates_over_exposure(events, exposure, level, low, high, digits):
    interval = rate(events, exposure, level)
    assert interval.estimate == pytest.approx(events / exposure)
    assert (interval.low, interval.high) == pytest.approx((low, high), abs=0.51 * 10**-digits)


@pytest.mark.parametrize(
    ("events", "exposure", "ratio", "low", "high", "p_value"),
    [
        ((11, 21), (800, 3011), 1.971488, 0.8584264, 4.277266, 0.07967),  # R, help page of poisson.test
        ((41, 15), (28010, 19017), 1.855759, 1.005684, 3.609300, 0.040852),  # fluoroscopy; R, statsmodels
    ],
)
def test_ratios(events, exposure, ratio, low, high, p_value):
    interval, p = rate_ratio(events, exposure)
    assert (interval.estimate, interval.low, interval.high) == pytest.approx((ratio, low, high), abs=5.1e-7)
    assert p == pytest.approx(p_value, abs=5.1e-6)


def test_diesel_fans():
    # Nelson (1982): 12 failures in 344,440 hours, a mean life of 28,703.33 hours.
    data = table("diesel_fans")
    interval = rate(int(data["failed"].sum()), float(data["hours"].sum()))
    assert 1 / interval.estimate == pytest.approx(28703.33, abs=5.1e-3)


@given(st.integers(0, 400), st.floats(0.5, 0.999))
def test_limits_as_statsmodels(events, level):
    low, high = garwood(events, level)
    assert (low, high) == pytest.approx(
        np.nan_to_num(confint_poisson(events, 1, "exact-c", 1 - level)), rel=1e-8
    )


@given(st.tuples(st.integers(0, 40), st.integers(0, 40)).filter(any), st.floats(0.1, 10))
def test_ratios_as_scipys_binomial_test(events, exposure):
    interval, p_value = rate_ratio(events, (exposure, 2.0))
    theirs = binomtest(events[0], sum(events), exposure / (exposure + 2.0))
    shares = theirs.proportion_ci(method="exact")
    assert interval.low == pytest.approx(shares.low / (1 - shares.low) * 2.0 / exposure, rel=1e-6)
    if events[1]:
        assert interval.high == pytest.approx(shares.high / (1 - shares.high) * 2.0 / exposure, rel=1e-6)
    assert p_value == pytest.approx(theirs.pvalue, rel=1e-6)


def test_ends_that_are_not_reached():
    assert rate(0, 12.0) == Interval(0.0, 0.0, pytest.approx(3.6889 / 12, abs=1e-5))
    assert rate(0, 0.0) == Interval(None, None, None)
    no_second, _ = rate_ratio((3, 0), (5.0, 5.0))
    assert (no_second.estimate, no_second.high) == (None, None)
    assert no_second.low > 0
    assert rate_ratio((0, 3), (5.0, 5.0))[0].low == 0
    assert rate_ratio((0, 0), (5.0, 5.0))[1] == 1


@pytest.mark.parametrize(
    "wrong",
    [lambda: garwood(-1), lambda: garwood(1, 2.0), lambda: rate(1, -1), lambda: rate_ratio((1, 1), (0, 1))],
)
def test_what_makes_no_sense_is_refused(wrong):
    with pytest.raises(ValueError, match="must be"):
        wrong()
