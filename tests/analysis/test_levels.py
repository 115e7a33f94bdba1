"""One level a visit, whatever places were missed."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st

from inspections.analysis.levels import area_levels, levels_by_scale, wall_level
from tests.analysis.houses import joined, readings

HEIGHTS = np.array([300.0, 1000.0, 1700.0])
TRUTH = 50 + 4 * np.sin(np.arange(14)) + np.arange(14)
DAYS = 15000.0 + 91 * np.arange(14)


def wall(mask=None, noise=0.0, seed=0, effects=(12.0, 0.0, -9.0), **columns):
    """Readings at three heights on 14 days, where ``mask`` (14, 3) keeps them."""
    value = TRUTH[:, None] + np.array(effects)
    value = value + np.random.default_rng(seed).normal(0, noise, value.shape) if noise else value
    mask = np.ones(value.shape, dtype=bool) if mask is None else mask
    time = np.repeat(DAYS, 3).reshape(value.shape) + 0.4
    height = np.broadcast_to(HEIGHTS, value.shape)
    return readings(time[mask], value[mask], height_mm=height[mask], **columns)


@given(st.integers(0, 10**6))
def test_a_missed_height_moves_nothing(seed):
    random = np.random.default_rng(seed)
    mask = random.random((14, 3)) < 0.7
    mask[0] = True
    mask[np.arange(14), random.integers(0, 3, 14)] = True
    even = (10.5, 0.0, -10.5)
    whole, part = wall_level(wall(effects=even)), wall_level(wall(mask, effects=even))
    assert part.value - whole.value == pytest.approx(np.full(14, (part.value - whole.value)[0]), abs=1e-6)
    assert part.height_slope == pytest.approx(whole.height_slope)
    assert part.n.tolist() == mask.sum(axis=1).tolist()


def test_the_plain_mean_would_have_moved():
    mask = np.ones((14, 3), dtype=bool)
    mask[7, 0] = False
    level = wall_level(wall(mask))
    mean = (TRUTH[7] - 9 + TRUTH[7]) / 2
    steady = level.value[7] - TRUTH[7] - (level.value - TRUTH)[0]
    assert steady == pytest.approx(0, abs=1e-6)
    assert abs(mean - TRUTH[7] - 1) > 5


@given(st.integers(0, 10**6))
def test_agrees_with_a_two_way_analysis(seed):
    """Without outliers the visits' differences are those of least squares on two sets of dummies."""
    random = np.random.default_rng(seed)
    mask = random.random((14, 3)) < 0.8
    mask[:2] = True
    mask[np.arange(14), random.integers(0, 3, 14)] = True
    # Scatter of one size and either sign: nothing lies beyond Huber's limit.
    value = TRUTH[:, None] + np.array([12.0, 0.0, -9.0]) + random.choice([-1.0, 1.0], (14, 3))
    visit, place = np.nonzero(mask)
    design = np.column_stack([np.eye(14)[visit], np.eye(3)[place][:, 1:]])
    theirs = sm.OLS(value[mask], design).fit()
    if np.abs(theirs.resid).max() > 1.3 * np.median(np.abs(theirs.resid)):
        return
    level = wall_level(readings(DAYS[visit], value[mask], height_mm=HEIGHTS[place]))
    assert np.diff(level.value) == pytest.approx(np.diff(theirs.params[:14]), abs=1e-5)


def test_one_wild_reading_moves_its_visit_little():
    value = wall(noise=0.5, seed=1)
    wild = value.value.copy()
    wild[21] += 40
    spoilt = readings(value.time, wild, height_mm=value.height_mm)
    moved = wall_level(spoilt).value - wall_level(value).value
    assert abs(moved[7]) < 2
    assert np.abs(np.delete(moved, 7)).max() < 0.6


def test_fall_with_height():
    level = wall_level(wall(effects=(7.0, 0.0, -7.0)))
    assert level.height_slope == pytest.approx(-10)
    noisy = wall_level(wall(noise=1.0, seed=3, effects=(7.0, 0.0, -7.0)))
    assert abs(noisy.height_slope + 10) < 3 * noisy.height_slope_error
    assert np.isnan(wall_level(readings(DAYS, TRUTH, height_mm=300.0)).height_slope)


def test_repeats_are_merged_first():
    one, many = wall(), joined(wall(), wall(), wall())
    assert wall_level(many).value == pytest.approx(wall_level(one).value)
    assert wall_level(many).n.tolist() == [9] * 14


class TestOffTheScale:
    def test_a_height_over_the_ceiling_is_told_by_the_others(self):
        plain = wall()
        ceiling = 66.0
        over = plain.value > ceiling
        seen = np.minimum(plain.value, ceiling)
        cut = readings(plain.time, seen, seen, np.where(over, np.inf, seen), height_mm=plain.height_mm)
        level, whole = wall_level(cut), wall_level(plain)
        assert over.sum() >= 6
        assert np.array_equal(level.low, level.high)
        shift = level.value - whole.value
        assert np.ptp(shift) < 0.5

    def test_a_visit_all_over_the_ceiling_is_itself_over_a_bound(self):
        plain = wall()
        over = np.floor(plain.time) == DAYS[13]
        seen = np.where(over, 60.0, plain.value)
        cut = readings(plain.time, seen, seen, np.where(over, np.inf, seen), height_mm=plain.height_mm)
        level = wall_level(cut)
        assert level.high[13] == np.inf
        # The driest height, nine under the middle, is over 60: so the middle is over 69 (less a third of the
        # effects' own mean, which is one).
        assert level.low[13] == pytest.approx(69 + 1, abs=0.5)
        assert np.array_equal(level.low[:13], level.high[:13])

    def test_under_the_scale(self):
        low = readings(DAYS[:3], [5.0, 5.0, 9.0], [-np.inf, -np.inf, 9.0], [5.0, 5.0, 9.0])
        level = wall_level(low)
        assert level.low.tolist() == [-np.inf, -np.inf, 9]
        assert level.high.tolist() == [5, 5, 9]


def test_scales_are_never_mixed():
    mixed = joined(wall(), wall(unit="percent_mass", instrument="M2"))
    with pytest.raises(ValueError, match="one unit"):
        wall_level(mixed)
    levels = levels_by_scale(mixed)
    assert sorted(levels) == ["percent_mass", "relative"]
    assert levels["percent_mass"].instrument.tolist() == ["M2"] * 14


def test_places_that_were_never_read_together_are_said_to_be_so():
    early, late = readings(DAYS[:7], TRUTH[:7], point="a"), readings(DAYS[7:], TRUTH[7:], point="b")
    level = wall_level(joined(early, late))
    assert not level.connected
    assert level.value == pytest.approx(TRUTH)
    assert wall_level(wall()).connected


def test_areas_of_a_day_are_summed_with_their_bounds():
    areas = readings([15000.2, 15000.4, 15090], [0.2, 0.3, 0.4], [0.2, 0.3, 0.4], [0.2, np.inf, 0.4])
    total = area_levels(areas, np.zeros(3, dtype=np.int64), 1)[0]
    assert total.value == pytest.approx([0.5, 0.4])
    assert total.low == pytest.approx([0.5, 0.4])
    assert total.high.tolist() == [np.inf, 0.4]


@given(st.integers(0, 10**6), st.floats(0.1, 10), st.integers(-10000, 10000), st.randoms())
def test_unit_row_order_and_time_origin_change_nothing(seed, scale, days, random):
    plain = wall(noise=1.0, seed=seed)
    order = list(range(len(plain)))
    random.shuffle(order)
    other = readings(plain.time[order] + days, scale * plain.value[order], height_mm=plain.height_mm[order])
    one, two = wall_level(plain), wall_level(other)
    assert two.value == pytest.approx(scale * one.value, rel=1e-5)
    assert two.height_slope == pytest.approx(scale * one.height_slope, rel=1e-4, abs=1e-4)
    assert (two.time - days).tolist() == one.time.tolist()
