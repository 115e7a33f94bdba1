"""How damp walls were before: ranks in their house, which no change of a meter's scale moves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm, rankdata

from inspections.analysis.dampness import Damp, dampness_before
from inspections.analysis.failures import Coats
from inspections.analysis.records import YEAR

BEGUN = 15_000.0


def coats(n: int, *, found: tuple[int, ...] = (), begun: float = BEGUN) -> Coats:
    days = np.full(n, begun)
    flags = np.zeros(n, dtype=bool)
    was = np.isin(np.arange(n), found)
    return Coats(np.arange(n), days, days, np.full(n, np.inf), flags, flags, was, np.full(n, 8.0))


def damp(values: list[list[float]], *, day: float = BEGUN - 100) -> Damp:
    """Walls of one house, each read at places in order."""
    walls, places = np.array(values).shape
    section = np.repeat(np.arange(walls), places)
    count = len(section)
    return Damp(
        section,
        np.zeros(count, dtype=np.int64),
        np.full(count, day),
        np.tile(np.arange(places), walls),
        np.array(values).ravel(),
        np.zeros(count),
    )


def test_normal_scores_of_ranks() -> None:
    values = [[40.0], [55.0], [47.0], [55.0], [20.0]]
    expected = norm.ppf((rankdata([40, 55, 47, 55, 20]) - 0.375) / 5.25)
    np.testing.assert_allclose(dampness_before(damp(values), coats(5)), expected)


def test_no_change_of_scale_moves_it() -> None:
    readings = damp(np.random.default_rng(1).normal(50, 10, (6, 3)).tolist())
    first = dampness_before(readings, coats(6))
    bent = replace(readings, value=np.exp(readings.value / 7) * (1 + readings.place))
    np.testing.assert_allclose(dampness_before(bent, coats(6)), first)


def test_meters_days_and_houses_are_not_compared() -> None:
    """Walls of a second house, read all wetter and with another meter, stand in the middle too."""
    here = damp([[40.0], [50.0], [60.0]])
    there = damp([[840.0], [850.0], [860.0]])
    both = Damp(*(np.r_[getattr(here, name), getattr(there, name)] for name in Damp.__slots__))
    both = replace(both, section=np.arange(6), house=np.repeat([0, 1], 3), place=np.repeat([0, 7], 3))
    found = dampness_before(both, coats(6))
    np.testing.assert_allclose(found[:3], found[3:])
    assert found[1] == pytest.approx(0.0)


def test_a_reading_beyond_the_scale_is_the_wettest_and_no_number() -> None:
    readings = damp([[98.0], [97.0], [50.0], [98.0]])
    beyond = replace(readings, beyond=np.array([1.0, 0.0, 0.0, 1.0]))
    found = dampness_before(beyond, coats(4))
    assert found[0] == found[3] > found[1] > found[2]
    # The limit that was written beside it doesn't count.
    other = replace(beyond, value=np.array([5.0, 97.0, 50.0, 7.0]))
    np.testing.assert_allclose(dampness_before(other, coats(4)), found)


def test_only_the_years_before_the_coat_count() -> None:
    dry_first = damp([[1.0], [2.0], [3.0]])
    assert np.isfinite(dampness_before(dry_first, coats(3))).all()
    for begun in (BEGUN - 101, BEGUN + 5.1 * YEAR):
        assert np.isnan(dampness_before(dry_first, coats(3, begun=begun))).all()
    # Also not known: of a coat that was found, and of walls that can't be ranked.
    assert np.isnan(dampness_before(dry_first, coats(3, found=(1,)))).tolist() == [False, True, False]
    assert np.isnan(dampness_before(damp([[1.0], [2.0]]), coats(2))).all()


def test_days_and_places_are_averaged() -> None:
    first, second = damp([[1.0], [2.0], [3.0]]), damp([[3.0], [2.0], [1.0]], day=BEGUN - 50)
    both = Damp(*(np.r_[getattr(first, name), getattr(second, name)] for name in Damp.__slots__))
    np.testing.assert_allclose(dampness_before(both, coats(3)), 0.0, atol=1e-12)
