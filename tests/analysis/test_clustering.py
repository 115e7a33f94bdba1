"""The factor for houses: nothing without evidence, much where coats are copies."""

import numpy as np
import pytest

from inspections.analysis.clustering import variance_ratio, variance_ratios


def ratio(value, house):
    centred = np.asarray(value, float) - np.mean(value)
    return float(variance_ratio(centred[:, None], np.asarray(house), np.array([(centred**2).sum()]))[0])


def test_houses_of_one_coat_add_nothing():
    assert ratio(np.random.default_rng(0).normal(size=50), np.arange(50)) == 1


def test_copies_multiply_the_variance_by_their_number():
    value = np.random.default_rng(1).normal(size=400)
    assert ratio(np.repeat(value, 3), np.repeat(np.arange(400), 3)) == pytest.approx(3, rel=0.1)


def test_coats_of_a_house_that_differ_more_than_others_narrow_nothing():
    value = np.random.default_rng(2).normal(size=100)
    assert ratio(np.column_stack([value, -value]).ravel(), np.repeat(np.arange(100), 2)) == 1


def test_independent_coats_are_hardly_widened():
    random = np.random.default_rng(3)
    ratios = [ratio(random.normal(size=90), np.arange(90) // 3) for _ in range(400)]
    assert np.sqrt(ratios).mean() < 1.06


def test_few_houses_count_for_less():
    value = np.random.default_rng(4).normal(size=40)
    many = ratio(np.repeat(value, 2), np.repeat(np.arange(40), 2))
    few = ratio(np.repeat(value[:8], 2), np.repeat(np.arange(8), 2))
    assert few > 1.2 * many


def test_the_house_is_a_name_only():
    value, house = np.random.default_rng(5).normal(size=60), np.arange(60) // 4
    assert ratio(value + house, house) == pytest.approx(ratio(value + house, 1000 - 7 * house))


def test_of_many_groups_each_has_its_own_factor():
    random = np.random.default_rng(5)
    group, house = random.permutation(np.arange(200) % 7), random.integers(-5, 5, 200)
    influence, variance = random.normal(size=(200, 3)) + house[:, None], random.uniform(1, 9, (7, 3))
    ratios = variance_ratios(influence, house, group, variance)
    assert ratios.max() > 2
    for one in range(7):
        own = group == one
        assert ratios[one] == pytest.approx(variance_ratio(influence[own], house[own], variance[one]))
