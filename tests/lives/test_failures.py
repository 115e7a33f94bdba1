"""The failure rule, one book worked by hand for each of its clauses."""

from __future__ import annotations

import numpy as np
import pytest

from inspections.analysis.failures import (
    BEFORE,
    FAILED,
    REMOVED,
    STANDING,
    Areas,
    Coats,
    Layers,
    Lives,
    Mended,
    lives,
    systems,
)
from tests.lives.books import Book, day, years

PUT_ON = "2010-06-01"


def check(found: Lives, state: str, low: float, high: float, at_risk: float, entry: float = 0.0) -> None:
    assert found.state[0] == state
    told = (found.entry[0], found.low[0], found.high[0], found.years[0])
    assert told == pytest.approx((entry, low, high, at_risk), abs=1e-9)


def test_a_failure_lies_between_the_last_sound_visit_and_the_first_over_the_threshold() -> None:
    book = Book().coat(
        PUT_ON,
        {"2012-06-01": (0.1, 0.0), "2014-06-01": (0.3, 0.2), "2016-06-01": (1.0, 0.6), "2018-06-01": (1, 2)},
    )
    low, high = years(PUT_ON, "2014-06-01"), years(PUT_ON, "2016-06-01")
    check(book.lives(), FAILED, low, high, (low + high) / 2)


def test_a_failure_at_the_first_visit_lies_between_it_and_the_application() -> None:
    found = Book().coat(PUT_ON, {"2013-06-01": (2.0, 0.5)}).lives()
    high = years(PUT_ON, "2013-06-01")
    check(found, FAILED, 0.0, high, high / 2)


def test_a_coat_still_sound_is_censored_at_its_last_full_visit() -> None:
    book = Book().coat(
        PUT_ON, {"2012-06-01": (0.0, 0.0), "2015-06-01": (0.2, 0.1), "2019-06-01": (None, 0.1)}
    )
    low = years(PUT_ON, "2015-06-01")
    check(book.lives(), STANDING, low, np.inf, low)


def test_a_coat_that_was_never_sounded_tells_nothing() -> None:
    check(Book().coat(PUT_ON, {}).lives(), STANDING, 0.0, np.inf, 0.0)
    check(Book().coat(PUT_ON, {"2015-06-01": (None, 0.2)}).lives(), STANDING, 0.0, np.inf, 0.0)


def test_what_has_fallen_alone_shows_a_failure_but_never_soundness() -> None:
    book = Book().coat(
        PUT_ON, {"2012-06-01": (0.1, 0.0), "2014-06-01": (None, 0.3), "2016-06-01": (None, 1.6)}
    )
    low, high = years(PUT_ON, "2012-06-01"), years(PUT_ON, "2016-06-01")
    check(book.lives(), FAILED, low, high, (low + high) / 2)


def test_planned_removal_censors_at_the_removal() -> None:
    for reason in ("planned", "damage", "other", ""):
        book = Book().coat(PUT_ON, {"2012-06-01": (0.1, 0.0)}, removed="2017-06-01", reason=reason)
        low = years(PUT_ON, "2017-06-01")
        check(book.lives(), REMOVED, low, np.inf, low)


def test_a_removal_as_failed_is_a_failure_since_the_last_sound_visit() -> None:
    book = Book().coat(PUT_ON, {"2012-06-01": (0.1, 0.0)}, removed="2017-06-01", reason="failed")
    low, high = years(PUT_ON, "2012-06-01"), years(PUT_ON, "2017-06-01")
    check(book.lives(), FAILED, low, high, (low + high) / 2)


def test_a_failure_seen_before_its_removal_keeps_its_own_interval() -> None:
    visits = {"2012-06-01": (0.1, 0.0), "2014-06-01": (2.0, 0.0)}
    for reason in ("failed", "planned"):
        found = Book().coat(PUT_ON, visits, removed="2019-06-01", reason=reason).lives()
        low, high = years(PUT_ON, "2012-06-01"), years(PUT_ON, "2014-06-01")
        check(found, FAILED, low, high, (low + high) / 2)


def test_a_coat_that_was_found_enters_at_its_first_full_visit() -> None:
    visits = {"2012-06-01": (None, 0.0), "2013-06-01": (0.1, 0.0), "2015-06-01": (2.0, 0.0)}
    found = Book().coat("1990-06-01", visits, found=True).lives()
    entry, high = years("1990-06-01", "2013-06-01"), years("1990-06-01", "2015-06-01")
    check(found, FAILED, entry, high, (high - entry) / 2, entry)
    # Its growth counts from what it had lost when it was found.
    assert found.lost[0] == pytest.approx(0.19)
    assert found.watched[0] == pytest.approx(years("2013-06-01", "2015-06-01"))


def test_a_coat_found_failed_is_not_at_risk() -> None:
    found = (
        Book().coat("1990-06-01", {"2013-06-01": (2.0, 0.0), "2014-06-01": (2.5, 0.0)}, found=True).lives()
    )
    assert found.state[0] == BEFORE
    assert found.years[0] == 0
    assert not found.at_risk[0]


def test_a_date_known_as_a_range_widens_the_ages() -> None:
    visits = {"2012-06-01": (0.1, 0.0), "2014-06-01": (2.0, 0.0)}
    found = Book().coat(PUT_ON, visits, earliest="2008-06-01").lives()
    low, high = years(PUT_ON, "2012-06-01"), years("2008-06-01", "2014-06-01")
    check(found, FAILED, low, high, (low + high) / 2)


def test_mended_area_stays_lost() -> None:
    visits = {"2012-06-01": (0.5, 0.1), "2013-06-01": (0.0, 0.0), "2015-06-01": (0.8, 0.1)}
    found = Book().coat(PUT_ON, visits, mended={"2012-06-01": 0.6}).lives()
    low, high = years(PUT_ON, "2013-06-01"), years(PUT_ON, "2015-06-01")
    check(found, FAILED, low, high, (low + high) / 2)
    assert found.lost[0] == pytest.approx(0.15)


def test_what_is_mended_on_the_day_of_a_visit_is_not_counted_twice() -> None:
    found = Book().coat(PUT_ON, {"2012-06-01": (0.6, 0.0)}, mended={"2012-06-01": 0.6}).lives()
    assert found.state[0] == STANDING


def test_a_noisy_first_crossing_is_not_yet_a_failure() -> None:
    visits = {
        "2012-06-01": (0.6, 0.2),
        "2013-06-01": (0.85, 0.2),
        "2014-06-01": (0.65, 0.2),
        "2015-06-01": (0.7, 0.2),
        "2016-06-01": (1.3, 0.3),
    }
    found = Book().coat(PUT_ON, visits).lives()
    assert found.state[0] == FAILED
    assert found.low[0] < years(PUT_ON, "2015-06-01") + 1e-9
    assert found.high[0] == pytest.approx(years(PUT_ON, "2016-06-01"))
    still = {when: area for when, area in visits.items() if when < "2016"}
    found = Book().coat(PUT_ON, still).lives()
    check(found, STANDING, years(PUT_ON, "2015-06-01"), np.inf, years(PUT_ON, "2015-06-01"))


def test_a_slip_of_the_decimal_point_is_no_failure() -> None:
    visits = {f"{year}-06-01": (0.20, 0.02) for year in range(2011, 2019)}
    visits["2014-06-01"] = (2.0, 0.02)
    found = Book().coat(PUT_ON, visits).lives()
    assert found.state[0] == STANDING


def test_what_two_clear_visits_have_found_does_not_mend_itself() -> None:
    visits = {"2012-06-01": (0.2, 0.0), "2013-06-01": (2.0, 0.0), "2014-06-01": (2.2, 0.0)}
    visits |= {f"{year}-06-01": (0.1, 0.0) for year in range(2015, 2020)}
    found = Book().coat(PUT_ON, visits).lives()
    low, high = years(PUT_ON, "2012-06-01"), years(PUT_ON, "2013-06-01")
    check(found, FAILED, low, high, (low + high) / 2)


def test_a_sacrificial_coat_fails_when_its_wear_reaches_the_wall() -> None:
    """Hollow area still hangs before the wall; what has fallen, alone, is a full survey of such a coat."""
    visits = {
        "2012-06-01": (3.0, 0.2),
        "2013-06-01": (None, 0.4),
        "2014-06-01": (5.0, None),
        "2015-06-01": (5.0, 1.5),
        "2016-06-01": (5.0, 2.5),
    }
    found = Book().coat(PUT_ON, visits, sacrificial=True).lives()
    low, high = years(PUT_ON, "2013-06-01"), years(PUT_ON, "2015-06-01")
    check(found, FAILED, low, high, (low + high) / 2)
    assert found.lost[0] == pytest.approx(0.25)
    # Any other coat has failed at the first of these visits.
    check(
        Book().coat(PUT_ON, visits).lives(),
        FAILED,
        0.0,
        years(PUT_ON, "2012-06-01"),
        years(PUT_ON, "2012-06-01") / 2,
    )


def test_what_was_mended_of_a_sacrificial_coat_and_its_removal_as_failed_count() -> None:
    visits = {"2012-06-01": (4.0, 0.1), "2015-06-01": (4.0, 0.6)}
    found = Book().coat(PUT_ON, visits, mended={"2013-06-01": 0.8}, sacrificial=True).lives()
    assert found.state.tolist() == [FAILED]
    removed = Book().coat(PUT_ON, visits, removed="2017-06-01", reason="failed", sacrificial=True).lives()
    low, high = years(PUT_ON, "2015-06-01"), years(PUT_ON, "2017-06-01")
    check(removed, FAILED, low, high, (low + high) / 2)


def test_one_sacrificial_coat_changes_no_other() -> None:
    """Beside it, and before it on the same wall, every other coat is judged as ever."""
    rng = np.random.default_rng(11)
    plain, mixed = Book(), Book()
    for place in range(40):
        grown = np.cumsum(rng.gamma(1.0, 0.08, (12, 2)), axis=0).round(2)
        visits = {f"{2011 + k}-06-01": (grown[k, 0], grown[k, 1] if k % 3 else None) for k in range(12)}
        plain.coat(PUT_ON, visits)
        mixed.coat(PUT_ON, visits, sacrificial=place % 4 == 0)
    ours, others = mixed.lives(), np.arange(40) % 4 != 0
    for name in Lives.__slots__:
        np.testing.assert_array_equal(getattr(ours, name)[others], getattr(plain.lives(), name)[others])
    assert (ours.low >= plain.lives().low).all()
    assert (ours.state == FAILED).sum() < (plain.lives().state == FAILED).sum()


def test_a_reading_known_only_as_less_or_more() -> None:
    """`<` leaves the sum under the threshold or not; `>` is a lower bound, as if in part."""
    coats = Coats(
        *(np.array([value]) for value in (0, day(PUT_ON), day(PUT_ON), np.inf, False, False, False, 10.0))
    )
    section, when = np.zeros(4, dtype=int), np.array([day("2012-06-01")] * 2 + [day("2014-06-01")] * 2)
    hollow = np.array([True, False, True, False])
    low, high = np.array([-np.inf, 0.0, 0.2, 0.1]), np.array([0.1, 0.0, np.inf, 0.1])
    nothing = Mended(np.zeros(0, dtype=int), np.zeros(0), np.zeros(0))
    found = lives(coats, Areas(section, when, hollow, low, high), nothing, 0.10)
    check(found, STANDING, years(PUT_ON, "2012-06-01"), np.inf, years(PUT_ON, "2012-06-01"))


def layers(*rows: tuple[int, int, str, str, str, str, str | None]) -> Layers:
    section, layer, kind, face, purpose, applied, removed = zip(*rows, strict=True)
    return Layers(
        np.array(section),
        np.array(layer),
        np.array(kind),
        np.array(face),
        np.array(purpose),
        np.array([day(one) for one in applied]),
        np.array([day(one) if one else np.inf for one in removed]),
    )


def test_a_system_is_what_stood_together_named_by_the_innermost() -> None:
    first, owner, ends = systems(
        layers(
            (0, 2, "limewash", "room", "permanent", "2010-06-01", "2015-06-01"),
            (0, 1, "parge_coat", "room", "permanent", "2010-06-01", "2015-06-01"),
            (0, 2, "limewash", "room", "permanent", "2013-06-01", "2015-06-01"),
            (0, 1, "parge_coat", "room", "permanent", "2015-06-01", None),
            (1, 1, "paint", "room", "permanent", "2015-06-01", None),
        )
    )
    assert first.tolist() == [1, 3, 4]
    assert owner.tolist() == [0, 0, 0, 1, 2]
    assert ends.tolist() == [day("2015-06-01"), np.inf, np.inf]


def test_patches_the_outside_and_work_on_the_wall_are_no_systems() -> None:
    first, owner, _ = systems(
        layers(
            (0, 1, "repointing", "room", "permanent", "2010-05-01", None),
            (0, 1, "sealer", "outside", "permanent", "2010-05-01", None),
            (0, 2, "parge_coat", "room", "permanent", "2010-06-01", None),
            (0, 3, "parge_coat", "room", "patch", "2014-06-01", None),
        )
    )
    assert first.tolist() == [2]
    assert owner.tolist() == [-1, -1, 0, -1]


def test_a_coat_put_on_again_ends_the_one_whose_removal_nobody_wrote_down() -> None:
    first, _, ends = systems(
        layers(
            (0, 1, "parge_coat", "room", "permanent", "2010-06-01", None),
            (0, 1, "parge_coat", "room", "permanent", "2018-06-01", None),
        )
    )
    assert first.tolist() == [0, 1]
    assert ends.tolist() == [day("2018-06-01"), np.inf]


def test_a_visit_on_the_day_of_a_change_of_coats_is_of_the_old_one() -> None:
    change = day("2015-06-01")
    coats = Coats(
        np.array([0, 0]),
        np.array([day(PUT_ON), change]),
        np.array([day(PUT_ON), change]),
        np.array([change, np.inf]),
        np.array([True, False]),
        np.array([False, False]),
        np.array([False, False]),
        np.array([10.0, 10.0]),
    )
    areas = Areas(np.array([0, 0]), np.array([change] * 2), np.array([True, False]), *(np.full(2, 1.0),) * 2)
    nothing = Mended(np.zeros(0, dtype=int), np.zeros(0), np.zeros(0))
    found = lives(coats, areas, nothing, 0.10)
    assert found.state.tolist() == [FAILED, STANDING]
    assert found.surveys.tolist() == [1, 0]


def test_no_coats_no_lives() -> None:
    empty = np.zeros(0)
    coats = Coats(empty.astype(int), empty, empty, empty, *(empty.astype(bool),) * 3, empty)
    areas = Areas(np.array([0]), np.array([1.0]), np.array([True]), np.ones(1), np.ones(1))
    found = lives(coats, areas, Mended(empty.astype(int), empty, empty), 0.10)
    assert len(found.entry) == 0
