"""Groups beside each other on like walls: a favoured coat is not called the better one."""

from __future__ import annotations

import numpy as np
import pytest

from inspections.analysis.accelerated import estimate_accelerated, fit_accelerated
from inspections.analysis.adjusted import LikeForLike, like_for_like
from inspections.analysis.failures import FAILED, STANDING, Lives
from inspections.analysis.imputing import BOOKS, completed, pooled
from inspections.analysis.lifetimes import Interval, Lifetimes
from tests.lives.beside import WALLS, Walls, judge_walls, walled


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


def beside(plan: Walls, seed: int, **measures: np.ndarray) -> LikeForLike:
    (group, lives, house), told = walled(plan, seed)
    found = like_for_like(group, lives, house, {}, told | measures)
    assert found is not None
    return found


@pytest.mark.parametrize("name", ["four in ten not known", "more often not known of one coat"])
def test_what_is_known_of_some_walls_only_is_taken_out_rightly(name: str) -> None:
    alike, crude = judge_walls(WALLS[name], 25, first=1001)
    # A binomial of 25 at 0.95 is at least 21 but for one time in a hundred.
    assert sum(alike.held) >= 21
    assert abs(float(np.mean(alike.off))) < 0.06
    assert abs(float(np.mean(crude.off))) > 0.2


def test_not_knowing_widens() -> None:
    spans = []
    for missing in (0.0, 0.5):
        (interval,) = beside(Walls(missing=missing), 4).times.values()
        spans.append(np.log(interval.high / interval.low))
    assert spans[0] < spans[1] < 2 * spans[0]


def test_the_order_of_rows_and_the_unit_of_thickness_change_nothing() -> None:
    (group, lives, house), told = walled(Walls(coats=120), 5)
    order = np.random.default_rng(2).permutation(len(group))
    shuffled = Lives(*(getattr(lives, name)[order] for name in Lives.__slots__))
    first = like_for_like(group, lives, house, {}, told)
    inches = {**told, "thickness": told["thickness"] - np.log(25.4)}
    again = like_for_like(
        [group[one] for one in order], shuffled, house[order], {}, {k: v[order] for k, v in inches.items()}
    )
    assert first is not None
    assert again is not None
    for one, other in zip(first.times.values(), again.times.values(), strict=True):
        assert (one.estimate, one.low, one.high) == pytest.approx(
            (other.estimate, other.low, other.high), rel=1e-6
        )


def test_a_measure_that_tells_nothing_is_left_out_with_the_reason() -> None:
    plan = Walls(coats=120, missing=0.0)
    (group, _, _), told = walled(plan, 6)
    second = np.array([one == ("B",) for one in group])
    seldom = np.where(np.arange(120) < 12, told["dampness"], np.nan)
    assert "known of 12 of 120" in beside(plan, 6, dampness=seldom).left_out["dampness"]
    of_one = np.where(second, np.nan, told["dampness"])
    assert "of one of the groups" in beside(plan, 6, dampness=of_one).left_out["dampness"]
    same = np.full(120, 2.0)
    assert "the same of all" in beside(plan, 6, thickness=same).left_out["thickness"]
    # Limewash and render: thickness is part of what the coats are.
    tied = second * 3.0 + 0.1 * told["thickness"]
    found = beside(plan, 6, thickness=tied)
    assert "goes with the groups" in found.left_out["thickness"]
    assert found.taken_out == ("dampness",)


def test_few_failures_take_little_out_and_tell_unevenly() -> None:
    found = beside(Walls(coats=60, watched=8.0), 1)
    assert found.taken_out == ("dampness",)
    assert found.left_out == {"thickness": "too few failures to take it out"}
    # What is drawn is as uneven as the likelihood of what is known.
    (interval,) = beside(Walls(coats=80, watched=9.0), 1).times.values()
    up, down = interval.high / interval.estimate, interval.estimate / interval.low
    assert abs(np.log(up) - np.log(down)) > 0.005


def test_more_groups_than_can_be_set_beside_each_other() -> None:
    (_, lives, house), _ = walled(Walls(coats=480, missing=0.0), 7)
    group = [(str(one // 10),) for one in range(480)]
    assert like_for_like(group, lives, house, {}) is None


def test_what_is_said_of_it() -> None:
    named = {("A",): "lime", ("B",): "cement"}.__getitem__

    def found(low: float, high: float, p_value: float) -> LikeForLike:
        times = {("B",): Interval(float(np.sqrt(low * high)), low, high)}
        counts = {("A",): 20, ("B",): 30}
        crude = {("B",): Interval(2.0, 1.5, 2.6)}
        return LikeForLike(
            ("A",), times, ("substrate", "dampness"), crude, {("B",): p_value}, {}, {}, counts, counts, ""
        )

    longer = found(1.1, 1.8, 0.004)
    assert longer.headline(named) == (
        "On walls alike in masonry and dampness before, cement lasts longer than lime: 1.41 (1.10 to 1.80) "
        "times as long. The chance of so clear a difference, if none was there, is about 4 in 1,000."
    )
    assert longer.sentence(("B",), named) == (
        "On walls alike in masonry and dampness before, cement lasts 1.41 (1.10 to 1.80) times as long as "
        "lime: longer, then. With nothing taken out: 2.00 (1.50 to 2.60) times."
    )
    shorter = found(0.5, 0.8, 1e-9)
    assert "lime lasts longer than cement: 1.58 (1.25 to 2.00) times as long" in shorter.headline(named)
    assert "under 1 in 1,000" in shorter.headline(named)
    assert "less long, then" in shorter.sentence(("B",), named)
    unsure = found(0.8, 1.4, 0.6)
    assert "no difference is shown between lime and another" in unsure.headline(named)
    assert "is not shown" in unsure.sentence(("B",), named)
    rows = longer.rows(("binder",), named)
    assert [row["group"] for row in rows] == [{"binder": "A"}, {"binder": "B"}]
    assert rows[0]["times_as_long"] == {"estimate": None, "low": None, "high": None}


def test_many_comparisons_are_not_taken_for_one() -> None:
    """The clearest of ten with a p-value of 0.02 is no difference."""
    groups = [(str(one),) for one in range(10)]
    times = dict.fromkeys(groups[1:], Interval(1.2, 1.01, 1.4))
    counts = dict.fromkeys(groups, 10)
    chances = dict.fromkeys(groups[1:], 0.02)
    found = LikeForLike(groups[0], times, (), times, chances, {}, {}, counts, counts, "")
    assert "no difference is shown" in found.headline(lambda group: group[0] or "")


def test_estimates_alone_are_those_of_the_whole_fit() -> None:
    (group, lives, house), told = walled(Walls(coats=120, missing=0.0, frailty=0.4), 8)
    columns = np.column_stack([[one == ("B",) for one in group], told["dampness"]]).astype(float)
    lifetimes = Lifetimes(lives.entry, lives.low, lives.high, house)
    whole, alone = fit_accelerated(lifetimes, columns), estimate_accelerated(lifetimes, columns)
    assert whole is not None
    assert alone is not None
    np.testing.assert_allclose(alone[0], [one.coefficient.estimate for one in whole.effects], rtol=1e-9)
    np.testing.assert_allclose(alone[1], [one.standard_error for one in whole.effects], rtol=1e-9)


def test_pooling_is_rubins() -> None:
    """Estimates that agree add no error; those that don't add their spread (Rubin 1987, sec. 3.1)."""
    same, p_values = pooled(np.full((5, 1), 0.4), np.full((5, 1), 0.2))
    assert (same[0].low, same[0].high) == pytest.approx((0.4 - 1.96 * 0.2, 0.4 + 1.96 * 0.2), abs=1e-3)
    assert p_values[0] == pytest.approx(0.0455, abs=1e-4)
    estimates = np.array([[0.2], [0.4], [0.6]])
    apart, _ = pooled(estimates, np.full((3, 1), 0.2))
    # Within 0.04, between 0.04: total 0.04 + 4/3 * 0.04, 2 * (1 + 0.75)^2 = 6.125 degrees, t 2.4346.
    reach = 2.4346 * np.sqrt(0.04 + 4 / 3 * 0.04)
    assert (apart[0].low, apart[0].high) == pytest.approx((0.4 - reach, 0.4 + reach), abs=2e-3)


def test_what_is_drawn_looks_like_what_is_known() -> None:
    """The drawn values have the known ones' spread, and go with the coats as these do; the known stay."""
    random = np.random.default_rng(9)
    n = 2000
    group = (np.arange(n) % 2).astype(float)
    value = 0.5 * group + random.normal(size=n)
    missing = random.random(n) < 0.4
    life = 15 * random.weibull(2.5, n) * np.exp(-0.3 * value)
    low = np.floor(np.minimum(life, 18.0))
    lifetimes = Lifetimes(np.zeros(n), low, np.where(life < 18, low + 1, np.inf), np.arange(n))
    books = completed(np.where(missing, np.nan, value)[:, None], group[:, None], lifetimes)
    assert len(books) == BOOKS
    for book in books[:3]:
        np.testing.assert_array_equal(book[~missing, 0], value[~missing])
        assert book[missing, 0].std() == pytest.approx(value[missing].std(), rel=0.12)
        ours, theirs = (np.corrcoef(one[missing], np.log(life[missing]))[0, 1] for one in (book[:, 0], value))
        assert ours == pytest.approx(theirs, abs=0.12)
    assert books[0][missing][0] != books[1][missing][0]


@pytest.mark.parametrize("n", [0, 4, 8])
def test_too_little_to_compare(n: int) -> None:
    group, lives, adjoins = book(3, favoured=0.5, truly=1.0, n=n)
    assert like_for_like(group, lives, np.arange(n), {"adjoins": adjoins}) is None
