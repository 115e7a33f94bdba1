"""Pooled rates against a published meta-analysis, and what they hold."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

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
