"""Sizes of trials, hidden bias and pooled trials, against published values and independent libraries."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.power import TTestPower

from inspections.analysis.hidden_bias import bias_to_explain, largest_p
from inspections.analysis.pooling_trials import leave_one_out, pool
from inspections.analysis.sizing import FEWEST_PAIRS, detectable, pairs_needed, power, upper_spread
from tests.analysis.published import table


@given(st.integers(3, 60), st.floats(0.05, 1.5))
def test_power_is_that_of_statsmodels(pairs: int, size: float) -> None:
    theirs = TTestPower().power(size, pairs, 0.05)
    assume(np.isfinite(theirs))
    assert power(pairs, size, 1.0) == pytest.approx(theirs, abs=1e-6)


@pytest.mark.parametrize("size", [0.2, 0.5, 0.8])
def test_the_pairs_needed_are_those_of_statsmodels(size: float) -> None:
    exact = TTestPower().solve_power(size, power=0.8, alpha=0.05)
    assert pairs_needed(size, 1.0) == int(np.ceil(exact))
    assert detectable(int(np.ceil(exact)), 1.0) == pytest.approx(size, rel=0.03)


def test_no_difference_needs_no_trial_and_a_plain_one_still_six_pairs() -> None:
    assert pairs_needed(0.0, 1.0) is None
    assert pairs_needed(1.0, np.inf) is None
    assert pairs_needed(1e-9, 1.0) is None
    assert pairs_needed(100.0, 1.0) == FEWEST_PAIRS
    assert detectable(FEWEST_PAIRS - 1, 1.0) is None


def test_the_upper_limit_of_a_spread_holds_it_four_times_in_five() -> None:
    """Browne (1995): sd √(df/χ²); checked by its own definition on normal samples."""
    rng = np.random.default_rng(5)
    spreads = rng.normal(0, 2.0, (4000, 6)).std(axis=1, ddof=1)
    assert np.mean([upper_spread(one, 5) >= 2.0 for one in spreads]) == pytest.approx(0.8, abs=0.02)
    assert upper_spread(1.0, 0) == np.inf


def test_many_pairs_of_one_size_follow_the_binomial_law() -> None:
    """110 of 122 discordant pairs (Hammond's smokers, Rosenbaum 2002, sec. 4.3.2); ours is normal."""
    signs = np.r_[np.ones(110), -np.ones(12)]
    for gamma in (4, 5, 6):
        exact = stats.binom.sf(109, 122, gamma / (1 + gamma))
        assert largest_p(signs, gamma) / 2 == pytest.approx(exact, rel=0.35)
    assert bias_to_explain(signs) == pytest.approx(5, abs=0.5)


def test_the_law_of_few_pairs_is_whole() -> None:
    """Eight pairs that all point one way: two-sided p is twice the chance of eight heads."""
    alike = np.ones(8)
    for gamma in (1.0, 1.5, 3.0):
        assert largest_p(alike, gamma) == pytest.approx(2 * (gamma / (1 + gamma)) ** 8)
    strength = bias_to_explain(alike)
    assert strength is not None
    assert largest_p(alike, strength) == pytest.approx(0.05, abs=1e-6)
    assert bias_to_explain(np.array([1.0, -1.0, 2.0])) is None


def bcg() -> tuple[np.ndarray, np.ndarray]:
    """Log relative risks of the 13 trials with their standard errors."""
    own = table("bcg")
    a, b, c, d = own["tpos"], own["tneg"], own["cpos"], own["cneg"]
    effect = np.log(a / (a + b)) - np.log(c / (c + d))
    return effect, np.sqrt(1 / a - 1 / (a + b) + 1 / c - 1 / (c + d))


def test_the_bcg_trials_pooled() -> None:
    """Viechtbauer (2010), J. Stat. Softw. 36(3): tau² .3132, Q 152.2330, I² 92.22 %; intervals by R."""
    found = pool(*bcg())
    assert found.between == pytest.approx(0.3132433, abs=2e-7)
    assert found.effect == pytest.approx(-0.7145, abs=5e-5)
    assert found.error == pytest.approx(0.1807917, abs=1e-7)
    assert (found.low, found.high) == pytest.approx((-1.108444, -0.320621), abs=1e-6)
    assert found.q == pytest.approx(152.2330, abs=5e-5)
    assert 100 * found.inconsistency == pytest.approx(92.22, abs=5e-3)
    assert found.weights.sum() == pytest.approx(1.0)


def test_leaving_one_out_pools_the_others() -> None:
    effect, error = bcg()
    without = leave_one_out(effect, error)
    assert len(without) == 13
    assert without[3].effect == pytest.approx(pool(np.delete(effect, 3), np.delete(error, 3)).effect)
    assert leave_one_out(effect[:2], error[:2]) == []


def test_like_trials_have_no_spread_between_them() -> None:
    found = pool([0.5, 0.5, 0.5], [0.2, 0.3, 0.4])
    assert (found.effect, found.between, found.inconsistency) == (pytest.approx(0.5), 0.0, 0.0)
    assert pool([0.1, 0.4], [0.2, 0.2]).trials == 2
    # Three that agree by chance are no surer than their own errors: 1/√(Σ 1/variance).
    assert found.error == pytest.approx((1 / 0.04 + 1 / 0.09 + 1 / 0.16) ** -0.5)
    with pytest.raises(ValueError, match="two trials"):
        pool([0.1], [0.2])
    with pytest.raises(ValueError, match="standard error"):
        pool([0.1, 0.2], [0.2, 0.0])
