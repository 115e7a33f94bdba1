"""Lives that contradict themselves are refused with their place."""

import numpy as np
import pytest

from inspections.analysis.lifetimes import Lifetimes
from tests.analysis.lives import INF, coats


@pytest.mark.parametrize(
    ("entry", "low", "high", "message"),
    [
        ([0, -1], [1, 2], [2, 3], "coat 1: entry must be 0 or later"),
        ([0, np.nan], [1, 2], [2, 3], "coat 1: entry must be 0 or later, and known"),
        ([0, 0], [1, np.nan], [2, 3], "coat 1: low must be known"),
        ([0, 0], [1, INF], [2, INF], "coat 1: low must be known"),
        ([0, 3], [1, 2], [2, 4], "coat 1: low must not lie before entry"),
        ([0, 0], [1, 3], [2, 2], "coat 1: high must not lie before low"),
        ([0, 0], [1, 3], [2, np.nan], "coat 1: high must not lie before low"),
        ([0, 3], [1, 3], [2, 3], "coat 1: a coat can't have failed by the day"),
        ([0, 0], [1, 0], [2, 0], "coat 1: a coat can't have failed by the day"),
    ],
)
def test_contradictions_name_the_coat(entry, low, high, message):
    with pytest.raises(ValueError, match=message):
        Lifetimes(entry, low, high, [0, 1])


def test_lengths_must_agree():
    with pytest.raises(ValueError, match="one length"):
        Lifetimes([0], [1, 2], [2, 3], [0, 1])


def test_a_part_of_the_coats():
    lives = coats([1, 2, 3], [2, 2, INF], cluster=[5, 5, 6])
    assert (len(lives), lives.failures, lives.clusters) == (3, 2, 2)
    assert lives.exact.tolist() == [False, True, False]
    part = lives.of(lives.failed)
    assert (part.low.tolist(), part.clusters) == ([1, 2], 1)
    assert lives.of([2]).high.tolist() == [INF]
