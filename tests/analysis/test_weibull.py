"""Weibull and log-normal lives, against published fits, scipy and the likelihood said plainly."""

import numpy as np
import pytest
import scipy.optimize
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import gamma

from inspections.analysis.lifetimes import Interval, Lifetimes
from inspections.analysis.logtimes import LOG_NORMAL, WEIBULL, Likelihood
from inspections.analysis.weibull import fit_lognormal, fit_weibull
from tests.analysis.lives import (
    INF,
    coats,
    cosmesis,
    part_cracks,
    right_censored,
    some_lives,
    turbine_wheels,
)
from tests.analysis.published import table

CHI_SQUARED = scipy.stats.chi2.ppf(0.95, 1)
seeds = st.integers(0, 10_000)


def plain(lives, shape, scale, family="weibull"):
    """The log likelihood by scipy.stats, one coat after the other."""
    if family == "weibull":
        life = scipy.stats.weibull_min(shape, scale=scale)
    else:
        life = scipy.stats.lognorm(shape, scale=scale)
    exact = lives.exact
    total = life.logpdf(lives.low[exact]).sum() - life.logsf(lives.entry).sum()
    low, high = lives.low[~exact], lives.high[~exact]
    upper, lower = life.sf(low) - life.sf(high), life.cdf(high) - life.cdf(low)
    with np.errstate(divide="ignore"):
        return total + np.log(np.where(life.sf(low) < 0.5, upper, lower)).sum()


class TestPublished:
    def test_nist_handbook(self):
        # NIST/SEMATECH e-Handbook, 8.4.1.3: characteristic life, shape, log likelihood; AIC of both families.
        data = table("nist_weibull_8413")
        lives = right_censored(data["hours"], data["failed"], data["freq"])
        weibull, lognormal = fit_weibull(lives), fit_lognormal(lives)
        assert weibull.scale.estimate == pytest.approx(606.5280, abs=1e-3)
        assert weibull.shape.estimate == pytest.approx(1.7208, abs=5.1e-5)
        assert weibull.log_likelihood == pytest.approx(-75.135, abs=5.1e-4)
        assert 4 - 2 * weibull.log_likelihood == pytest.approx(154.27, abs=5.1e-3)
        assert 4 - 2 * lognormal.log_likelihood == pytest.approx(154.39, abs=5.1e-3)
        assert (weibull.coats, weibull.failures) == (20, 10)
        # Mean and standard deviation as the page prints them, from the gamma function.
        shape, scale = weibull.shape.estimate, weibull.scale.estimate
        mean = scale * gamma(1 + 1 / shape)
        assert mean == pytest.approx(540.737, abs=2e-3)
        assert np.sqrt(scale**2 * gamma(1 + 2 / shape) - mean**2) == pytest.approx(323.806, abs=2e-3)

    def test_diesel_fans(self):
        # Nelson (1982) by the SAS manual; R survreg.
        data = table("diesel_fans")
        fit = fit_weibull(right_censored(data["hours"], data["failed"]))
        assert fit.scale.estimate == pytest.approx(26296.8, abs=0.051)
        assert fit.shape.estimate == pytest.approx(1.0584, abs=5.1e-5)

    def test_breast_cosmesis(self):
        # R survreg, surpyval and, for the second, lifelines.
        patients, chemotherapy = cosmesis()
        for arm, scale, shape, log_likelihood in (
            (0, 57.513096, 1.121613, -64.731471),
            (1, 28.042474, 2.030238, -75.715068),
        ):
            fit = fit_weibull(patients.of(chemotherapy == arm))
            assert fit.scale.estimate == pytest.approx(scale, abs=5.1e-7)
            assert fit.shape.estimate == pytest.approx(shape, abs=5.1e-7)
            assert fit.log_likelihood == pytest.approx(log_likelihood, abs=5.1e-7)

    def test_part_cracks(self):
        # Nelson (1982) p. 415: SAS output; R survreg. Extreme-value location 4.2724.
        fit = fit_weibull(part_cracks())
        assert fit.scale.estimate == pytest.approx(71.6904, abs=5.1e-5)
        assert np.log(fit.scale.estimate) == pytest.approx(4.2724, abs=5.1e-5)
        assert fit.shape.estimate == pytest.approx(1.4854, abs=5.1e-5)
        assert fit.log_likelihood == pytest.approx(-309.6684, abs=5.1e-5)

    def test_turbine_wheels(self):
        # Nelson (1982) p. 409, one inspection each: log-normal; R survreg.
        fit = fit_lognormal(turbine_wheels())
        assert np.log(fit.scale.estimate) == pytest.approx(3.6999, abs=5.1e-5)
        assert fit.shape.estimate == pytest.approx(0.7199, abs=5.1e-5)
        assert fit.log_likelihood == pytest.approx(-190.7315, abs=5.1e-5)
        assert fit.median == fit.scale

    def test_manganese_with_profile_limits(self):
        # USEPA (2009), example 15-1, left-censored log-normal; EnvStats' profile-likelihood limits.
        data = table("epa2009_ex15_1_manganese")
        under = data["censored"] == 1
        fit = fit_lognormal(coats(np.where(under, 0.0, data["value"]), data["value"]))
        logs = np.log([fit.scale.estimate, fit.scale.low, fit.scale.high])
        assert logs[0] == pytest.approx(2.215905, abs=5.1e-7)
        # 1.3562919; theirs is where a general optimiser stopped.
        assert fit.shape.estimate == pytest.approx(1.356291, abs=1.1e-6)
        assert logs[1:] == pytest.approx([1.595062, 2.771197], abs=5.1e-6)


class TestLikelihood:
    @pytest.mark.parametrize("family", [WEIBULL, LOG_NORMAL], ids=lambda family: family.name)
    @settings(max_examples=25, deadline=None)
    @given(seed=seeds, location=st.floats(-1, 1), rate=st.floats(0.3, 6))
    def test_value_gradient_hessian_and_scores(self, family, seed, location, rate):
        lives, theta = some_lives(seed), np.array([location, rate])
        likelihood = Likelihood(lives, np.ones((len(lives), 1)), family, 10.0)
        value, gradient, hessian = likelihood(theta)
        shape, scale = (rate, 10 * np.exp(location / rate))
        plainly = plain(lives, shape, scale) if family is WEIBULL else plain(lives, 1 / rate, scale, "normal")
        if np.isfinite(plainly):
            assert value == pytest.approx(plainly, rel=1e-6)
        assert likelihood.scores(theta).sum(axis=0) == pytest.approx(gradient, rel=1e-9, abs=1e-9)
        size = max(1.0, np.abs(hessian).max())
        for j, step in enumerate(np.eye(2) * 1e-6):
            up, down = likelihood(theta + step), likelihood(theta - step)
            assert gradient[j] == pytest.approx((up[0] - down[0]) / 2e-6, abs=1e-4 * size)
            assert hessian[j] == pytest.approx((up[1] - down[1]) / 2e-6, abs=1e-4 * size)

    @pytest.mark.parametrize("family", [WEIBULL, LOG_NORMAL], ids=lambda family: family.name)
    def test_far_out_it_stays_a_number(self, family):
        lives = some_lives(1)
        likelihood = Likelihood(lives, np.ones((len(lives), 1)), family, 10.0)
        for location in (-200.0, 200.0):
            for rate in (0.02, 200.0):
                value, gradient, hessian = likelihood(np.array([location, rate]))
                assert np.isfinite([value, *gradient, *hessian.ravel()]).all()


class TestFit:
    @pytest.mark.parametrize("seed", range(6))
    def test_estimates_and_limits_by_general_optimisers(self, seed):
        """The summit and the ends of the intervals, from scipy's own densities and optimisers."""
        lives = some_lives(seed, 50)
        lives = Lifetimes(lives.entry, lives.low, lives.high, np.arange(50))
        fit = fit_weibull(lives)

        def loss(logs):
            return -plain(lives, *np.exp(logs))

        summit = scipy.optimize.minimize(
            loss, [0.0, 2.0], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12}
        )
        assert np.log([fit.shape.estimate, fit.scale.estimate]) == pytest.approx(summit.x, abs=1e-6)
        assert fit.log_likelihood == pytest.approx(-summit.fun, abs=1e-8)
        middle = np.log(np.log(2))
        for end in (fit.shape.low, fit.shape.high):
            best = scipy.optimize.minimize_scalar(lambda x, end=end: loss([np.log(end), x]), (2.0, 3.0))
            assert 2 * (best.fun - summit.fun) == pytest.approx(CHI_SQUARED, abs=1e-6)
        for end in (fit.median.low, fit.median.high):
            best = scipy.optimize.minimize_scalar(
                lambda x, end=end: loss([x, np.log(end) - middle / np.exp(x)]), (0.0, 1.0)
            )
            assert 2 * (best.fun - summit.fun) == pytest.approx(CHI_SQUARED, abs=1e-6)

    @pytest.mark.parametrize("seed", range(3))
    def test_estimates_by_scipys_censored_data(self, seed):
        lives = some_lives(seed, 80, truncated=False)
        exact, failed = lives.exact, lives.failed
        left = failed & ~exact & (lives.low == 0)
        inside = failed & ~exact & ~left
        data = scipy.stats.CensoredData(
            uncensored=lives.low[exact],
            left=lives.high[left],
            right=lives.low[~failed],
            interval=np.column_stack([lives.low, lives.high])[inside],
        )
        shape, _, scale = scipy.stats.weibull_min.fit(data, floc=0)
        fit = fit_weibull(lives)
        assert (fit.shape.estimate, fit.scale.estimate) == pytest.approx((shape, scale), rel=2e-4)
        shape, _, scale = scipy.stats.lognorm.fit(data, floc=0)
        fit = fit_lognormal(lives)
        assert (fit.shape.estimate, fit.scale.estimate) == pytest.approx((shape, scale), rel=2e-4)

    @settings(max_examples=20, deadline=None)
    @given(seed=seeds)
    def test_order_and_unit_of_time_change_nothing(self, seed):
        lives = some_lives(seed, 40)
        fit = fit_weibull(lives)
        days = Lifetimes(*(part * 365.25 for part in (lives.entry, lives.low, lives.high)), lives.cluster)
        shuffled = fit_weibull(lives.of(np.random.default_rng(seed).permutation(40)))
        for other, scale in ((shuffled, 1.0), (fit_weibull(days), 365.25)):
            assert _ends(other.shape) == pytest.approx(_ends(fit.shape), rel=1e-5, nan_ok=True)
            for name in ("scale", "median"):
                ours, theirs = _ends(getattr(fit, name)), _ends(getattr(other, name))
                assert theirs / scale == pytest.approx(ours, rel=1e-5, nan_ok=True)

    def test_the_level_widens(self):
        lives = some_lives(2, 80)
        narrow, wide = fit_weibull(lives, 0.8), fit_weibull(lives, 0.99)
        assert wide.shape.low < narrow.shape.low < narrow.shape.high < wide.shape.high
        with pytest.raises(ValueError, match="between 0 and 1"):
            fit_weibull(lives, 95)


class TestFewFailures:
    def test_none_gives_lower_limits_of_scale_and_median(self):
        """At the limit, the chance of no failure is 2.5 % under the shape that is kindest to it."""
        low = np.linspace(5, 12, 40)
        fit = fit_weibull(coats(low, np.full(40, INF)))
        assert (fit.shape, fit.log_likelihood, fit.failures) == (Interval(None, None, None), None, 0)
        assert (fit.scale.estimate, fit.scale.high, fit.median.estimate) == (None, None, None)
        shapes = np.geomspace(0.02, 200, 4000)[:, None]
        hazard = ((low / fit.scale.low) ** shapes).sum(axis=1).min()
        assert hazard == pytest.approx(-np.log(0.025), rel=1e-3)
        assert "no failure" in fit.method

    def test_nothing_at_risk(self):
        unknown = Interval(None, None, None)
        for lives in (coats([], []), coats([0.0], [INF])):
            fit = fit_weibull(lives)
            assert (fit.shape, fit.scale, fit.median) == (unknown, unknown, unknown)

    def test_one_failure_has_limits(self):
        fit = fit_weibull(coats([8.0, *np.linspace(3, 15, 30)], [9.0] + [INF] * 30))
        assert fit.failures == 1
        assert fit.shape.low < fit.shape.estimate
        assert fit.scale.low < fit.scale.estimate
        assert fit.scale.high is None
        assert fit.median.low is not None

    def test_all_at_one_moment_has_no_shape(self):
        fit = fit_weibull(coats([5.5] + [4.0] * 8, [5.5] + [INF] * 8))
        assert (fit.shape.estimate, fit.shape.high, fit.log_likelihood) == (None, None, None)
        assert fit.shape.low > 1
        assert "one moment" in fit.method

    @settings(max_examples=40, deadline=None)
    @given(seed=seeds, n=st.integers(1, 8), family=st.sampled_from([fit_weibull, fit_lognormal]))
    def test_whatever_there_is_the_ends_hold_the_estimate(self, seed, n, family):
        fit = family(some_lives(seed, n, exact=0.5))
        for interval in (fit.shape, fit.scale, fit.median):
            ends = [end for end in (interval.low, interval.estimate, interval.high) if end is not None]
            assert ends == sorted(ends)
            assert np.isfinite(ends).all()


class TestHouses:
    def test_each_coat_in_its_own_house_widens_nothing(self):
        lives = some_lives(1)
        assert fit_weibull(
            Lifetimes(lives.entry, lives.low, lives.high, np.arange(len(lives)))
        ).clustering == (1, 1, 1)

    def test_copies_in_one_house_tell_no_more_than_one(self):
        lives = some_lives(4, 120)
        fourfold = [np.repeat(part, 4) for part in (lives.entry, lives.low, lives.high)]
        once = fit_weibull(Lifetimes(lives.entry, lives.low, lives.high, np.arange(120)))
        copies = fit_weibull(Lifetimes(*fourfold, np.repeat(np.arange(120), 4)))
        assert copies.median.estimate == pytest.approx(once.median.estimate)
        for name in ("shape", "scale", "median"):
            ours, theirs = getattr(copies, name), getattr(once, name)
            assert ours.high - ours.low == pytest.approx(theirs.high - theirs.low, rel=0.2)
        assert "houses" in copies.method


def _ends(interval):
    return np.array(
        [np.nan if end is None else end for end in (interval.low, interval.estimate, interval.high)]
    )
