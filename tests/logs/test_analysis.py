"""Logs reduced: against a twin written out in plain loops, published psychrometrics, and cases by hand."""

from __future__ import annotations

import datetime as dt

import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.analysis import logs
from inspections.analysis.logs import Log


def log_of(hours: list[float], values: list[float], offset: float = 0.0) -> Log:
    """A log on a clock ``offset`` hours ahead of UTC."""
    hour = np.array(hours, dtype=float)
    return Log(hour, np.floor((hour + offset) / 24), np.array(values, dtype=float))


def naive(log: Log, days: int) -> dict[float, tuple[float, float, float, int, float]]:
    """Start to mean, least, greatest, count and hours covered, one value after the other."""
    steps = sorted(b - a for a, b in zip(log.hour, log.hour[1:], strict=False))
    middle = len(steps) // 2
    usual = 0.0
    if steps:
        usual = steps[middle] if len(steps) % 2 else (steps[middle - 1] + steps[middle]) / 2
    groups: dict[float, list[tuple[float, float]]] = {}
    for i, value in enumerate(log.value):
        hold = log.hour[i + 1] - log.hour[i] if i + 1 < len(log) else usual
        if hold > 1.5 * max(usual, 1):
            hold = usual
        date = dt.date(1970, 1, 1) + dt.timedelta(days=int(log.day[i]))
        start = date - dt.timedelta(days=date.weekday()) if days == 7 else date
        groups.setdefault(float((start - dt.date(1970, 1, 1)).days), []).append((hold, float(value)))
    found = {}
    for start, own in groups.items():
        covered = sum(hold for hold, _ in own)
        mean = sum(h * v for h, v in own) / covered if covered else sum(v for _, v in own) / len(own)
        only = [v for _, v in own]
        found[start] = (mean, min(only), max(only), len(own), covered)
    return found


steps = st.lists(st.sampled_from([1 / 6, 0.25, 1.0, 1.4, 5.0, 30.0]), min_size=1, max_size=150)


@pytest.mark.parametrize("days", [1, 7])
@given(steps=steps, start=st.integers(-100_000, 400_000), seed=st.integers(0, 99))
def test_days_and_weeks_are_those_of_plain_loops(
    steps: list[float], start: int, seed: int, days: int
) -> None:
    hours = start + np.cumsum(steps)
    log = log_of(list(hours), list(np.random.default_rng(seed).normal(10, 5, len(hours))), offset=2)
    periods = logs.daily(log) if days == 1 else logs.weekly(log)
    expected = naive(log, days)
    assert list(periods.start) == sorted(expected)
    rows = np.array([expected[start] for start in periods.start])
    found = np.stack([periods.mean, periods.low, periods.high, periods.n, periods.hours], axis=1)
    np.testing.assert_allclose(found, rows, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(periods.coverage, np.minimum(rows[:, 4] / (24 * days), 1), rtol=1e-9)


def test_a_gap_is_not_covered() -> None:
    """Hourly from 00:00 to 05:00 and from 20:00 to 23:00: ten values hold ten hours."""
    hours = [*range(6), *range(20, 24)]
    (day,) = logs.daily(log_of(hours, [1.0] * 6 + [2.0] * 4)).hours
    assert day == 10
    assert logs.gaps(log_of(hours, [0.0] * 10)) == 1


def test_a_change_of_interval_does_not_weigh_more() -> None:
    """Twelve hours at 10 written hourly, twelve at 20 written every ten minutes: the mean is 15."""
    hours = [*range(12), *(12 + np.arange(72) / 6)]
    log = log_of(hours, [10.0] * 12 + [20.0] * 72)
    assert logs.daily(log).mean == pytest.approx(15.0)
    assert logs.daily(log).coverage == pytest.approx(1.0)
    assert logs.gaps(log) == 0


def test_one_value_has_a_mean_and_covers_nothing() -> None:
    days = logs.daily(log_of([30.0], [7.0]))
    assert (days.start, days.mean, days.n, days.coverage) == (1, 7, 1, 0)


def test_no_values() -> None:
    empty = log_of([], [])
    assert len(logs.daily(empty)) == len(logs.weekly(empty)) == len(logs.wet_hours(empty).start) == 0
    assert np.isnan(logs.value_at(empty, np.array([1.0]))).all()
    assert len(logs.dew_point_margins(empty, empty, empty)) == 0


def test_weeks_begin_on_monday() -> None:
    monday = (dt.date(2021, 3, 29) - dt.date(1970, 1, 1)).days
    weeks = logs.weekly(log_of([24.0 * (monday + i) + 12 for i in range(-1, 8)], [0.0] * 9))
    assert list(weeks.start) == [monday - 7, monday, monday + 7]
    assert list(weeks.n) == [1, 7, 1]


def test_a_value_holds_until_the_next_and_not_over_a_gap() -> None:
    log = log_of([0, 1, 2, 10, 11], [5, 6, 7, 8, 9])
    asked = np.array([-0.1, 0, 0.9, 1, 2.9, 3.1, 9, 10.5, 11.9, 12.1])
    expected = [np.nan, 5, 5, 6, 7, np.nan, np.nan, 8, 9, np.nan]
    np.testing.assert_array_equal(logs.value_at(log, asked), expected)


def test_margins_against_a_published_library() -> None:
    """PsychroLib (ASHRAE Fundamentals 2017) finds the dew point by its own search, to 0.001 K."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    rng = np.random.default_rng(4)
    air, humidity, face = rng.uniform(2, 30, 200), rng.uniform(20, 99, 200), rng.uniform(2, 25, 200)
    hours = list(np.arange(200) / 6)
    margins = logs.dew_point_margins(
        log_of(hours, list(air)), log_of(hours, list(humidity)), log_of(hours, list(face))
    )
    expected = [
        f - psychrolib.GetTDewPointFromRelHum(a, h / 100) for a, h, f in zip(air, humidity, face, strict=True)
    ]
    np.testing.assert_allclose(margins.value, expected, atol=2e-3)


def test_margins_pair_loggers_that_write_at_other_moments() -> None:
    air = log_of([0, 1, 2, 3], [20, 20, 20, 20])
    humidity = log_of([0.2, 1.2, 2.2], [50, 100, 50])
    face = log_of([-0.5, 0.5, 1.5, 2.5, 3.5], [10, 11, 12, 13, 14])
    margins = logs.dew_point_margins(air, humidity, face)
    assert list(margins.hour) == [1, 2, 3]  # at hour 0 the humidity was not known yet
    # Saturated air's dew point is its temperature; at 20 °C and 50 % it is 9.27 °C (ASHRAE).
    assert margins.value == pytest.approx([11 - 9.27, 12 - 20, 13 - 9.27], abs=0.01)


def test_hours_wet_are_those_under_the_limit() -> None:
    margins = log_of([*np.arange(48) / 2, 30.0], [*([-1.0] * 10 + [0.0] * 10 + [2.0] * 28), -3.0])
    wet = logs.wet_hours(margins)
    assert list(wet.wet) == [5.0, 0.5]
    assert list(wet.covered) == [24.0, 0.5]
    assert list(logs.wet_hours(margins, limit=1.0).wet) == [10.0, 0.5]
    assert logs.wet_hours(margins, period=logs.WEEK).wet.sum() == 5.5


def test_a_mark_for_a_failed_sensor_is_left_out() -> None:
    log = log_of([0, 1, 2], [20, -127, 21]).within(-40, 80)
    assert list(log.value) == [20, 21]
