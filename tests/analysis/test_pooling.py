"""Pooled rates against a published meta-analysis, and what they hold."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr

from inspections.analysis.pooling import error_of, pooled_rates
from tests.analysis.published import table


def test_vaccine_trials():
    """Viechtbauer (2010), J. Stat. Softw. 36(3): REML tau2 .3132, mu -.7145 with error .1798."""
    data = table("bcg")
    treated, control = data["tpos"] + data["tneg"], data["cpos"] + data["cneg"]
    log_ratio = np.log(data["tpos"] / treated) - np.log(data["cpos"] / control)
    error = np.sqrt(1 / data["tpos"] - 1 / treated + 1 / data["cpos"] - 1 / control)
    found = pooled_rates(log_ratio, error)
    assert found.between_sd**2 == pytest.approx(0.3132433, abs=1e-5)
    assert (found.mean, found.mean_error) == pytest.approx((-0.7145, 0.1798), abs=5e-5)


def test_eight_schools():
    """Rubin (1981), table 2, and Gelman et al. (2013), Bayesian Data Analysis, table 5.3 (from memory).

    The posterior medians of schools A and C are about 10 and 7; their spread is not told from none.
    """
    effect = np.array([28.0, 8, -3, 7, -1, 1, 18, 12])
    error = np.array([15.0, 10, 16, 11, 9, 11, 10, 18])
    found = pooled_rates(effect, error)
    assert found.between_sd == pytest.approx(0, abs=1e-5)
    assert found.rate[[0, 2]] == pytest.approx([11, 6.5], abs=1.5)
    assert (found.low[0], found.high[0]) == pytest.approx((-2, 31), abs=3)


def test_school_calendars():
    """Konstantopoulos (2011), table 4, for studies alone; of three levels by restricted likelihood the R
    package metafor's own test of that example: estimate .185, error .085, variances .065 and .033."""
    data = table("school_calendars")
    error = np.sqrt(data["variance"])
    alone = pooled_rates(data["effect"], error)
    assert (alone.mean, alone.mean_error) == pytest.approx((0.128, 0.044), abs=5e-4)
    assert alone.between_sd**2 == pytest.approx(0.088, abs=5e-4)
    found = pooled_rates(data["effect"], error, data["district"])
    assert (found.mean, found.mean_error) == pytest.approx((0.185, 0.085), abs=5e-4)
    assert (found.house_sd**2, found.between_sd**2) == pytest.approx((0.065, 0.033), abs=5e-4)
    assert (found.sections, found.houses) == (56, 11)


def test_predictions_are_those_of_a_dense_normal_model():
    """A naive twin: the joint normal of rates and true rates, conditioned, averaged over a fine grid."""
    random = np.random.default_rng(8)
    house = np.array([1, 1, 1, 2, 2, 3, 3, 4, 5])
    error = random.uniform(0.2, 0.6, 9)
    rate = np.array([1.0, 1.3, 0.8, -0.2, 0.1, 0.5, 0.9, 0.2, np.nan])
    error[8] = np.nan
    found = pooled_rates(rate, error, house)
    known = np.isfinite(rate)
    y, v, labels = rate[known], error[known] ** 2, house[known]
    farthest = 6 * max(y.std(), np.sqrt(v.min()))
    spreads = (np.arange(50) + 0.5) / 50 * farthest
    ones = np.ones(len(y))
    means, variances, scores = [], [], []
    for within in spreads**2:
        for between in spreads**2:
            alike = between * (house[:, None] == house) + within * np.eye(9)
            cov = alike[np.ix_(known, known)] + np.diag(v)
            inverse = np.linalg.inv(cov)
            total = ones @ inverse @ ones
            mean = ones @ inverse @ y / total
            gain = alike[:, known] @ inverse
            beyond = 1 - gain @ ones
            means.append(mean + gain @ (y - mean))
            variances.append(np.diag(alike - gain @ alike[known]) + beyond**2 / total)
            rest = y - mean
            sign, log_size = np.linalg.slogdet(cov)
            scores.append(-0.5 * (log_size + np.log(total) + rest @ inverse @ rest))
            assert sign > 0
    chance = np.exp(np.array(scores) - max(scores))
    chance /= chance.sum()
    centre, sd = np.array(means), np.sqrt(variances)
    assert found.rate == pytest.approx(chance @ centre, abs=0.01)
    for end, at in ((found.low, 0.025), (found.high, 0.975)):
        assert chance @ ndtr((end - centre) / sd) == pytest.approx(np.full(9, at), abs=0.004)
    assert labels.size == found.sections == 8


def test_one_house_or_one_section_a_house_is_as_without_houses():
    random = np.random.default_rng(4)
    rate, error = random.normal(0.3, 0.5, 12), random.uniform(0.1, 1, 12)
    plain = pooled_rates(rate, error)
    for house in (np.zeros(12), np.arange(12)):
        found = pooled_rates(rate, error, house)
        assert found.rate == pytest.approx(plain.rate)
        assert (found.low, found.high) == (pytest.approx(plain.low), pytest.approx(plain.high))
        assert found.house_sd == 0


@pytest.mark.parametrize("alike", [0.0, 0.3, 1.0])
def test_limits_hold_what_they_say_where_houses_are_alike(alike):
    """800 sections in groups of five houses of four: 93 to 97 in 100, houses alike or not."""
    random = np.random.default_rng(12)
    house = np.repeat(np.arange(5), 4)
    hits = []
    for _ in range(40):
        truth = 0.2 + random.normal(0, alike, 5)[house] + random.normal(0, 0.3, 20)
        error = random.uniform(0.2, 0.8, 20)
        found = pooled_rates(random.normal(truth, error), error, house)
        hits.append((found.low <= truth) & (truth <= found.high))
    assert 0.93 < np.mean(hits) < 0.97


def test_sections_without_a_rate_get_the_mean_and_wide_limits():
    rate = np.array([1.0, 1.2, 0.8, 1.4, 0.9, 1.1, np.nan])
    error = np.array([0.1] * 6 + [np.nan])
    found = pooled_rates(rate, error)
    assert found.sections == 6
    assert found.rate[6] == pytest.approx(found.mean, abs=0.02)
    width = found.high - found.low
    assert width[6] > 2 * width[:6].max()


def test_few_sections_say_nothing_of_others():
    assert pooled_rates(np.array([1.0, 2, 3, 4, np.nan]), np.full(5, 0.5)) is None


@given(st.integers(0, 10**6), st.floats(0.1, 50), st.floats(-20, 20))
@settings(max_examples=20)
def test_units_and_order_change_nothing(seed, scale, offset):
    random = np.random.default_rng(seed)
    rate, error = random.normal(0.3, 0.5, 12), random.uniform(0.1, 1, 12)
    order = random.permutation(12)
    one, other = pooled_rates(rate, error), pooled_rates((scale * rate + offset)[order], scale * error[order])
    for name in ("rate", "low", "high"):
        assert getattr(other, name) == pytest.approx(
            (scale * getattr(one, name) + offset)[order], rel=1e-6, abs=1e-6
        )


def test_limits_hold_what_they_say():
    """Of 2,160 sections in groups of twelve, 95 % of the limits hold the true rate, whatever the spread."""
    random = np.random.default_rng(2)
    for spread in (0.0, 0.3, 1.0):
        hits = []
        for _ in range(60):
            truth, error = random.normal(0.2, spread, 12), random.uniform(0.2, 0.8, 12)
            found = pooled_rates(random.normal(truth, error), error)
            hits.append((found.low <= truth) & (truth <= found.high))
        # Where there is no spread the limits allow for some. Three standard errors of 0.95 in 720: 0.024.
        assert 0.95 - 0.024 < np.mean(hits) < 0.996


def test_error_behind_limits():
    assert error_of(np.array([-1.96]), np.array([1.96])) == pytest.approx([1.0], abs=1e-4)
