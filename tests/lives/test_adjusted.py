"""Groups beside each other on like walls: a favoured coat is not called the better one."""

from __future__ import annotations

import numpy as np
import pytest

from inspections.analysis.adjusted import like_for_like
from inspections.analysis.failures import FAILED, STANDING, Lives


def book(
    seed: int, *, favoured: float, truly: float, n: int = 400
) -> tuple[list[tuple[str]], Lives, list[str]]:
    """Coats A and B; on soil all last half as long. ``favoured``: the share of B's walls on soil."""
    rng = np.random.default_rng(seed)
    second = np.arange(n) % 2 == 1
    soil = rng.random(n) < np.where(second, favoured, 0.5)
    life = 14.0 * rng.weibull(2.5, n) * np.where(soil, 0.5, 1.0) * np.where(second, truly, 1.0)
    low = np.floor(np.minimum(life, 20.0))
    failed = life < 20.0
    nothing = np.zeros(n)
    lives = Lives(
        nothing,
        low,
        np.where(failed, low + 1, np.inf),
        np.where(failed, FAILED, STANDING),
        low,
        nothing,
        nothing,
        np.ones(n, dtype=np.int64),
    )
    return [("B",) if one else ("A",) for one in second], lives, ["soil" if one else "street" for one in soil]


def times(seed: int, *, taken_out: bool, **options: float) -> tuple[float, float]:
    group, lives, adjoins = book(seed, **options)
    house = np.arange(len(group)) // 4
    found = like_for_like(group, lives, house, {"adjoins": adjoins} if taken_out else {})
    assert found is not None
    (interval,) = found.times.values()
    assert interval.low is not None
    assert interval.high is not None
    ends = (interval.low, interval.high)
    return ends if found.reference == ("A",) else (1 / ends[1], 1 / ends[0])


def test_a_favoured_coat_is_not_called_better_on_like_walls() -> None:
    low, _ = times(1, taken_out=False, favoured=0.1, truly=1.0)
    assert low > 1.0
    low, high = times(1, taken_out=True, favoured=0.1, truly=1.0)
    assert low < 1.0 < high


def test_a_better_coat_on_worse_walls_is_found() -> None:
    low, high = times(2, taken_out=True, favoured=0.9, truly=1.5)
    assert low < 1.5 < high
    assert low > 1.0


def test_intervals_hold_the_truth() -> None:
    held = [
        low <= 1.3 <= high
        for low, high in (times(seed, taken_out=True, favoured=0.2, truly=1.3, n=120) for seed in range(40))
    ]
    # A binomial of 40 at 0.95 is at least 34 but for one time in a hundred.
    assert sum(held) >= 34


@pytest.mark.parametrize("n", [0, 4, 8])
def test_too_little_to_compare(n: int) -> None:
    group, lives, adjoins = book(3, favoured=0.5, truly=1.0, n=n)
    assert like_for_like(group, lives, np.arange(n), {"adjoins": adjoins}) is None
