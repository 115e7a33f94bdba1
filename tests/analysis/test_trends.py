"""Kendall's tests and Sen's slope against published examples, pymannkendall and scipy."""

from dataclasses import replace

import numpy as np
import pymannkendall
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from inspections.analysis import trends
from inspections.analysis.records import YEAR, readings_from_columns
from tests.analysis.published import table

#: The published times are years or other units, ours are whole days: one such unit becomes this many days, so
#: that rounding to a day is lost below the published digits.
DAYS_PER_UNIT = 1e6 * YEAR
PER_UNIT = 1e6


def visits(seed, years=12, per_year=4, slope=0.0, sd=1.0):
    random = np.random.default_rng(seed)
    n = years * per_year
    time = np.floor((np.arange(n) / per_year + random.uniform(0, 0.1, n)) * YEAR + 12000)
    value = slope * (time - time[0]) / YEAR + 5 * np.sin(2 * np.pi * time / YEAR) + random.normal(0, sd, n)
    return time, value


class TestMannKendall:
    def test_sulfate(self):
        # USEPA (2009), EPA 530/R-09-007, example 17-6, p. 17-33.
        data = table("epa2009_ex17_6_sulfate")
        found = trends.mann_kendall(data["sampling_date"] * DAYS_PER_UNIT, data["sulfate_ppm"])
        assert (found.s, found.variance) == (194, pytest.approx(1428))
        assert found.p_value == pytest.approx(3.267574e-07, rel=1e-6)
        rates = np.array([found.rate_per_year, found.low, found.high]) * PER_UNIT
        assert rates == pytest.approx([26.6666667, 20.0, 35.71182], rel=1e-6)

    def test_sodium(self):
        # USEPA (2009), EPA 530/R-09-007, example 17-7, p. 17-36.
        data = table("epa2009_ex17_7_sodium")
        found = trends.mann_kendall(data["year"] * DAYS_PER_UNIT, data["sodium_ppm"])
        assert (found.s, found.variance) == (25, pytest.approx(125))
        assert found.p_value == pytest.approx(0.03182313, rel=1e-6)
        rates = np.array([found.rate_per_year, found.low, found.high]) * PER_UNIT
        assert rates == pytest.approx([1.3333333, 0.3992083, 2.3333333], rel=1e-6)

    def test_sen(self):
        # Sen (1968), JASA 63, 1379, worked example: slope 4.
        data = table("sen1968")
        found = trends.mann_kendall(data["x"] * DAYS_PER_UNIT, data["y"])
        assert found.rate_per_year * PER_UNIT == pytest.approx(4)

    def test_exact_law_for_few_readings(self):
        # USEPA QA/G-9 (from memory): 5 6 11 8 10 has S = 6 and a one-sided p of 0.117 (14 of 120).
        found = trends.mann_kendall(np.arange(5) * 100.0, [5, 6, 11, 8, 10])
        assert found.s == 6
        assert found.p_value == pytest.approx(2 * 14 / 120)
        assert np.isnan(found.low)
        assert "too few readings for a 95 % interval" in found.method

    def test_exact_law_agrees_with_hollander_and_wolfe(self):
        # Hollander and Wolfe (1973), tuna example (from memory): n = 9, T = 26, one-sided p 0.05972.
        assert trends.kendall_exact_p(2 * 26 - 36, (9,)) / 2 == pytest.approx(0.05972, abs=5e-6)

    @given(st.lists(st.integers(0, 6), min_size=10, max_size=30))
    def test_agrees_with_pymannkendall(self, values):
        found = trends.mann_kendall(np.arange(len(values)) * 7.0, values)
        theirs = pymannkendall.original_test(values)
        assert found.s == theirs.s
        assert found.variance == pytest.approx(theirs.var_s)
        assert found.p_value == pytest.approx(theirs.p, abs=1e-12)
        assert found.rate_per_year * 7 / YEAR == pytest.approx(theirs.slope, abs=1e-12)

    @given(st.lists(st.tuples(st.integers(0, 5), st.integers(0, 5)), min_size=4, max_size=25))
    def test_ties_in_both_agree_with_scipy(self, pairs):
        x, y = np.array(pairs, dtype=float).T
        s, variance, _ = trends.kendall(x, y)
        if variance > 0:
            theirs = scipy.stats.kendalltau(x, y, method="asymptotic")
            assert 2 * scipy.special.ndtr(-abs(s) / np.sqrt(variance)) == pytest.approx(
                theirs.pvalue, rel=1e-9
            )

    @pytest.mark.parametrize("n", [0, 1])
    def test_nothing_to_compare(self, n):
        found = trends.mann_kendall(np.arange(n) * 1.0, np.ones(n))
        assert np.isnan(found.rate_per_year)
        assert found.method == "too few readings for a rate"


class TestSeasonalKendall:
    def test_monthly_concentrations(self):
        # USEPA (2009), EPA 530/R-09-007, example 14-10, p. 14-38.
        data = table("epa2009_ex14_8_monthly")
        found = by_month(data["conc"], data["month"], data["year"])
        assert (found.s, found.variance) == (35, pytest.approx(43))
        assert found.p_value == pytest.approx(2.160712e-07, rel=1e-6)
        assert (found.rate_per_year, found.low, found.high) == pytest.approx(
            (0.06, 0.05786914, 0.07213086), rel=1e-6
        )

    def test_nottingham_with_covariance_between_seasons(self):
        # Hirsch and Slack (1984) on the Nottingham temperatures: vignette of the R package trend.
        data = table("nottem")
        found = by_month(data["temp_f"], data["month"], data["year"])
        assert (found.s, found.variance) == (224, pytest.approx(19663.33, abs=0.01))
        assert found.p_value == pytest.approx(0.1102, abs=5e-5)
        assert found.rate_per_year == pytest.approx(0.05, rel=1e-6)

    def test_nottingham_with_independent_seasons(self):
        # The same vignette: S 224, Var S 11364, z 2.0919, p 0.03645; here from the first nine and all years.
        data = table("nottem")
        groups = [data["temp_f"][data["month"] == month] for month in range(1, 13)]
        parts = [trends.kendall(np.arange(20.0), group) for group in groups]
        assert sum(part[0] for part in parts) == 224
        assert sum(part[1] for part in parts) == pytest.approx(11364)

    @given(st.integers(0, 10**6), st.integers(10, 14))
    def test_agrees_with_pymannkendall(self, seed, years):
        values = np.random.default_rng(seed).integers(0, 9, years * 4).astype(float)
        year, month = np.divmod(np.arange(years * 4), 4)
        found = by_month(values, month, year, 4)
        theirs = pymannkendall.correlated_seasonal_test(values, period=4)
        assert found.s == theirs.s
        # Where the covariance would make the variance negative we keep the independent one.
        if theirs.var_s > 0:
            assert found.variance == pytest.approx(theirs.var_s)
            assert found.p_value == pytest.approx(theirs.p, abs=1e-12)
        assert found.rate_per_year == pytest.approx(theirs.slope, abs=1e-6)

    @given(st.integers(0, 10**6), st.integers(3, 4))
    def test_few_years_agree_with_pymannkendall(self, seed, years):
        values = np.random.default_rng(seed).integers(0, 9, years * 4).astype(float)
        year, month = np.divmod(np.arange(years * 4), 4)
        found = by_month(values, month, year, 4)
        theirs = pymannkendall.seasonal_test(values, period=4)
        assert (found.s, found.variance) == (theirs.s, pytest.approx(theirs.var_s))
        assert found.p_value == pytest.approx(theirs.p, abs=1e-12)

    def test_season_is_not_taken_for_a_trend(self):
        time = np.array([40.0, 220.0, 405, 585, 770, 950, 1135, 1315])
        value = np.array([10.0, 30, 10, 30, 10, 30, 10, 30])
        found = trends.seasonal_kendall(time, value, trends.season_of(time))
        assert (found.s, found.rate_per_year, found.p_value) == (0, 0, 1)

    def test_repeats_of_a_day_are_no_evidence(self):
        time, value = visits(3, slope=0.4)
        once = trends.seasonal_kendall(time, value, trends.season_of(time))
        many = np.repeat(time, 5) + np.tile([0.1, 0.3, 0.5, 0.6, 0.9], len(time))
        again = trends.seasonal_kendall(many, np.repeat(value, 5), trends.season_of(many))
        assert again == once

    @given(st.integers(0, 10**6), st.integers(5, 9))
    def test_some_years_are_never_surer_than_independent_seasons(self, seed, years):
        values = np.random.default_rng(seed).normal(size=years * 4)
        year, month = np.divmod(np.arange(years * 4), 4)
        found = by_month(values, month, year, 4)
        theirs = pymannkendall.seasonal_test(values, period=4)
        assert found.s == theirs.s
        assert found.variance >= theirs.var_s * (1 - 1e-12)
        assert found.p_value >= theirs.p - 1e-12

    def test_coverage_of_the_interval(self):
        """Of 400 walls without a trend of their own but 0.3 a year, 95 % of the intervals hold 0.3."""
        hits = 0
        for seed in range(400):
            time, value = visits(seed, slope=0.3)
            found = trends.seasonal_kendall(time, value, trends.season_of(time))
            hits += found.low <= 0.3 <= found.high
        # Three standard errors of a share of 0.95 in 400 are 0.033.
        assert hits / 400 > 0.95 - 0.033


class TestOffTheScale:
    def test_solvent_in_wells(self):
        # Helsel (2005), ch. 12; R package NADA, cenken: S 4431, tau 0.145847734, slope 0.3835066.
        data = table("tcereg")
        y, below = np.log(data["tce"]), data["censored"] > 0
        low = np.where(below, -np.inf, y)
        s, _, tau = trends.kendall(data["popdensity"], y, low, y)
        assert (s, tau) == (4431, pytest.approx(0.145847734))
        assert trends.sen_slope(data["popdensity"] * YEAR, y, low, y) == pytest.approx(0.3835066, rel=1e-6)

    def test_variance_is_that_of_shuffled_readings(self):
        # NADA's p of 0.0003 leaves out most of the ties among 194 readings below the scale.
        data = table("tcereg")
        y, below = data["tce"], data["censored"] > 0
        low = np.where(below, -np.inf, y)
        _, variance, _ = trends.kendall(data["popdensity"], y, low, y)
        random = np.random.default_rng(5)
        orders = [random.permutation(len(y)) for _ in range(600)]
        shuffled = [trends.kendall(data["popdensity"], y[o], low[o], y[o])[0] for o in orders]
        # The variance of 600 draws has a standard error of sqrt(2 / 600), 6 %.
        assert np.var(shuffled) == pytest.approx(variance, rel=0.18)

    def test_iron_in_the_brazos(self):
        # Helsel (2005), ch. 11; R package NADA: S -13. S(b) is 0 from -2.6 to -2.5, so the slope is there.
        data = table("dfe_brazos")
        low = np.where(data["censored"] > 0, -np.inf, data["iron"])
        found = trends.mann_kendall(data["year"] * DAYS_PER_UNIT, data["iron"], low, data["iron"])
        assert found.s == -13
        assert -2.6 <= found.rate_per_year * PER_UNIT <= -2.5

    def test_readings_over_the_ceiling_do_not_hide_a_rise(self):
        time = np.arange(10) * 180.0
        truth = 90 + 2.0 * np.arange(10)
        value = np.minimum(truth, 98)
        high = np.where(truth > 98, np.inf, value)
        found = trends.mann_kendall(time, value, value, high)
        assert found.s == 10 + 5 * 5 - 5  # the pairs below, those across (98 itself ties), none above
        assert found.rate_per_year == pytest.approx(2 / 180 * YEAR, rel=0.05)

    def test_nothing_but_readings_over_the_ceiling_is_no_trend(self):
        time = np.arange(6) * 100.0
        found = trends.mann_kendall(time, np.full(6, 98.0), np.full(6, 98.0), np.full(6, np.inf))
        assert (found.s, found.p_value) == (0, 1)
        assert np.isnan(found.low)


class TestInvariances:
    @given(st.integers(0, 10**6), st.floats(0.1, 50), st.floats(-100, 100), st.randoms())
    def test_units_and_row_order_change_nothing(self, seed, scale, offset, random):
        time, value = visits(seed, years=11, slope=0.2)
        order = list(range(len(time)))
        random.shuffle(order)
        season = trends.season_of(time)
        found = trends.seasonal_kendall(time, value, season)
        other = trends.seasonal_kendall(time[order], (scale * value + offset)[order], season[order])
        assert (other.s, other.variance) == (found.s, pytest.approx(found.variance))
        assert other.p_value == pytest.approx(found.p_value)
        assert np.array([other.rate_per_year, other.low, other.high]) == pytest.approx(
            scale * np.array([found.rate_per_year, found.low, found.high]), rel=1e-6, abs=1e-9
        )

    @given(st.integers(0, 10**6), st.integers(-20000, 20000))
    def test_time_origin_changes_nothing(self, seed, days):
        time, value = visits(seed, years=11, slope=0.2)
        season = trends.season_of(time)
        found = trends.seasonal_kendall(time, value, season)
        other = trends.seasonal_kendall(time + days, value, season)
        assert (other.s, other.variance) == (found.s, pytest.approx(found.variance))
        assert other.rate_per_year == pytest.approx(found.rate_per_year)
        assert other.first == found.first + days

    @given(st.integers(0, 10**6))
    def test_a_mirror_turns_the_rate(self, seed):
        time, value = visits(seed, years=8, slope=0.2)
        season = trends.season_of(time)
        found, mirror = (trends.seasonal_kendall(time, sign * value, season) for sign in (1, -1))
        assert (mirror.s, mirror.p_value) == (-found.s, found.p_value)
        assert (mirror.low, mirror.high) == pytest.approx((-found.high, -found.low))


def test_trend_says_when_the_season_could_not_be_taken_out():
    time = 12000 + np.array([0, 100, 190, 280, 370, 460, 550.0])
    found = trends.trend(time, [1, 2, 3, 4, 5, 6, 7.0])
    assert np.isfinite(found.low)
    assert "too few visits to take the season out" in found.method
    few = trends.trend(time[:3], [1, 2, 3.0])
    assert np.isnan(few.low)
    assert "too few" in few.method


def test_seasons_begin_in_december():
    days = np.array(["2019-11-30", "2019-12-01", "2020-02-29", "2020-03-01", "2020-08-31"], "datetime64[D]")
    assert trends.season_of(days.astype(float)).tolist() == [3, 0, 0, 1, 2]
    assert trends.season_of(days.astype(float), 12).tolist() == [11, 0, 2, 3, 8]


def test_daily_takes_the_median_and_its_bounds():
    columns = {
        "time": [10.2, 10.7, 10.9, 11.0, 12.5, 12.6],
        "value": [4.0, 9.0, 5.0, 7.0, 98.0, 98.0],
        "low": [4.0, 9.0, 5.0, 7.0, 98.0, 98.0],
        "high": [4.0, 9.0, 5.0, 7.0, np.inf, np.inf],
    }
    words = ("quantity", "unit", "instrument", "point", "inspector")
    columns |= {name: [""] * 6 for name in words} | {"height_mm": [np.nan] * 6, "depth_mm": [np.nan] * 6}
    days = trends.daily(readings_from_columns(columns))
    assert days.time.tolist() == [10, 11, 12]
    assert days.value.tolist() == [5, 7, 98]
    assert days.high.tolist() == [5, 7, np.inf]
    assert days.n.tolist() == [3, 1, 2]


def by_month(value, month, year, per_year=12):
    """Seasonal Kendall of a regular table with every year 365 days long; rates per such year."""
    time = np.asarray(year) * 365.0 + np.round(np.asarray(month) * 365.0 / per_year)
    found = trends.seasonal_kendall(time, value, month)
    rates = (getattr(found, name) * 365 / YEAR for name in ("rate_per_year", "low", "high"))
    return replace(found, **dict(zip(("rate_per_year", "low", "high"), rates, strict=True)))
