"""When a wall is next due: the reasons one by one, and what no policy may do to them."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from inspections.analysis import schedule
from inspections.analysis.schedule import USUAL, Due, Known, add_months, due, house_due, rounds

DAY = dt.date(2024, 5, 10)
SEEN = Known(entered_on=dt.date(2020, 1, 1), last_visit=DAY, verdict="surface_wear")


def on(text: str) -> dt.date:
    return dt.date.fromisoformat(text)


@pytest.mark.parametrize(
    ("changes", "day", "reason"),
    [
        ({}, "2024-11-10", "policy"),
        ({"last_visit": None}, "2020-01-01", "first"),
        ({"verdict": "trapped_water"}, "2024-08-10", "policy"),
        # Seen in May, so at the end of summer; seen in July, not again in September but at winter's end.
        ({"verdict": "stable"}, "2024-09-01", "season"),
        ({"verdict": "stable", "last_visit": on("2024-07-10")}, "2025-03-01", "season"),
        # Half of 200 days; no sooner than four weeks; nothing more to bound once the coat has failed.
        ({"early": on("2024-11-26")}, "2024-08-18", "forecast"),
        ({"early": DAY, "expected": on("2025-01-01")}, "2024-06-07", "forecast"),
        ({"early": DAY, "expected": DAY}, "2024-11-10", "policy"),
        # The visit of the flag's own day opened it; a later one settles it.
        ({"flagged_on": DAY}, "2024-06-07", "flag"),
        ({"flagged_on": on("2024-05-09")}, "2024-11-10", "policy"),
        ({"events": [on("2024-06-01"), on("2024-06-03")]}, "2024-06-15", "event"),
        ({"events": [DAY]}, "2024-11-10", "policy"),
        # A month, three, six and twelve after the coat; a visit a little early settles its look.
        ({"coats": [DAY]}, "2024-06-10", "new_coat"),
        ({"coats": [DAY], "last_visit": on("2024-06-05")}, "2024-08-10", "new_coat"),
        ({"coats": [DAY], "last_visit": on("2024-12-10")}, "2025-05-10", "new_coat"),
        ({"coats": [on("2010-05-10")]}, "2024-11-10", "policy"),
        ({"trials": [(on("2024-06-01"), None)]}, "2024-06-01", "trial"),
        ({"trials": [(on("2024-02-20"), None)]}, "2024-08-20", "trial"),
        ({"trials": [(on("2024-02-20"), on("2024-07-01"))]}, "2024-07-01", "trial"),
        ({"trials": [(on("2023-02-20"), on("2024-05-01"))]}, "2024-11-10", "policy"),
        ({"follow_ups": [on("2024-10-01")]}, "2024-10-01", "follow_up"),
        ({"follow_ups": [DAY]}, "2024-11-10", "policy"),
        ({"flagged_on": DAY, "early": DAY}, "2024-06-07", "flag"),
    ],
)
def test_the_earliest_reason_wins(changes: dict[str, object], day: str, reason: str) -> None:
    assert due(USUAL, replace(SEEN, **changes)) == Due(on(day), reason)  # type: ignore[arg-type]


def test_a_house_is_walked_round_yearly_and_after_a_flood() -> None:
    assert house_due(USUAL, DAY, None, []) == Due(DAY, "first")
    assert house_due(USUAL, DAY, DAY, []) == Due(on("2025-05-10"), "policy")
    assert house_due(USUAL, DAY, DAY, [on("2024-07-01")]) == Due(on("2024-07-15"), "event")


def test_minutes_grow_with_what_is_read() -> None:
    assert schedule.minutes({}) == schedule.UNREAD_SECTION
    assert schedule.minutes({"surface_moisture": 3, "hollow_area": 1}) == 8
    assert schedule.minutes({"radon": 2}) == 4


# What must hold of every policy and wall ------------------------------------------------------------------

days = st.dates(dt.date(2000, 1, 1), dt.date(2060, 12, 31))
some_days = st.lists(days, max_size=3)


@st.composite
def policies(draw: st.DrawFn) -> schedule.Policy:
    months = st.integers(1, 36)
    return schedule.Policy(
        months={verdict: draw(months) for verdict in USUAL.months},
        house_months=draw(months),
        trial_months=draw(months),
        new_coat_months=tuple(sorted(draw(st.sets(months, max_size=4)))),
        seasons=draw(st.sampled_from([(), ((3, 1),), ((3, 1), (9, 1)), ((2, 28), (8, 31))])),
        flag_days=draw(st.integers(0, 90)),
        event_days=draw(st.integers(0, 60)),
        round_days=draw(st.integers(0, 60)),
    )


@st.composite
def walls(draw: st.DrawFn) -> Known:
    start = draw(days)
    return Known(
        entered_on=draw(days),
        last_visit=draw(st.none() | days),
        verdict=draw(st.sampled_from(sorted(USUAL.months))),
        early=draw(st.none() | days),
        expected=draw(st.none() | days),
        flagged_on=draw(st.none() | days),
        events=draw(some_days),
        coats=draw(some_days),
        trials=draw(st.sampled_from([[], [(start, None)], [(start, start + dt.timedelta(days=500))]])),
        follow_ups=draw(some_days),
    )


@given(days, st.integers(0, 400))
def test_months_are_counted_as_elsewhere(day: dt.date, months: int) -> None:
    """dateutil, an independent library, counts them the same way."""
    assert add_months(day, months) == day + relativedelta(months=months)


@given(policies(), walls())
def test_never_beyond_the_policy(policy: schedule.Policy, known: Known) -> None:
    look = due(policy, known)
    if known.last_visit is None:
        assert look.on == known.entered_on
    else:
        assert look.on <= known.last_visit + relativedelta(months=policy.months[known.verdict])
        assert look.on > known.last_visit or look.reason in ("flag", "event", "new_coat", "trial")


@given(policies(), walls(), days, st.integers(0, 400))
def test_what_is_more_urgent_is_never_due_later(
    policy: schedule.Policy, known: Known, day: dt.date, sooner: int
) -> None:
    """A further reason, an earlier failure or a stricter policy: the look comes no later."""
    before = due(policy, known).on
    for more in (
        replace(known, events=[*known.events, day]),
        replace(known, coats=[*known.coats, day]),
        replace(known, follow_ups=[*known.follow_ups, day]),
        replace(known, trials=[*known.trials, (day, None)]),
        replace(known, flagged_on=known.flagged_on or day),
        replace(known, early=known.early and known.early - dt.timedelta(days=sooner)),
    ):
        assert due(policy, more).on <= before
    stricter = replace(
        policy,
        months={verdict: max(months // 2, 1) for verdict, months in policy.months.items()},
        flag_days=policy.flag_days // 2,
        event_days=policy.event_days // 2,
    )
    assert due(stricter, known).on <= before


@given(policies(), walls())
def test_a_visit_on_the_day_settles_the_look(policy: schedule.Policy, known: Known) -> None:
    """After a visit when it is due the next look is later, so that nothing falls due for ever."""
    look = due(policy, known)
    visited = look.on if known.last_visit is None else max(look.on, known.last_visit)
    after = due(policy, replace(known, last_visit=visited))
    assert after.on > visited or after.reason == "flag"


@given(policies(), st.lists(walls(), min_size=1, max_size=8))
def test_rounds_hold_every_look_once_and_delay_none(policy: schedule.Policy, many: list[Known]) -> None:
    looks = {f"S{i}": due(policy, known) for i, known in enumerate(many)}
    last = {f"S{i}": known.last_visit for i, known in enumerate(many)}
    found = rounds(policy, looks, last)
    assert sorted(name for one in found for name in one.names) == sorted(looks)
    assert [one.on for one in found] == sorted(one.on for one in found)
    for one in found:
        assert one.on == min(looks[name].on for name in one.names)
        for name in one.names:
            brought = (looks[name].on - one.on).days
            assert 0 <= brought <= policy.round_days
            if last[name] is not None:
                assert brought <= schedule.ROUND_SHARE * max((looks[name].on - last[name]).days, 0)
    shuffled = dict(sorted(looks.items(), reverse=True))
    assert rounds(policy, shuffled, last) == found
    assert len(rounds(replace(policy, round_days=0), looks, last)) >= len(found)


def test_sections_of_a_house_fall_due_together_where_that_costs_little() -> None:
    looks = {
        "W1": Due(on("2025-03-01"), "season"),
        "W2": Due(on("2025-03-20"), "policy"),
        "W3": Due(on("2025-04-20"), "policy"),
        "W4": Due(on("2025-03-10"), "flag"),
    }
    last = {"W1": on("2024-09-01"), "W2": on("2024-09-20"), "W3": on("2024-04-20"), "W4": on("2025-02-10")}
    found = rounds(USUAL, looks, last)
    # W3 would come fifty days sooner, and W4, seen four weeks ago, more than a quarter of its time.
    assert [(str(one.on), one.names) for one in found] == [
        ("2025-03-01", ["W1", "W2"]),
        ("2025-03-10", ["W4"]),
        ("2025-04-20", ["W3"]),
    ]
