"""Random intercepts and slopes against published fits and statsmodels."""

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.regression.mixed_linear_model import MixedLM

from inspections.analysis.mixed import mixed_fit
from tests.analysis.published import table


def lines(time):
    return np.column_stack([np.ones(len(time)), time])


class TestPublished:
    def test_sleepstudy(self):
        # Bates, Maechler, Bolker and Walker (2015), J. Stat. Softw. 67(1): a line of days a subject.
        data = table("sleepstudy")
        fit = mixed_fit(data["subject"], data["days"], lines(data["days"]), data["reaction_ms"])
        assert fit.coefficients == pytest.approx([251.405, 10.467], abs=5e-4)
        assert np.sqrt(np.diag(fit.covariance)) == pytest.approx([6.825, 1.546], abs=5e-4)
        assert np.sqrt(np.diag(fit.between)) == pytest.approx([24.740658, 5.922138], rel=2e-5)
        assert fit.between[0, 1] / np.sqrt(np.prod(np.diag(fit.between))) == pytest.approx(0.066, abs=5e-4)
        assert fit.within == pytest.approx(654.94, rel=1e-5)
        assert -2 * fit.log_likelihood == pytest.approx(1743.6283, abs=1e-4)
        # R lme4 1.1-31 and statsmodels 0.15: subject 308 is the first.
        assert fit.effects[0] == pytest.approx([2.25855, 9.19898], rel=2e-5)

    def test_orthodont(self):
        # Pinheiro and Bates (2000), Mixed-Effects Models in S and S-PLUS: distance ~ age - 11.
        data = table("orthodont")
        time = data["age"] - 11
        fit = mixed_fit(np.repeat(np.arange(27), 4), time, lines(time), data["distance_mm"])
        assert fit.coefficients == pytest.approx([24.02315, 0.660185], rel=1e-6)
        assert np.sqrt(np.diag(fit.covariance)) == pytest.approx([0.42966, 0.071253], rel=2e-5)
        assert np.sqrt(np.diag(fit.between)) == pytest.approx([2.134329, 0.226428], rel=1e-4)
        assert np.sqrt(fit.within) == pytest.approx(1.310040, rel=1e-4)

    @pytest.mark.parametrize(
        ("name", "value", "mean", "between", "within"),
        [
            # Pinheiro and Bates (2000), p. 8; Davies and Goldsmith (1972), table 6.1.
            ("rail", "travel_ns", 66.5, 24.80547, 4.020779),
            ("dyestuff", "yield", 1527.5, 42.0006, 49.5101),
        ],
    )
    def test_intercepts_alone(self, name, value, mean, between, within):
        """At one time there is no slope to tell of."""
        data = table(name)
        ones = np.ones((len(data[value]), 1))
        group = np.repeat(np.arange(6), len(ones) // 6)
        fit = mixed_fit(group, np.zeros(len(ones)), ones, data[value])
        assert fit.coefficients == pytest.approx([mean])
        assert np.sqrt(fit.between[0, 0]) == pytest.approx(between, rel=1e-4)
        assert np.sqrt(fit.within) == pytest.approx(within, rel=1e-4)


@given(st.integers(0, 10**6))
@settings(max_examples=8, deadline=None)
def test_agrees_with_statsmodels(seed):
    random = np.random.default_rng(seed)
    group = np.repeat(np.arange(25), random.integers(3, 9, 25))
    time = random.uniform(-3, 3, len(group))
    effects = random.multivariate_normal([0, 0], [[2, 0.3], [0.3, 0.5]], 25)
    value = 5 + 0.4 * time + effects[group, 0] + effects[group, 1] * time + random.normal(size=len(group))
    shuffled = random.permutation(len(group))
    fit = mixed_fit(group[shuffled], time[shuffled], lines(time)[shuffled], value[shuffled])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = MixedLM(value, lines(time), group, exog_re=lines(time)).fit(reml=True)
    assert fit.log_likelihood == pytest.approx(theirs.llf, abs=1e-5)
    assert fit.coefficients == pytest.approx(np.asarray(theirs.fe_params), rel=1e-3, abs=1e-4)
    assert fit.between == pytest.approx(np.asarray(theirs.cov_re), rel=5e-3, abs=5e-3)
    for label, effect in zip(fit.groups, fit.effects, strict=True):
        assert effect == pytest.approx(np.asarray(theirs.random_effects[label]), rel=5e-3, abs=5e-3)


class TestInvariances:
    def test_units_and_time_origin(self):
        random = np.random.default_rng(3)
        group, time = np.repeat(np.arange(30), 6), random.uniform(0, 8, 180)
        value = 20 + random.normal(0, 1, 30)[group] + random.normal(0.3, 0.2, 30)[group] * time
        value += random.normal(size=180)
        slope = np.zeros((30, 2)), np.tile([0.0, 1.0], (30, 1))
        found = mixed_fit(group, time, lines(time), value)
        other = mixed_fit(group, time + 2000, lines(time + 2000), 10 * value + 5)
        one, error = found.predict(slope[1], slope[1])
        ten, wider = other.predict(slope[1], slope[1])
        assert ten == pytest.approx(10 * one, rel=1e-5)
        assert wider == pytest.approx(10 * error, rel=1e-4)

    def test_prediction_error_is_that_of_the_whole_system(self):
        """Henderson's mixed model equations, solved outright."""
        random = np.random.default_rng(4)
        group, time = np.repeat(np.arange(8), 5), random.uniform(-2, 2, 40)
        value = random.normal(size=8)[group] + random.normal(size=8)[group] * time + random.normal(size=40)
        fit = mixed_fit(group, time, lines(time), value)
        z = np.zeros((40, 16))
        z[np.arange(40), 2 * group], z[np.arange(40), 2 * group + 1] = 1.0, time
        whole = np.column_stack([lines(time), z])
        system = whole.T @ whole / fit.within
        system[2:, 2:] += np.kron(np.eye(8), np.linalg.inv(fit.between))
        slope = np.tile([0.0, 1.0], (8, 1))
        value_of, error = fit.predict(slope, slope)
        solved, inverse = np.linalg.solve(system, whole.T @ value / fit.within), np.linalg.inv(system)
        for i in range(8):
            row = np.zeros(18)
            row[[1, 3 + 2 * i]] = 1.0
            assert value_of[i] == pytest.approx(row @ solved, rel=1e-6)
            assert error[i] == pytest.approx(np.sqrt(row @ inverse @ row), rel=1e-6)

    def test_dependent_columns_are_refused(self):
        time = np.arange(12.0)
        design = np.column_stack([np.ones(12), time, 2 * time])
        with pytest.raises(ValueError, match="told apart"):
            mixed_fit(np.repeat([0, 1, 2], 4), time, design, time**2)
