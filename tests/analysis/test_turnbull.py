"""Survival without a formula, against published curves, statsmodels, scikit-learn and plain iteration."""

import numpy as np
import pytest
from hypothesis import given, settings
from sklearn.isotonic import isotonic_regression
from statsmodels.duration.survfunc import SurvfuncRight

from inspections.analysis.hazards import Point
from inspections.analysis.lifetimes import Interval, Lifetimes
from inspections.analysis.turnbull import median_life, survival, turnbull
from tests.analysis.lives import (
    INF,
    coats,
    cosmesis,
    freireich,
    lives,
    part_cracks,
    some_lives,
    turbine_wheels,
)
from tests.analysis.published import table

#: The gap that the method states; what it reaches is far smaller.
GAP = 1e-4


def plain_iteration(lifetimes: Lifetimes, steps: int = 4000) -> float:
    """Log likelihood that Turnbull's (1976) own iteration reaches, with its ghosts: a naive twin."""
    ends = np.unique(np.concatenate([lifetimes.low, lifetimes.high, lifetimes.entry, [0.0, 1e9]]))
    # Every open interval between ends, and every end itself.
    left = np.concatenate([ends[:-2], ends])
    right = np.concatenate([ends[1:-1], ends])
    point = left == right
    seen = np.empty((len(lifetimes), len(left)), dtype=bool)
    could = np.empty_like(seen)
    for i, (entry, low, high) in enumerate(zip(lifetimes.entry, lifetimes.low, lifetimes.high, strict=True)):
        if low == high:
            seen[i] = point & (left == low)
        else:
            seen[i] = np.where(point, (left > low) & (left <= high), (left >= low) & (right <= high))
        could[i] = np.where(point, left > entry, left >= entry)
    mass = np.full(len(left), 1 / len(left))
    for _ in range(steps):
        inside, allowed = seen @ mass, could @ mass
        ghosts = (1 / allowed) @ ~could
        mass = mass * ((1 / inside) @ seen + ghosts)
        mass /= mass.sum()
    return float(np.log((seen @ mass) / (could @ mass)).sum())


class TestPublished:
    def test_breast_cosmesis(self):
        # Finkelstein and Wolfe (1985); masses printed in Fay and Shaw (2010), vignette of R interval 1.1.
        patients, chemotherapy = cosmesis()
        printed = {
            0: "4 5 .0463 6 7 .0334 7 8 .0887 11 12 .0708 24 25 .0926 33 34 .0818 38 40 .1209 46 48 .4656",
            1: "4 5 .0433 5 8 .0433 11 12 .0692 16 17 .1454 18 19 .1411 19 20 .1157 24 25 .0999 30 31 .0709 "
            "35 36 .1608 44 48 .0552 48 60 .0552",
        }
        for arm, numbers in printed.items():
            left, right, mass = np.array(numbers.split(), dtype=float).reshape(-1, 3).T
            fit = turnbull(patients.of(chemotherapy == arm))
            assert fit.left.tolist() == left.tolist()
            assert fit.right.tolist() == right.tolist()
            assert fit.mass == pytest.approx(mass, abs=5.1e-5)
            assert fit.gap < GAP

    def test_freireich_by_kaplan_and_meier_with_greenwoods_errors(self):
        # Freireich et al. (1963) as printed in Klein and Moeschberger (1997), Collett (2015); recomputed.
        patients, placebo = freireich()
        treated = turnbull(patients.of(placebo == 0))
        band = survival(treated, [6, 7, 10, 13, 16, 22, 23])
        assert band.survival == pytest.approx(
            [0.857143, 0.806723, 0.752941, 0.690196, 0.627451, 0.537815, 0.448179], abs=5.1e-7
        )
        greenwood = [0.0763604, 0.0869353, 0.0963497, 0.1068147, 0.1140539, 0.1282338, 0.1345915]
        reach = np.log(np.log(band.low) / np.log(band.high)) / (2 * 1.959963985)
        errors = reach * -np.log(band.survival) * band.survival
        assert errors == pytest.approx(greenwood, abs=5.1e-8)
        # R survfit conf.type = "log-log", lifelines.
        assert (band.low[2], band.high[2]) == pytest.approx((0.5032, 0.88936), abs=5e-6)

    def test_freireichs_medians(self):
        patients, placebo = freireich()
        treated, controls = (median_life(turnbull(patients.of(placebo == arm))) for arm in (0, 1))
        assert (treated.estimate, controls.estimate) == (23, 8)
        # R survfit conf.type = "log-log": 13 to not reached; 4 to 11.
        assert (treated.low, treated.high) == (13, None)
        assert (controls.low, controls.high) == (4, 11)

    def test_part_cracks(self):
        # Nelson (1982), p. 415; SAS/QC PROC RELIABILITY manual: cumulative counts of 167.
        band = survival(turnbull(part_cracks()), table("part_cracks")["end"][:-1])
        assert 167 * (1 - band.survival) == pytest.approx([5, 21, 33, 51, 69, 71, 77, 94])

    def test_turbine_wheels(self):
        # Nelson (1982), p. 409: one inspection each; the weighted isotonic regression of the shares failed.
        band = survival(turnbull(turbine_wheels()), [14, 18, 22, 30, 34, 38, 42, 46])
        printed = [0.0697674, 0.0958904, 0.1666667, 0.2222222, 0.4615385, 0.5810811, 0.5810811, 0.5833333]
        assert 1 - band.survival == pytest.approx(printed, abs=5.1e-8)

    def test_turnbull_and_weiss(self):
        # Turnbull and Weiss (1978); Klein and Moeschberger (1997), sec. 5.2: exact, "<" and ">" together.
        data = table("turnbull_weiss")
        age = np.append(np.arange(10.0, 19), 19)
        low, high = [], []
        for at, exact, over, under in zip(
            age, data["exact"], data["right_censored"], data["left_censored"], strict=True
        ):
            low += [at] * int(exact) + [at] * int(over) + [0.0] * int(under)
            high += [at] * int(exact) + [INF] * int(over) + [at] * int(under)
        band = survival(turnbull(coats(low, high)), np.arange(10.0, 18))
        assert len(low) == 191
        printed = [0.977, 0.906, 0.794, 0.651, 0.516, 0.392, 0.345, 0.308]
        assert band.survival == pytest.approx(printed, abs=5.1e-4)


class TestOptimality:
    @settings(max_examples=40, deadline=None)
    @given(lives())
    def test_the_gap_is_proven_and_plain_iteration_finds_nothing_better(self, some):
        fit = turnbull(some)
        reached = plain_iteration(some)
        assert 0 <= fit.gap <= GAP
        assert fit.mass.min() > 0
        assert fit.mass.sum() == pytest.approx(1)
        assert reached <= fit.log_likelihood + 1e-9 + GAP

    @pytest.mark.parametrize("seed", range(4))
    def test_plain_iteration_comes_as_far(self, seed):
        some = some_lives(seed, n=25)
        assert plain_iteration(some, 20000) == pytest.approx(turnbull(some).log_likelihood, abs=2e-3)

    @pytest.mark.parametrize("exact", [0.0, 0.5])
    @pytest.mark.parametrize("truncated", [False, True])
    @pytest.mark.parametrize("n", [100, 1000, 4000])
    def test_the_gap_at_every_size(self, n, truncated, exact):
        assert turnbull(some_lives(n, n, truncated, exact)).gap <= GAP

    def test_the_gap_bounds_what_is_left_to_gain(self):
        some = some_lives(3, 80)
        fit = turnbull(some)
        hazard = fit.hazard[np.isfinite(fit.hazard)]
        for part in (0.5, 0.9, 1.1):
            poorer = np.where(hazard > 0, hazard * part, 0.0)
            point = Point(fit.failures, poorer)
            assert point.gap >= fit.log_likelihood - point.value - GAP


class TestAgainstOthers:
    @settings(max_examples=30, deadline=None)
    @given(lives(least=5))
    def test_late_entries_as_statsmodels(self, some):
        """Exact and right-censored lives that entered late: the product-limit estimate of statsmodels."""
        time = np.where(some.failed, some.high, some.low)
        kept = time > some.entry
        time, failed, entry = time[kept], some.failed[kept], some.entry[kept]
        if not failed.any():
            return
        ours = turnbull(coats(time, np.where(failed, time, INF), entry))
        theirs = SurvfuncRight(time, failed, entry=entry)
        at = survival(ours, theirs.surv_times)
        # After their curve first reaches nought, ours is nought too.
        assert at.survival == pytest.approx(np.minimum.accumulate(theirs.surv_prob), abs=1e-9)

    @settings(max_examples=30, deadline=None)
    @given(lives(least=2, truncated=False))
    def test_one_inspection_each_as_scikit_learns_isotonic_regression(self, some):
        age, failed = np.where(some.failed, some.high, some.low + 0.5), some.failed
        band = survival(
            turnbull(coats(np.where(failed, 0.0, age), np.where(failed, age, INF))), np.unique(age)
        )
        counts = np.array([(age == at).sum() for at in np.unique(age)])
        shares = np.array([failed[age == at].mean() for at in np.unique(age)])
        assert 1 - band.survival == pytest.approx(isotonic_regression(shares, sample_weight=counts), abs=1e-4)


class TestInvariance:
    @settings(max_examples=25, deadline=None)
    @given(lives(least=3))
    def test_order_and_unit_of_time_change_nothing(self, some):
        at = np.arange(0.0, 12)
        band = survival(turnbull(some), at)
        order = np.random.default_rng(0).permutation(len(some))
        days = Lifetimes(some.entry * 365.25, some.low * 365.25, some.high * 365.25, some.cluster)
        for other, scale in ((some.of(order), 1.0), (days, 365.25)):
            again = survival(turnbull(other), at * scale)
            for name in ("survival", "low", "high"):
                assert getattr(again, name) == pytest.approx(getattr(band, name), abs=2e-3, nan_ok=True)


class TestIntervals:
    def test_no_failure_gives_an_exact_lower_limit(self):
        # All 80 were watched to 10 years: 1 - 0.025 ** (1 / 80) is Clopper and Pearson's (1934) upper limit.
        band = survival(turnbull(coats([10.0] * 80, [INF] * 80)), [0, 5, 10, 11])
        assert band.survival[:3].tolist() == [1, 1, 1]
        assert band.low[:3] == pytest.approx([1, 0.025 ** (1 / 80), 0.025 ** (1 / 80)])
        assert np.isnan([band.survival[3], band.low[3], band.high[3]]).all()

    def test_a_coat_found_at_seven_tells_nothing_of_the_years_before(self):
        found = survival(turnbull(coats([10.0] * 4, [INF] * 4, [0, 0, 7, 7])), [3.0, 10.0])
        assert found.low == pytest.approx([0.025 ** (1 / 2), 0.025 ** (1 / 2)])

    def test_the_median_is_not_reached_where_most_stand(self):
        assert median_life(turnbull(coats([5.0] * 9 + [2.0], [INF] * 9 + [3.0]))).estimate is None
        none = median_life(turnbull(coats([5.0] * 9, [INF] * 9)))
        assert none == Interval(None, None, None)

    def test_when_all_have_failed_the_last_limit_stands(self):
        band = survival(turnbull(coats([1.0, 2, 3, 4], [1.0, 2, 3, 4])), [3.5, 4.0, 9.0])
        assert band.survival == pytest.approx([0.25, 0, 0])
        assert band.high[1:] == pytest.approx([band.high[0]] * 2)
        assert band.low[1:].tolist() == [0, 0]

    def test_alike_coats_of_a_house_widen_the_band(self):
        some = some_lives(5, 90, truncated=False)
        thrice = Lifetimes(
            *(np.repeat(part, 3) for part in (some.entry, some.low, some.high)), np.arange(270)
        )
        houses = Lifetimes(thrice.entry, thrice.low, thrice.high, np.arange(270) // 3)
        at = [6.0, 10.0]
        once, alone, together = (survival(turnbull(each), at) for each in (some, thrice, houses))
        assert together.survival == pytest.approx(alone.survival, abs=1e-4)
        assert together.high - together.low == pytest.approx(once.high - once.low, rel=0.15)
        assert (alone.high - alone.low < 0.7 * (together.high - together.low)).all()

    def test_questions_without_an_answer_are_refused(self):
        with pytest.raises(ValueError, match="there must be a coat"):
            turnbull(coats([], []))
        fit = turnbull(coats([1.0], [2.0]))
        with pytest.raises(ValueError, match="ages of 0 or more"):
            survival(fit, [-1.0])
