"""Lives found from simulated books: a small version of ``python -m tests.lives.judge``."""

from __future__ import annotations

import numpy as np
import pytest

from inspections.analysis.failures import FAILED, lives
from tests.lives.judge import PLANS, judge
from tests.lives.simulated import THRESHOLD, Plan, simulate

BOOKS = 40
#: A binomial of 40 at 0.95 is at least 0.85 but for one time in a hundred; nine such looks are taken.
LEAST_HELD = 0.825
MOST_WIDER = 1.2


@pytest.mark.parametrize("name", ["as usual", "twice the error", "every three years"])
def test_intervals_hold_the_truth_and_are_not_wide(name: str) -> None:
    found = judge(PLANS[name], BOOKS, first=1001)
    assert min(found.held) >= LEAST_HELD
    assert max(found.wider) <= MOST_WIDER
    assert max(map(abs, found.off)) < 0.08


def test_failures_are_those_of_the_truth_but_near_the_threshold() -> None:
    """With error at every visit, few coats are called otherwise than they are, and as often either way."""
    book = simulate(Plan(coats=600), 3)
    found = lives(book.coats, book.areas, book.mended, THRESHOLD)
    failed, truly = found.state == FAILED, np.isfinite(book.high)
    assert np.mean(failed != truly) < 0.05
    assert abs(int((failed & ~truly).sum()) - int((~failed & truly).sum())) < 0.03 * len(failed)
    both = failed & truly
    middle = (found.low + found.high)[both] / 2 - (book.low + book.high)[both] / 2
    assert abs(float(np.median(middle))) < 0.1


def test_the_first_reading_over_the_threshold_would_come_too_early() -> None:
    """What the rule is for: taken at its first crossing, a coat would fail months too soon on the mean."""
    book = simulate(Plan(coats=600, noise=2.0, found=0.0, unsounded=0.0, gap=0.5), 4)
    found = lives(book.coats, book.areas, book.mended, THRESHOLD)
    truly = (book.low + book.high) / 2
    total: dict[tuple[int, float], float] = {}
    for section, day, area in zip(book.areas.section, book.areas.day, book.areas.low, strict=True):
        total[int(section), float(day)] = total.get((int(section), float(day)), 0.0) + float(area)
    crossed: dict[int, float] = {}
    for (section, day), area in sorted(total.items()):
        if area >= THRESHOLD * book.coats.area[section]:
            crossed.setdefault(section, (day - book.coats.begun[section]) / 365.2425)
    both = [one for one in crossed if found.state[one] == FAILED and np.isfinite(truly[one])]
    ours = np.array([(found.low[one] + found.high[one]) / 2 - truly[one] for one in both])
    naive = np.array([crossed[one] - truly[one] for one in both])
    assert naive.mean() < -0.25
    assert abs(ours.mean()) < 0.5 * abs(naive.mean())
