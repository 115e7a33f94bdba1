"""Repeated looks: what is counted, how limits are chosen, and that the flags of the product keep theirs."""

from __future__ import annotations

import numpy as np
import pytest

from inspections.analysis.alarms import LIMITS, Limits, is_open
from inspections.analysis.results import HYPOTHESES
from tests.simulation.looks import Watched, course, judgement, least_limits, watched_portfolio

STABLE = HYPOTHESES.index("stable")
LEVELS = Limits(opens=0.6, closes=0.3)


def wall(chances: list[float], so: list[bool], lost: float = 0.0) -> Watched:
    probability = np.zeros((len(chances), len(HYPOTHESES)))
    probability[:, 0], probability[:, STABLE] = chances, 1 - np.array(chances)
    return Watched(
        probability,
        probability.argmax(axis=1),
        np.where(so, 0, STABLE),
        np.full(len(chances), lost),
        np.zeros((len(chances), 0)),
    )


def test_a_flag_opens_and_closes_at_levels_that_lie_apart() -> None:
    chances = [0.5, 0.7, 0.4, 0.55, 0.2, 0.5, 0.6]
    state = course(wall(chances, [False] * 7), 0, LEVELS)
    assert state.tolist() == [False, True, True, True, False, False, True]
    assert not is_open(False, 0.9, False, LEVELS), "without the verdict nothing opens"
    for limits in LIMITS.values():
        assert 0 < limits.closes < limits.opens < 1


def test_openings_are_counted_against_the_truth_of_their_look() -> None:
    held = wall([0.1, 0.2, 0.7, 0.8, 0.8, 0.8], [False, True, True, True, True, True], lost=0.002)
    false = wall([0.7, 0.1, 0.7, 0.1, 0.1, 0.1], [False] * 6)
    missed = wall([0.1] * 6, [True] * 6)
    told = judgement([held, false, missed], "trapped_water", LEVELS)
    assert told.section_years == pytest.approx((1 + 6 + 0) / 2)
    assert (told.openings, told.false_openings, told.reopened) == (3, 2, 1)
    assert (told.open_looks, told.open_falsely) == (6, 2)
    assert (told.spells, told.spells_found, told.found_early) == (2, 1, 1)
    assert told.delay_years == pytest.approx(0.5)
    assert told.rate == pytest.approx(100 * 2 / 3.5)


def test_a_flag_that_outlasts_what_it_led_to_is_not_false() -> None:
    mended = wall([0.1, 0.7, 0.7, 0.7], [True, False, False, False])
    told = judgement([mended], "trapped_water", LEVELS)
    assert (told.false_openings, told.open_looks, told.open_falsely) == (1, 3, 0)
    long_ago = wall([0.1, 0.1, 0.1, 0.7, 0.7], [True, False, False, False, False])
    assert judgement([long_ago], "trapped_water", LEVELS).open_falsely == 2


def test_exact_limits_of_the_rate() -> None:
    """Garwood 1936: 2 events have the limits 0.2422 and 7.2247 (Johnson, Kotz & Kemp, table; from memory)."""
    told = judgement([wall([0.7, 0.1, 0.7, 0.1], [False] * 4)], "trapped_water", LEVELS)
    low, high = told.limits_of_rate
    assert low * told.section_years / 100 == pytest.approx(0.2422, abs=1e-4)
    assert high * told.section_years / 100 == pytest.approx(7.2247, abs=1e-4)


def test_the_least_level_within_the_bounds_is_chosen() -> None:
    quiet = [wall([0.1] * 40, [False] * 40) for _ in range(20)]
    loud = [wall([0.1] * 20 + [0.62] * 20, [False] * 40) for _ in range(3)]
    truly = [wall([0.9] * 40, [True] * 40) for _ in range(20)]
    by_generator = {"one": quiet + loud + truly, "two": quiet + truly}
    assert least_limits(by_generator, "trapped_water") == Limits(0.65, 0.46)
    assert least_limits({"two": quiet + truly}, "trapped_water").opens == 0.35


def test_the_products_flags_keep_their_bound_on_a_small_portfolio() -> None:
    """Three houses of ``blind``: at the bound, some two false openings are to be expected; eight would be
    a Poisson chance of one in a thousand."""
    walls = watched_portfolio("blind", 7, houses=3, years=8)
    assert sum(len(one.truth) for one in walls) > 100
    for verdict, limits in LIMITS.items():
        told = judgement(walls, verdict, limits)
        assert told.false_openings < 8
