"""What becomes of coats: the estimate of Aalen and Johansen where times are exact, known truth elsewhere."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.duration.survfunc import CumIncidenceRight

from inspections.analysis.failures import FAILED, REMOVED, STANDING, Coats, Lives
from inspections.analysis.fates import Fate, fates
from inspections.analysis.records import YEAR
from tests.lives.beside import FATES, judge_fates

AS_OF = 20_000.0


def book(n: int, seed: int, *, taken: float = 0.05) -> tuple[Coats, Lives]:
    """Coats put on up to 20 years ago, that fail on a day that is known, or are taken off before."""
    random = np.random.default_rng(seed)
    watched = random.uniform(2, 20, n)
    life = 14 * random.weibull(2.0, n)
    off = random.exponential(1 / taken, n) if taken else np.full(n, np.inf)
    state = np.where(life < np.minimum(off, watched), FAILED, np.where(off < watched, REMOVED, STANDING))
    low = np.minimum(np.minimum(life, off), watched)
    # All but exact: Turnbull's cells are shorter than a month's step by far.
    high = np.where(state == FAILED, low + 1e-4, np.inf)
    begun = AS_OF - watched * YEAR
    ended = np.where(state == REMOVED, begun + low * YEAR, np.inf)
    flags = np.zeros(n, dtype=bool)
    removed = state == REMOVED
    coats = Coats(np.arange(n), begun, begun, ended, removed, flags, flags, np.full(n, 8.0), removed)
    nothing = np.zeros(n)
    lives = Lives(nothing, low, high, state, low, nothing, nothing, np.ones(n, dtype=np.int64))
    return coats, lives


def found(coats: Coats, lives: Lives, a_house: int = 5) -> tuple[Fate, ...]:
    n = len(coats)
    return fates((), [()] * n, coats, lives, np.arange(n) // a_house, AS_OF)


def test_of_exact_times_it_is_aalen_and_johansens() -> None:
    coats, lives = book(400, 1)
    status = np.select([lives.state == FAILED, lives.state == REMOVED], [1, 2], 0)
    theirs = CumIncidenceRight(lives.low, status)
    for row in found(coats, lives):
        at = np.searchsorted(theirs.times, row.years, side="right") - 1
        # Theirs jumps at each failure; ours sums by the month.
        assert row.failed.estimate == pytest.approx(theirs.cinc[0][at], abs=0.003)
        assert row.taken_off.estimate == pytest.approx(theirs.cinc[1][at], abs=0.003)
        assert row.failed.estimate + row.taken_off.estimate + row.sound.estimate == pytest.approx(1)
        if 3 <= row.years <= 12:
            # Their pointwise error, of coats that are independent, as ours nearly is.
            reach = 1.96 * theirs.cinc_se[0][at]
            assert (row.failed.high - row.failed.low) / 2 == pytest.approx(reach, rel=0.7)


def test_shares_only_grow_and_intervals_hold_them() -> None:
    rows = found(*book(60, 2))
    for name in ("failed", "taken_off"):
        shares = [getattr(row, name).estimate for row in rows]
        assert (np.diff(shares) > -1e-9).all()
    for row in rows:
        for one in (row.failed, row.taken_off, row.sound):
            assert 0 <= one.low <= one.estimate <= one.high <= 1


def test_nothing_taken_off_has_an_exact_limit() -> None:
    rows = found(*book(60, 3, taken=0.0))
    first = rows[0]
    assert (first.taken_off.estimate, first.taken_off.low) == (0.0, 0.0)
    # Sixty coats or nearly, watched a year: 1 - 0.025 ** (1 / 60).
    assert first.taken_off.high == pytest.approx(1 - 0.025 ** (1 / 60), abs=0.005)
    assert [row.removals for row in rows] == [0] * len(rows)


def test_one_house_and_few_coats() -> None:
    coats, lives = book(20, 4)
    assert found(coats, lives, a_house=20)[3].failed.low is None
    few = Coats(*(getattr(coats, name)[:4] for name in coats.__slots__))
    assert found(few, Lives(*(getattr(lives, name)[:4] for name in lives.__slots__))) == ()


def test_intervals_hold_the_truth() -> None:
    failed, taken = judge_fates(FATES["60 coats"], 24, first=1001)
    # Were the three ages of a book independent, a binomial of 72 at 0.95 would be at least 63.
    assert sum(failed.held) >= 0.87 * len(failed.held)
    assert sum(taken.held) >= 0.87 * len(taken.held)
    assert abs(float(np.mean(failed.off))) < 0.03
    assert abs(float(np.mean(taken.off))) < 0.03
