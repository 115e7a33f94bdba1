"""The test between groups, against published examples and statsmodels."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from statsmodels.duration.survfunc import survdiff

from inspections.analysis.groups import LOG_RANK, PROPORTIONAL_HAZARDS, coat_scores, log_rank
from inspections.analysis.lifetimes import Lifetimes
from inspections.analysis.turnbull import turnbull
from tests.analysis.lives import INF, coats, cosmesis, freireich, lives, some_lives
from tests.simulation.lives import Books, book

seeds = st.integers(0, 10_000)


class TestPublished:
    def test_freireich(self):
        # Freireich et al. (1963): 16.79; observed less expected relapses 9 - 19.25 (lifelines, R survdiff).
        patients, placebo = freireich()
        test = log_rank(patients, placebo)
        assert (test.statistic, test.df) == (pytest.approx(16.792941, abs=5.1e-7), 1)
        assert test.method == "log-rank test, chi-squared"
        scores = coat_scores(turnbull(patients))
        assert scores[placebo == 0].sum() == pytest.approx(9 - 19.25, abs=5e-3)
        assert scores[placebo == 1].sum() == pytest.approx(21 - 10.75, abs=5e-3)

    @pytest.mark.parametrize(
        ("model", "score", "z"), [(LOG_RANK, 9.141846, 2.6684), (PROPORTIONAL_HAZARDS, 9.944182, 2.6839)]
    )
    def test_breast_cosmesis_by_permutation(self, model, score, z):
        # Sun's and Finkelstein's scores: Fay and Shaw (2010), vignette of R interval 1.1.
        patients, chemotherapy = cosmesis()
        scores = coat_scores(turnbull(patients), model)
        total, share = scores[chemotherapy == 1].sum(), chemotherapy.mean()
        permuted = (scores**2).sum() / (len(scores) - 1) * len(scores) * share * (1 - share)
        assert total == pytest.approx(score, abs=2e-6)
        assert total / np.sqrt(permuted) == pytest.approx(z, abs=5.1e-5)

    def test_breast_cosmesis_by_score(self):
        # Finkelstein's score form: chi-squared 7.8749, p 0.005012 (Fay and Shaw 2010).
        test = log_rank(*cosmesis(), PROPORTIONAL_HAZARDS)
        assert (test.statistic, test.df) == (pytest.approx(7.8749, abs=5.1e-5), 1)
        assert test.p_value == pytest.approx(0.005012, abs=5.1e-7)


class TestAgainstOthers:
    @settings(max_examples=40, deadline=None)
    @given(lives(least=8), st.integers(2, 4), st.randoms())
    def test_right_censored_and_entered_late_as_statsmodels(self, some, groups, random):
        time, failed = np.where(some.failed, some.high, some.low), some.failed
        kept = time > some.entry
        time, failed, entry = time[kept], failed[kept], some.entry[kept]
        group = np.array([random.randrange(groups) for _ in time])
        ours = log_rank(coats(time, np.where(failed, time, INF), entry), group)
        if ours.statistic is None or ours.df < len(np.unique(group)) - 1:
            return
        statistic, p_value = survdiff(time, failed.astype(int), group, entry=entry)
        assert (ours.statistic, ours.p_value) == (pytest.approx(statistic), pytest.approx(p_value))

    @pytest.mark.parametrize("model", [LOG_RANK, PROPORTIONAL_HAZARDS], ids=lambda model: model.name)
    def test_the_variance_is_the_likelihoods_own_curvature(self, model):
        """The statistic is about twice what the likelihood gains by moving one group's hazards."""
        some = some_lives(11, 150, exact=0.0)
        group = np.random.default_rng(1).integers(0, 2, 150)
        some = Lifetimes(some.entry, some.low, some.high, np.arange(150))
        test = log_rank(some, group, model)
        odds = _likelihood_ratio(some, group, model)
        assert test.statistic == pytest.approx(odds, rel=0.2, abs=0.1)


class TestInvariance:
    @settings(max_examples=20, deadline=None)
    @given(seeds)
    @example(195)  # two cells that the same failures span
    def test_order_unit_of_time_and_names_of_groups(self, seed):
        random = np.random.default_rng(seed)
        some, group = some_lives(seed, 45), random.integers(0, 3, 45)
        test = log_rank(some, group)
        order = random.permutation(45)
        weeks = Lifetimes(*(part * 52 for part in (some.entry, some.low, some.high)), some.cluster)
        for other in (
            log_rank(some.of(order), group[order]),
            log_rank(weeks, group),
            log_rank(some, np.array([7, -2, 40])[group]),
        ):
            assert other.df == test.df
            assert other.statistic == pytest.approx(test.statistic, rel=1e-3, abs=1e-3)

    def test_a_group_that_tells_nothing_takes_no_degree(self):
        some = coats([1.0, 2, 3, 4, 0, 0], [2.0, 3, INF, 5, INF, INF])
        assert log_rank(some, [0, 0, 1, 1, 2, 2]).df == 1

    def test_no_test_without_two_groups_or_a_failure(self):
        some = coats([1.0, 2], [2.0, INF])
        assert log_rank(some, [4, 4]).statistic is None
        assert log_rank(coats([1.0, 2], [INF, INF]), [0, 1]).p_value is None
        assert log_rank(coats([], []), []).df == 0
        with pytest.raises(ValueError, match="a group for each coat"):
            log_rank(some, [1])


class TestHouses:
    def test_copies_in_one_house_prove_no_more(self):
        some, group = some_lives(3, 90, exact=0.0), np.arange(90) % 2
        some = Lifetimes(some.entry, some.low, some.high, np.arange(90))
        copies = Lifetimes(*(np.repeat(part, 4) for part in (some.entry, some.low, some.high, some.cluster)))
        once, fourfold = log_rank(some, group), log_rank(copies, np.repeat(group, 4))
        assert fourfold.statistic == pytest.approx(once.statistic, rel=0.35)
        assert "houses as clusters" in fourfold.method

    @pytest.mark.parametrize("alike", [0.0, 0.4])
    def test_false_alarms_stay_near_five_in_a_hundred(self, alike):
        """Groups of houses alike in life: of 200 tests no more call a difference than 99.5 % limits allow."""
        random = np.random.default_rng(5)
        alarms = 0
        for _ in range(200):
            some = book(random, Books(houses=24, coats_a_house=3, alike=alike))
            group = random.integers(0, 2, 1000)[some.cluster]
            p_value = log_rank(some, group).p_value
            alarms += p_value is not None and p_value < 0.05
        assert alarms <= 19


def _likelihood_ratio(some, group, model):
    """Twice the rise of the log likelihood by moving the second group's hazards, all hazards refitted."""
    from scipy.optimize import minimize

    fit = turnbull(some)
    cells, finite = fit.cells, np.isfinite(fit.hazard)

    def loss(values):
        hazard = np.exp(values[1:])
        moved = hazard * np.exp(values[0])
        if model is LOG_RANK:
            moved = np.log1p(np.expm1(hazard) * np.exp(values[0]))
        total = 0.0
        for g, each in ((0, hazard), (1, moved)):
            whole = np.full(len(finite), 50.0)
            whole[finite & (fit.hazard > 0)] = each
            whole[finite & (fit.hazard == 0)] = 0.0
            sums = np.concatenate([[0.0], np.cumsum(whole)])
            mine = group == g
            first, last, entry = (part[mine] for part in (cells.first, cells.last, cells.entry))
            total += (sums[first] - sums[entry]).sum()
            failed = some.failed[mine]
            total -= np.log(-np.expm1(-(sums[last] - sums[first])[failed])).sum()
        return total

    start = np.append(0.0, np.log(fit.hazard[finite & (fit.hazard > 0)]))
    best = minimize(loss, start, method="L-BFGS-B", options={"maxfun": 10**5, "maxiter": 2000})
    return 2 * (loss(start) - best.fun)
