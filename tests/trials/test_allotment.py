"""Inference by the lot, against Fisher's own example, SciPy's permutation test, and worked cases."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import stats

from inspections.analysis import allotment
from inspections.analysis.allotment import alike, difference, lots, smallest_p
from tests.analysis.published import table

A_FEW = st.integers(3, 6)


def pairs(differences: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Outcome, arm and block of pairs with these differences."""
    n = len(differences)
    outcome = np.ravel(np.column_stack((np.zeros(n), differences)))
    return outcome, np.tile([0, 1], n), np.repeat(np.arange(n), 2)


def test_darwins_maize_as_fisher_judged_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fisher (1935), The Design of Experiments, sec. 21: 863 of 32,768 sums reach 314, on one side."""
    monkeypatch.setattr(allotment, "MOST_EXACT", 40_000)
    found = difference(*pairs(table("darwin_maize")["diff_eighths_inch"]))
    assert found.estimate * 15 == pytest.approx(314)
    assert found.exact
    assert found.p_value == 2 * 863 / 32_768
    assert found.smallest_p == 2 / 32_768
    # The same data by Student: 0.0039 to 5.2294 inches (R, t.test); the lots give nearly the same.
    assert found.low / 8 == pytest.approx(0.0039, abs=0.05)
    assert found.high / 8 == pytest.approx(5.2294, abs=0.15)


def test_a_draw_of_the_allotments_comes_near_to_all() -> None:
    found = difference(*pairs(table("darwin_maize")["diff_eighths_inch"]))
    assert not found.exact
    assert found.p_value == pytest.approx(2 * 863 / 32_768, abs=0.005)
    assert found == difference(*pairs(table("darwin_maize")["diff_eighths_inch"]))


def test_a_block_of_four_by_hand() -> None:
    """Of the six ways to choose two of 1, 2, 3, 4, two put them furthest apart."""
    found = difference(np.array([1.0, 2.0, 3.0, 4.0]), np.array([0, 0, 1, 1]), np.zeros(4, dtype=int))
    assert (found.estimate, found.p_value, found.smallest_p) == (2.0, 2 / 6, 2 / 6)
    assert not found.by_lot
    assert found.freedom == 2


@pytest.mark.parametrize(("count", "least"), [(1, 1.0), (2, 0.5), (5, 2 / 32), (6, 2 / 64), (9, 2 / 512)])
def test_the_floor_of_pairs(count: int, least: float) -> None:
    outcome, arm, block = pairs(np.arange(1.0, count + 1))
    assert smallest_p(arm, block) == least
    assert difference(outcome, arm, block).p_value == least


def test_one_pair_has_no_interval() -> None:
    found = difference(*pairs(np.array([0.3])))
    assert found.estimate == pytest.approx(0.3)
    assert found.p_value == 1.0
    assert np.isnan([found.low, found.high, found.spread]).all()


def test_blocks_of_unlike_size_have_no_mirror_image() -> None:
    assert smallest_p(np.array([0, 1, 1, 0, 1]), np.array([0, 0, 0, 1, 1])) == 1 / 6


@settings(max_examples=50)
@given(st.data(), st.integers(2, 6))
def test_pairs_are_judged_as_scipy_judges_them(data: st.DataObject, count: int) -> None:
    own = data.draw(arrays(float, count, elements=st.integers(-20, 20).map(float)))
    theirs = stats.permutation_test(
        (own,), np.mean, permutation_type="samples", n_resamples=np.inf, alternative="two-sided"
    )
    assert difference(*pairs(own)).p_value == pytest.approx(min(theirs.pvalue, 1.0), abs=1e-12)


@settings(max_examples=50)
@given(st.data(), st.integers(2, 4), st.integers(2, 4))
def test_one_block_is_judged_as_scipy_judges_it(data: st.DataObject, first: int, second: int) -> None:
    values = data.draw(arrays(float, first + second, elements=st.integers(-20, 20).map(float)))
    arm = np.repeat([0, 1], [first, second])

    def apart(a: np.ndarray, b: np.ndarray, axis: int = -1) -> np.ndarray:
        return np.abs(b.mean(axis=axis) - a.mean(axis=axis))

    theirs = stats.permutation_test(
        (values[arm == 0], values[arm == 1]),
        apart,
        n_resamples=np.inf,
        alternative="greater",
        vectorized=True,
    )
    assert difference(values, arm, np.zeros(len(arm), dtype=int)).p_value == pytest.approx(theirs.pvalue)


@settings(max_examples=50)
@given(st.data(), A_FEW, st.floats(-50, 50), st.floats(0.1, 50))
def test_units_origin_and_order_change_nothing(
    data: st.DataObject, count: int, shift: float, scale: float
) -> None:
    whole = data.draw(arrays(float, 2 * count, elements=st.integers(-20, 20).map(float)))
    arm, block = np.tile([0, 1], count), np.repeat(np.arange(count), 2)
    order = data.draw(st.permutations(range(2 * count)))
    first = difference(whole, arm, block)
    other = difference((whole * scale + shift)[order], arm[order], block[order])
    assert other.p_value == pytest.approx(first.p_value)
    assert other.estimate == pytest.approx(first.estimate * scale, abs=1e-6)
    assert other.low == pytest.approx(first.low * scale, abs=1e-4 * scale, nan_ok=True)
    swapped = difference(whole, 1 - arm, block)
    assert swapped.estimate == pytest.approx(-first.estimate)
    assert swapped.p_value == first.p_value


def test_the_interval_holds_the_shifts_that_are_not_refused() -> None:
    rng = np.random.default_rng(3)
    outcome, arm, block = pairs(rng.normal(1, 1, 9))
    found = difference(outcome, arm, block)
    for shift, held in ((found.low + 1e-6, True), (found.high - 1e-6, True)):
        assert (difference(outcome - shift * arm, arm, block).p_value >= 0.05) == held
    for shift in (found.low - 0.05, found.high + 0.05):
        assert difference(outcome - shift * arm, arm, block).p_value < 0.05


def test_the_adjusted_estimate_is_that_of_least_squares() -> None:
    rng = np.random.default_rng(4)
    arm, block, x = np.tile([0, 1], 8), np.repeat(np.arange(8), 2), rng.normal(size=16)
    outcome = 0.5 * arm + 2 * x + block + rng.normal(0, 0.1, 16)
    columns = np.column_stack((arm, x, block[:, None] == np.arange(8)))
    assert difference(outcome, arm, block, x).estimate == pytest.approx(
        np.linalg.lstsq(columns, outcome)[0][0]
    )
    assert difference(outcome, arm, block, x).spread < difference(outcome, arm, block).spread / 3


def test_three_arms_are_judged_by_what_they_explain() -> None:
    """Blocks of three that agree in full: of 6³ orders the six names of one order are as extreme."""
    arm, block = np.tile([0, 1, 2], 3), np.repeat(np.arange(3), 3)
    assert alike(np.tile([1.0, 2.0, 9.0], 3), arm, block) == 6 / 6**3
    assert len(lots(arm, block).arms) == 6**3
    assert alike(np.zeros(9), arm, block) == 1.0


def test_what_cannot_be_compared_is_said() -> None:
    with pytest.raises(ValueError, match="no block holds both arms"):
        difference(np.zeros(4), np.array([0, 0, 1, 1]), np.array([0, 0, 1, 1]))
    with pytest.raises(ValueError, match="say the same"):
        difference(np.arange(4.0), np.array([0, 1, 0, 1]), np.array([0, 0, 1, 1]), np.array([0.0, 1, 0, 1]))
