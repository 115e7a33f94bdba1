"""Thousands of trends at once: as pymannkendall, as one by one, and intervals where errors last."""

import numpy as np
import pymannkendall
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inspections.analysis import trends
from inspections.analysis.dependence import MIXTURES, serial_law
from inspections.analysis.kendall import Table
from inspections.analysis.records import YEAR

NUMBERS = ("rate_per_year", "low", "high", "p_value", "s", "variance", "first", "last", "n", "seasons")


def numbers(found):
    return np.array([getattr(found, name) for name in NUMBERS], dtype=float)


@given(st.integers(0, 10**6), st.integers(3, 15), st.booleans())
@settings(max_examples=20)
def test_agrees_with_pymannkendall(seed, years, rounded):
    values = np.random.default_rng(seed).normal(20, 3, (6, 4 * years))
    values = np.round(values) if rounded else values
    year, season = np.divmod(np.arange(4 * years), 4)
    found = trends.seasonal_kendalls(year * 365.0 + season * 91, values, season, dependence="none")
    for one, value in zip(found, values, strict=True):
        theirs = pymannkendall.seasonal_test(value, period=4)
        assert one.s == theirs.s
        assert one.variance == pytest.approx(theirs.var_s, rel=1e-12)
        assert one.rate_per_year * 365 / YEAR == pytest.approx(theirs.slope, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize("dependence", ["none", "seasons", "serial"])
def test_as_one_by_one(dependence):
    """Gaps, ties, repeats of a day and readings off the scale on either side change nothing."""
    random = np.random.default_rng(11)
    time, value = 12000 + random.uniform(0, 5000, (60, 50)), np.round(random.normal(20, 4, (60, 50)))
    time[::3, 10:20] = time[::3, :10]
    value[random.random(value.shape) < 0.1] = np.nan
    value[:6, 3:] = np.nan
    low = np.where((random.random(value.shape) < 0.1) & (np.arange(60) % 2 == 0)[:, None], -np.inf, value)
    high = np.where(value >= np.where(np.arange(60) % 4 == 0, 24, 99)[:, None], np.inf, value)
    low, high = (np.where(np.isnan(value), np.nan, bound) for bound in (low, high))
    season = trends.season_of(time)
    together = trends.seasonal_kendalls(time, value, season, low, high, dependence)
    columns = zip(time, value, season, low, high, strict=True)
    for i, (days, *rest) in enumerate(columns):
        alone = trends.seasonal_kendall(days, *rest, dependence)
        assert numbers(together[i]) == pytest.approx(numbers(alone), rel=1e-9, abs=1e-9, nan_ok=True)
        assert together[i].method == alone.method


def test_shared_days_are_no_other_road():
    random = np.random.default_rng(12)
    time = np.arange(48) * 91.0 + 12000
    value, season = random.normal(0, 1, (20, 48)), trends.season_of(time)
    short = trends.seasonal_kendalls(time, value, season)
    long = trends.seasonal_kendalls(np.tile(time, (20, 1)), value, np.tile(season, (20, 1)))
    for i in range(20):
        assert numbers(short[i]) == pytest.approx(numbers(long[i]), rel=1e-12)


class TestErrorsThatLast:
    def test_ratio_is_that_of_the_arcsine_sum(self):
        """Hamed (2008), eq. 14: Var S is the sum of 2/pi asin(r) over pairs of pairs within seasons."""
        time = np.arange(24) * YEAR / 2
        table = two_seasons(time, np.zeros((1, 24)))
        _, found = serial_law(table, np.zeros(1))
        first, second = np.array([(i, j) for i in range(24) for j in range(i + 2, 24, 2)]).T
        exact = []
        for share, tau in MIXTURES:
            rho = share * np.exp(-np.abs(np.subtract.outer(time, time)) / tau)
            np.fill_diagonal(rho, 1.0)
            between = (
                rho[np.ix_(second, second)]
                - rho[np.ix_(second, first)]
                - rho[np.ix_(first, second)]
                + rho[np.ix_(first, first)]
            )
            size = np.sqrt(np.diag(between))
            exact.append(2 / np.pi * np.arcsin(np.clip(between / np.outer(size, size), -1, 1)).sum())
        # The linear part holds about nineteen twentieths of the variance, and a little more of it where
        # errors last: the ratio is on the safe side, by at most a tenth.
        ratio = found[0] / (np.array(exact) / exact[0])
        assert np.all((ratio > 0.99) & (ratio < 1.1))

    def test_variance_is_that_of_readings_that_last(self):
        random = np.random.default_rng(4)
        time = np.arange(24) * YEAR / 2
        rho = np.exp(-np.abs(np.subtract.outer(time, time)) / 160.0)
        values = random.normal(size=(4000, 24)) @ np.linalg.cholesky(rho).T
        season = np.arange(24) % 2
        s = trends.seasonal_kendalls(time, values, season, dependence="none").s
        _, ratio = serial_law(two_seasons(time, values[:1]), np.zeros(1))
        independent = 2 * 12 * 11 * 29 / 18
        # The variance of 4,000 draws has a standard error of sqrt(2 / 4000), 2 %.
        assert np.var(s) / independent == pytest.approx(ratio[0, MIXTURES.index((1.0, 160.0))], rel=0.07)

    def test_interval_holds_where_independence_does_not(self):
        """Errors that last half a year, quarterly visits for six years, 0.3 a year beside the season."""
        random = np.random.default_rng(8)
        hits, naive = [], []
        for _ in range(25):
            time = np.sort(np.floor(12000 + (np.arange(24) / 4 + random.uniform(0, 0.1, 24)) * YEAR))
            rho = 0.7 * np.exp(-np.abs(np.subtract.outer(time, time)) / 180.0) + 0.3 * np.eye(24)
            values = random.normal(size=(40, 24)) @ np.linalg.cholesky(rho).T
            values += 0.3 * time / YEAR + 2 * np.sin(2 * np.pi * time / YEAR)
            for kind, into in (("serial", hits), ("none", naive)):
                found = trends.seasonal_kendalls(time, values, trends.season_of(time), dependence=kind)
                into.append((found.low <= 0.3) & (found.high >= 0.3))
        # Errors this long are the hardest case; over walls of all kinds the intervals hold 95 %
        # (tests/simulation/coverage.py). Binomial error of a share of 0.95 in 1,000, three times: 0.02.
        assert np.mean(hits) > 0.93
        assert np.mean(naive) < np.mean(hits) - 0.03

    def test_no_surer_than_independence(self):
        random = np.random.default_rng(9)
        time = np.arange(32) * 91.0 + 12000
        values, season = random.normal(size=(50, 32)), trends.season_of(time)
        plain, serial = (
            trends.seasonal_kendalls(time, values, season, dependence=kind) for kind in ("none", "serial")
        )
        assert np.all(serial.variance >= plain.variance * (1 - 1e-9))
        assert np.all(serial.p_value >= plain.p_value - 1e-12)


def two_seasons(time, values):
    table = np.full((2, 12), np.nan)
    table[np.arange(24) % 2, np.arange(24) // 2] = time
    value = np.stack([values[:, ::2], values[:, 1::2]], axis=1)
    return Table(table[None], value, value, value)
