"""Monotone fits and gamma processes against published data, scikit-learn and scipy."""

import numpy as np
import pytest
import scipy.special
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.isotonic import isotonic_regression

from inspections.analysis import monotone, passage
from inspections.analysis.records import YEAR
from tests.analysis.published import table

shares = st.floats(0, 1)
START = 15000.0


def surveys(seed, years=10, per_year=2, onset=3.0, mean=0.01, jumps=2.0, error=True):
    """A gamma process from ``onset`` on, surveyed with the error that the analysis supposes."""
    random = np.random.default_rng(seed)
    time = np.arange(years * per_year + 1) / per_year
    ages = np.maximum(np.diff(time, prepend=0) * (time > onset), 0)
    truth = np.cumsum(np.where(ages > 0, random.gamma(jumps * np.maximum(ages, 1e-9), mean / jumps), 0))
    noise = random.normal(0, monotone.survey_error(truth)) * (truth > 0) if error else 0.0
    return START + time * YEAR, np.maximum(truth + noise, 0), truth


class TestIsotonic:
    def test_pituitary_fissures(self):
        # Robertson, Wright and Dykstra (1988), ch. 1: 200/9 for ages 8 to 12, then 24.25.
        data = table("pituitary")
        ages = np.unique(data["age"])
        means = [data["size"][data["age"] == age].mean() for age in ages]
        counts = [(data["age"] == age).sum() for age in ages]
        assert monotone.isotonic(means, counts) == pytest.approx([200 / 9] * 3 + [24.25])

    def test_worked_series(self):
        # R isoreg's example series, also by scikit-learn.
        fit = monotone.isotonic([1, 0, 4, 3, 3, 5, 4, 2, 0])
        assert fit == pytest.approx([0.5, 0.5, 3, 3, 3, 3, 3, 3, 3])

    @given(st.lists(st.tuples(st.floats(-5, 5), st.floats(0.01, 10)), min_size=1, max_size=40))
    def test_agrees_with_scikit_learn(self, pairs):
        value, weight = np.array(pairs).T
        theirs = isotonic_regression(value, sample_weight=weight)
        assert monotone.isotonic(value, weight) == pytest.approx(theirs, abs=1e-9)

    def test_nothing_in_nothing_out(self):
        assert monotone.isotonic([]).shape == (0,)

    @given(st.lists(st.tuples(shares, shares), min_size=1, max_size=12))
    def test_no_monotone_fit_is_nearer_to_the_intervals(self, pairs):
        low, high = np.sort(np.array(pairs), axis=1).T
        fit = monotone.isotonic_between(low, high)

        def miss(candidate):
            return ((candidate - np.clip(candidate, low, high)) ** 2).sum()

        assert (np.diff(fit) >= -1e-12).all()
        random = np.random.default_rng(0)
        for _ in range(60):
            other = np.sort(np.clip(fit + random.normal(0, 0.1, len(fit)), 0, 1))
            assert miss(fit) <= miss(other) + 1e-6


class TestLoss:
    def test_onset_is_the_first_clear_survey_and_began_after_the_last_clean_one(self):
        time = START + np.arange(8) * 180
        loss = monotone.cumulative_loss(time, [0, 0.003, 0, 0.004, 0.05, 0.06, 0.09, 0.1])
        assert (loss.onset, loss.onset_earliest) == (time[4], time[3])
        assert loss.fit[:4] == pytest.approx([0, 0, 0, 0], abs=monotone.DETECTION_LIMIT)

    def test_a_clean_wall_has_no_onset(self):
        loss = monotone.cumulative_loss(START + np.arange(5) * 200, np.zeros(5))
        assert np.isnan(loss.onset)
        assert loss.rate_per_year == 0

    def test_loss_at_the_first_survey_began_before_it(self):
        loss = monotone.cumulative_loss([START, START + 300], [0.2, 0.25])
        assert (loss.onset, loss.onset_earliest) == (START, -np.inf)
        assert np.isnan(loss.rate_low)
        assert "too few surveys" in loss.method

    def test_a_survey_without_sounding_shows_nothing_to_be_sound(self):
        """Hollow area was not read on the third day: the fallen area alone is only a lower bound."""
        time = START + np.arange(5) * 180
        seen = np.array([0.04, 0.06, 0.01, 0.08, 0.09])
        bound = np.where(np.arange(5) == 2, np.inf, seen)
        whole = monotone.cumulative_loss(time, seen)
        partly = monotone.cumulative_loss(time, seen, seen, bound)
        assert partly.fit == pytest.approx([0.04, 0.06, 0.06, 0.08, 0.09], abs=1e-6)
        assert whole.fit[1] < 0.06

    def test_no_survey_no_loss(self):
        assert monotone.cumulative_loss([], []) is None

    def test_coverage_of_the_recent_growth(self):
        """Of 300 walls that lose evenly, 95 % of the intervals hold the true growth."""
        hits = 0
        for seed in range(300):
            random = np.random.default_rng(seed)
            time = START + np.sort(random.uniform(0, 3, 8)) * YEAR
            truth = 0.1 + 0.03 * (time - START) / YEAR
            loss = monotone.cumulative_loss(time, truth + random.normal(0, monotone.survey_error(truth)))
            hits += loss.rate_low <= 0.03 <= loss.rate_high
        # Three standard errors are 0.038; the larger of two standard errors errs to the wide side.
        assert 0.95 - 0.038 < hits / 300 <= 1

    @given(st.lists(shares, min_size=2, max_size=10), st.integers(-10000, 10000), st.randoms())
    def test_row_order_and_time_origin_change_nothing(self, values, days, random):
        time = START + np.arange(len(values)) * 90.0
        order = list(range(len(values)))
        random.shuffle(order)
        one = monotone.cumulative_loss(time, values)
        other = monotone.cumulative_loss(time[order] + days, np.array(values)[order])
        assert other.fit == pytest.approx(one.fit)
        assert other.onset - days == pytest.approx(one.onset, nan_ok=True)
        assert other.rate_per_year == pytest.approx(one.rate_per_year, abs=1e-9)


def gamma_process(rate, jumps):
    """A loss of known law that began at :data:`START`, growing by ``rate`` in ``jumps`` a year."""
    chance, rates, often, none = (np.array([one]) for one in (1.0, rate, jumps, 0.0))
    return passage._Mixture(chance, rates, often, none, none, START)


class TestGammaProcess:
    def test_lasers(self):
        # Meeker and Escobar (1998), table C.17: gamma increments over 250 h of shape 7.195894 and scale
        # 0.07080102 (scipy's gamma fit, floc=0). Hours to 10 %: 4255.42 4399.14 4918.57 5457.04 5613.08.
        data = table("gaas_laser")
        increments = np.concatenate(
            [np.diff(data["increase"][data["unit"] == u]) for u in np.unique(data["unit"])]
        )
        shape, _, scale = scipy.stats.gamma.fit(increments, floc=0)
        assert (shape, scale) == pytest.approx((7.195894, 0.07080102), rel=1e-4)
        lasers = gamma_process(7.195894 * 0.07080102, 7.195894)
        hours = np.array([4255.42, 4399.14, 4918.57, 5457.04, 5613.08])
        found = lasers.passed(10, START + hours / 250 * YEAR)
        assert found == pytest.approx([0.05, 0.1, 0.5, 0.9, 0.95], abs=2e-5)

    def test_exponential_increments_count_as_a_poisson_process(self):
        # P(T <= n) = P(Poisson(y / b) < n); Abramowitz and Stegun, table 26.7: 0.44049 for y / b = 5, n = 5.
        found = gamma_process(1.0, 1.0).passed(5, np.array([START + 5 * YEAR]))
        assert found == pytest.approx([0.44049], abs=5e-6)

    @settings(max_examples=30, deadline=None)
    @given(st.lists(st.tuples(st.floats(-14, 6), st.floats(-16, 7)), min_size=1, max_size=30))
    def test_the_law_is_scipys(self, logarithms):
        shape, size = np.exp(np.array(logarithms)).T
        assert passage._grown(shape, size) == pytest.approx(scipy.special.gammaincc(shape, size), abs=1e-13)
        assert passage._grown(shape, np.zeros(len(shape))).tolist() == [1.0] * len(shape)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from([0.05, 0.1, 0.3]))
def test_dates_are_those_that_halving_finds(seed, threshold):
    """The plain way: halve the horizon until a step is left."""
    time, share, _ = surveys(seed, years=6, mean=0.02)
    found = passage.first_passage(time, share, threshold, time[-1])
    if np.isnan(monotone.cumulative_loss(time, share).onset):
        return
    days, low, high = monotone.survey_bounds(time, share, None, None, monotone.DETECTION_LIMIT)
    mixture = passage._mixture(days, low, high)
    step = passage.HORIZON * YEAR / passage._STEPS
    for chance, date in ((0.1, found.early), (0.5, found.expected), (0.9, found.late)):
        below, above = 0, passage._STEPS
        if mixture.passed(threshold, time[-1:])[0] >= chance:
            continue
        if mixture.passed(threshold, time[-1:] + step * above)[0] < chance:
            assert date == np.inf
            continue
        while above - below > 1:
            middle = (below + above) // 2
            reached = mixture.passed(threshold, time[-1:] + step * middle)[0] >= chance
            below, above = (below, middle) if reached else (middle, above)
        assert date == pytest.approx(time[-1] + step * (below + 0.5), abs=1e-6)


class TestFirstPassage:
    def test_steady_loss_is_carried_on(self):
        time = START + np.arange(11) * YEAR
        found = passage.first_passage(time, 0.03 * np.arange(11), 0.4, time[-1])
        assert found.early < found.expected < found.late
        assert (found.expected - time[-1]) / YEAR == pytest.approx(0.1 / 0.03, rel=0.15)
        # A mean over what the surveys leave possible, a little drawn to the middle of the rates tried.
        assert found.rate_per_year == pytest.approx(0.03, rel=0.1)

    def test_a_clean_wall_does_not_fail_within_the_horizon(self):
        time = START + np.arange(21) * 182
        found = passage.first_passage(time, np.zeros(21), 0.10, time[-1])
        assert found.expected == found.late == np.inf

    def test_a_passage_in_the_past_is_dated(self):
        time = START + np.arange(6) * YEAR
        found = passage.first_passage(time, [0, 0.05, 0.1, 0.2, 0.3, 0.4], 0.15, time[-1])
        assert found.expected == pytest.approx(time[2] + 0.5 * YEAR, abs=1)

    def test_nothing_after_the_day_counts(self):
        time = START + np.arange(6) * YEAR
        values = np.array([0, 0.02, 0.04, 0.06, 0.3, 0.9])
        assert passage.first_passage(time, values, 0.1, time[3]) == passage.first_passage(
            time[:4], values[:4], 0.1, time[3]
        )

    def test_no_survey_no_forecast(self):
        assert passage.first_passage([START], [0.1], 0.1, START - 1) is None

    def test_forecasts_hold_what_they_say(self):
        """Of walls of many rates, carried on to failure, the 95 % interval holds the day as often as that.

        The whole evaluation, on two generators, is ``python -m tests.simulation.coverage``.
        """
        random = np.random.default_rng(5)
        hits = walls = 0
        for seed in range(180):
            mean = np.exp(random.uniform(np.log(0.003), np.log(0.05)))
            time, seen, truth = surveys(seed, years=60, mean=mean, onset=random.uniform(0, 5))
            now = 12  # six years on
            if not 0.01 < truth[now] < 0.1:
                continue
            failed = np.interp(0.1, truth, time) if truth[-1] >= 0.1 else np.inf
            found = passage.first_passage(
                time[: now + 1], seen[: now + 1], 0.1, time[now], chances=(0.025, 0.5, 0.975)
            )
            walls += 1
            beyond = failed > time[now] + passage.HORIZON * YEAR
            hits += (found.early <= failed <= found.late) or (beyond and np.isinf(found.late))
        assert walls > 70
        # Three standard errors of 0.95 at 70 walls are 0.078.
        assert hits / walls > 0.95 - 0.078

    @given(st.integers(0, 10**6), st.integers(-10000, 10000))
    @settings(max_examples=10)
    def test_time_origin_changes_nothing(self, seed, days):
        time, seen, _ = surveys(seed)
        one = passage.first_passage(time, seen, 0.2, time[-1])
        other = passage.first_passage(np.floor(time) + days, seen, 0.2, np.floor(time[-1]) + days)
        assert other.expected - days == pytest.approx(one.expected, abs=1.5)
