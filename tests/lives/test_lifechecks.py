"""Planned removals that may hide failures, and visits that were made because of a wall's state."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from inspections.analysis.failures import FAILED, Areas, Mended, coat_on
from inspections.analysis.lifechecks import (
    PLANNED_VISITS,
    RECORDED,
    REMOVALS_FAILED,
    Book,
    LifeCheck,
    life_checks,
    on_rounds,
)
from tests.lives import books
from tests.lives.beside import VISITS, checked, judge_visits
from tests.lives.books import THRESHOLD, years
from tests.lives.simulated import Plan, simulate

DAY = dt.date(2020, 1, 1)
PUT_ON = "2010-06-01"


def by_hand(*removals: tuple[str | None, str]) -> Book:
    """Five coats sound in 2012, one failed in 2014, and one for each removal (day, reason)."""
    book = books.Book()
    for _ in range(5):
        book.coat(PUT_ON, {"2012-06-01": (0.1, 0.0), "2016-06-01": (0.1, 0.0)})
    book.coat(PUT_ON, {"2012-06-01": (0.1, 0.0), "2014-06-01": (2.0, 0.0)})
    for removed, reason in removals:
        book.coat(PUT_ON, {"2012-06-01": (0.1, 0.0)}, removed=removed, reason=reason)
    n = len(book.coats)
    section, when, hollow, low, high = (np.array(column) for column in zip(*book.areas, strict=True))
    areas = Areas(section.astype(int), when, hollow.astype(bool), low, high)
    mended = Mended(np.zeros(0, dtype=int), np.zeros(0), np.zeros(0))
    return Book(book.systems(), areas, mended, THRESHOLD, book.lives(), [()] * n, np.arange(n))


def found(book: Book) -> dict[str, LifeCheck]:
    rounds = np.ones(len(book.areas.day), dtype=bool)
    return {one.case: one for one in life_checks((), book, rounds, DAY)}


def test_all_that_were_taken_off_as_planned_have_failed_by_then() -> None:
    """As if removed as failed, since the last sound visit; those taken off for another reason have not."""
    cases = found(by_hand(("2015-06-01", "planned"), ("2015-06-01", "damage"), ("2015-06-01", "other")))
    recorded, bound = cases[RECORDED].rates, cases[REMOVALS_FAILED].rates
    assert (recorded.failures, bound.failures) == (1, 2)
    half = (years(PUT_ON, "2012-06-01") + years(PUT_ON, "2015-06-01")) / 2
    assert recorded.section_years - bound.section_years == pytest.approx(years(PUT_ON, "2015-06-01") - half)
    assert "1 coat was taken off as planned" in cases[REMOVALS_FAILED].note
    assert cases[REMOVALS_FAILED].differs is None


def test_a_planned_removal_after_a_failure_changes_nothing() -> None:
    cases = found(by_hand(("2015-06-01", "failed")))
    assert cases[RECORDED].rates == cases[REMOVALS_FAILED].rates
    assert cases[REMOVALS_FAILED].note == "None was taken off as planned while it was sound."


def test_the_bound_lies_under_what_is_recorded_and_under_the_truth() -> None:
    for seed in range(5):
        cases = {one.case: one for one in checked(Plan(planned=0.4), seed)}
        recorded, bound = (cases[case].rates for case in (RECORDED, REMOVALS_FAILED))
        assert bound.failures > recorded.failures
        assert bound.weibull.median.estimate < recorded.weibull.median.estimate
        for one, other in zip(bound.survival, recorded.survival, strict=False):
            assert one.survival <= other.survival + 1e-9
        assert cases[REMOVALS_FAILED].times_as_long.high < 1


def test_marked_visits_are_left_out_of_the_third_case_alone() -> None:
    book = by_hand()
    late = book.areas.day > books.day("2013-01-01")
    prompted = replace(book.areas, prompted=late & (book.areas.section == 5))
    cases = found(replace(book, areas=prompted))
    assert cases[RECORDED].rates.failures == 1
    assert cases[PLANNED_VISITS].rates.failures == 0
    assert "visits marked as made because of a flag" in cases[PLANNED_VISITS].note
    assert "2 readings" in cases[PLANNED_VISITS].note
    assert cases[PLANNED_VISITS].differs is None


def test_failures_that_bring_visits_make_lives_look_shorter() -> None:
    """With visits every three years and failures noticed at once; planned visits alone tell the truth."""
    every, planned, differ = judge_visits(VISITS["eight in ten failures noticed"], 16, first=1001)
    assert float(np.mean(every.off)) < -0.06
    assert abs(float(np.mean(planned.off))) < 0.04
    # A binomial of 16 at 0.95 is at least 13 but for one time in a hundred.
    assert sum(planned.held) >= 13
    assert sum(every.held) < sum(planned.held)
    assert differ > 0.5


def test_visits_that_look_at_no_state_are_not_said_to_differ() -> None:
    """A third of all visits, drawn by lot, are marked: the lives differ by chance alone."""
    plan, differ = Plan(coats=60), []
    random = np.random.default_rng(5)
    for seed in range(12):
        book = simulate(plan, seed)
        _, visit = np.unique(
            np.column_stack([book.house[book.areas.section], book.areas.day]), axis=0, return_inverse=True
        )
        lot = random.random(int(visit.max()) + 1) < 1 / 3
        areas = replace(book.areas, prompted=lot[visit.reshape(-1)])
        house = book.house.astype(int)
        lives = by_hand().lives
        told = Book(book.coats, areas, book.mended, THRESHOLD, lives, [()] * len(house), house)
        told = replace(told, lives=_lives(told))
        (check,) = (one for one in life_checks((), told, lot[visit], DAY) if one.case == PLANNED_VISITS)
        differ.append(check.differs)
    # A binomial of 12 at 0.05 is at most 3 but for two times in a thousand.
    assert sum(one is True for one in differ) <= 3
    assert sum(one is None for one in differ) <= 2


def _lives(book: Book):  # type: ignore[no-untyped-def]
    from inspections.analysis.failures import lives

    return lives(book.coats, book.areas, book.mended, book.threshold)


def test_rounds_are_visits_that_surveyed_half_of_a_house() -> None:
    """Against a count coat by coat and day by day."""
    book = simulate(Plan(coats=80, prompted=0.8, gap=2.0), 3)
    house = book.house.astype(int)
    ours = on_rounds(book.coats, house, book.areas)
    of = coat_on(book.coats, book.areas.section, book.areas.day)
    for row in np.random.default_rng(1).choice(len(of), 200, replace=False).tolist():
        if of[row] < 0:
            assert not ours[row]
            continue
        day, here = book.areas.day[row], house[of[row]]
        stood = (house == here) & (book.coats.begun < day) & (day <= book.coats.ended)
        surveyed = {
            int(of[one])
            for one in np.flatnonzero((book.areas.day == day) & (of >= 0))
            if house[of[one]] == here
        }
        assert ours[row] == (len(surveyed) >= 0.5 * stood.sum())
    assert 0.5 < ours.mean() < 1.0


def test_where_no_visit_is_marked_rounds_serve() -> None:
    book = simulate(Plan(coats=80, prompted=0.8, gap=3.0, unsounded=0.0), 4)
    unmarked = replace(book.areas, prompted=np.zeros(len(book.areas.day), dtype=bool))
    house = book.house.astype(int)
    told = Book(book.coats, unmarked, book.mended, THRESHOLD, by_hand().lives, [()] * len(house), house)
    told = replace(told, lives=_lives(told))
    rounds = on_rounds(book.coats, house, unmarked)
    cases = {one.case: one for one in life_checks((), told, rounds, DAY)}
    assert "no visit is marked" in cases[PLANNED_VISITS].note
    times = cases[PLANNED_VISITS].times_as_long.estimate
    assert times is not None
    assert times > 1
    # Visits of one wall alone are what failures brought.
    assert book.areas.prompted[~rounds].mean() > 0.9


def test_without_coats_or_failures() -> None:
    nothing = np.zeros(0)
    sound = by_hand()
    coats, none = sound.coats, sound.lives.state != FAILED
    kept = np.flatnonzero(none)
    few = Book(
        type(coats)(*(getattr(coats, name)[kept] for name in coats.__slots__)),
        sound.areas,
        Mended(nothing.astype(int), nothing, nothing),
        THRESHOLD,
        type(sound.lives)(*(getattr(sound.lives, name)[kept] for name in sound.lives.__slots__)),
        [()] * len(kept),
        np.arange(len(kept)),
    )
    for one in life_checks((), few, np.zeros(len(few.areas.day), dtype=bool), DAY):
        assert one.rates.failures == 0
        assert one.differs is None
        assert one.as_json()["weibull"]["median"]["estimate"] is None
