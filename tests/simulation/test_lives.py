"""Intervals of lives hold the truth as often as they say; ``python -m tests.simulation.lives`` says more."""

import numpy as np
import pytest

from tests.simulation.lives import Books, Tally, book, judge_curve, judge_weibull

COUNT = 120


@pytest.mark.parametrize("books", [Books(), Books(houses=30, alike=0.3)], ids=str)
def test_weibull_intervals_hold_the_truth(books):
    tallies, failures = judge_weibull(books, COUNT, seed=3)
    assert failures > 15
    for name, tally in tallies.items():
        assert tally.within_limits(), (name, tally)
    if not books.alike:
        assert all(tally.widened / tally.books < 1.1 for tally in tallies.values())


def test_the_curves_band_holds_the_truth():
    for name, tally in judge_curve(Books(houses=25), COUNT, seed=4).items():
        assert tally.within_limits(), (name, tally)


def test_books_have_the_life_that_is_asked_for():
    random = np.random.default_rng(0)
    lives = book(random, Books(houses=4000, alike=0.5, found=0.0, watched_least=90, watched_most=99))
    middle = (lives.low + lives.high)[lives.failed] / 2
    assert np.median(middle) == pytest.approx(20 * np.sqrt(np.log(2)), rel=0.03)
    by_house = middle[: len(middle) // 4 * 4].reshape(-1, 4)
    assert np.corrcoef(by_house[:, 0], by_house[:, 1])[0, 1] > 0.35


def test_limits_can_be_missed():
    assert Tally(books=120, held=114).within_limits()
    assert not Tally(books=120, held=100).within_limits()
