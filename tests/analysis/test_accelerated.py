"""Regression of lives, against published fits and a general optimiser."""

import numpy as np
import pytest
import scipy.optimize
import scipy.stats
from hypothesis import example, given, settings
from hypothesis import strategies as st

from inspections.analysis.accelerated import LOG_NORMAL, WEIBULL, fit_accelerated
from inspections.analysis.lifetimes import Lifetimes
from inspections.analysis.weibull import fit_lognormal, fit_weibull
from tests.analysis.lives import INF, coats, cosmesis, part_cracks, right_censored, some_lives
from tests.analysis.published import table

NONE = np.zeros((0, 0))


def errors(fit):
    return np.sqrt(np.diag(fit.covariance))


class TestPublished:
    def test_breast_cosmesis(self):
        # One Weibull shape, treatment on log time: R survreg. Coefficients, errors, log scale, hazard ratio.
        patients, chemotherapy = cosmesis()
        fit = fit_accelerated(patients, chemotherapy[:, None])
        effect = fit.effects[0]
        assert fit.intercept.estimate == pytest.approx(3.899276, abs=5.1e-7)
        assert effect.coefficient.estimate == pytest.approx(-0.567551, abs=5.1e-7)
        assert np.log(fit.scale.estimate) == pytest.approx(-0.479101, abs=5.1e-7)
        assert errors(fit) == pytest.approx([0.140530, 0.175730, 0.119892], abs=5.1e-7)
        assert effect.standard_error == pytest.approx(0.175730, abs=5.1e-7)
        assert fit.log_likelihood == pytest.approx(-143.320827, abs=5.1e-7)
        ratio = np.exp(-effect.coefficient.estimate / fit.scale.estimate)
        assert ratio == pytest.approx(2.500223, abs=5.1e-7)

    def test_breast_cosmesis_as_another_manual_has_it(self):
        # One row circulates as (18, 26] too: so in the Stata manual's stintreg, by its log likelihood.
        patients, chemotherapy = cosmesis()
        other = (patients.low == 19) & (patients.high == 26) & (chemotherapy == 0)
        assert other.sum() == 1
        fit = fit_accelerated(
            coats(np.where(other, 18.0, patients.low), patients.high), chemotherapy[:, None]
        )
        assert fit.log_likelihood == pytest.approx(-143.19228, abs=5.1e-6)
        # 0.47857868: the last digit printed is where a general optimiser stopped.
        assert -np.log(fit.scale.estimate) == pytest.approx(0.4785786, abs=1.1e-7)
        ratio = np.exp(-fit.effects[0].coefficient.estimate / fit.scale.estimate)
        assert ratio == pytest.approx(2.498526, abs=5.1e-7)

    def test_tobin(self):
        # Tobin (1958): a normal left-censored at nought is a log-normal left-censored at one; R survreg.
        data = table("tobin")
        high = np.exp(data["durable"])
        lives = coats(np.where(data["durable"] > 0, high, 0.0), high)
        fit = fit_accelerated(lives, np.column_stack([data["age"], data["quant"]]), LOG_NORMAL)
        assert fit.intercept.estimate == pytest.approx(15.144866, abs=5.1e-7)
        found = [effect.coefficient.estimate for effect in fit.effects]
        assert found == pytest.approx([-0.129059, -0.045542], abs=5.1e-7)
        assert fit.scale.estimate == pytest.approx(5.5725, abs=5.1e-5)
        assert errors(fit)[:3] == pytest.approx([16.0795, 0.218584, 0.058254], abs=5.1e-5)
        # Without the log-normal's own term for the change of variable.
        jacobian = data["durable"][data["durable"] > 0].sum()
        assert fit.log_likelihood + jacobian == pytest.approx(-28.9, abs=0.051)

    def test_long_island(self):
        # TCE on population density (Helsel 2005, ch. 12): R survreg and NADA cenreg.
        data = table("tcereg")
        lives = coats(np.where(data["censored"] == 1, 0.0, data["tce"]), data["tce"])
        fit = fit_accelerated(lives, data["popdensity"][:, None], LOG_NORMAL)
        assert fit.intercept.estimate == pytest.approx(-3.73431, abs=5.1e-6)
        assert fit.effects[0].coefficient.estimate == pytest.approx(0.30873, abs=5.1e-6)
        assert fit.scale.estimate == pytest.approx(2.8342, abs=5.1e-5)
        assert errors(fit)[:2] == pytest.approx([0.749281, 0.073564], abs=5.1e-6)

    def test_without_covariates_errors_of_scale_and_shape(self):
        # NIST 8.4.1.3 and Nelson's part cracks: R survreg's standard errors by the delta method.
        data = table("nist_weibull_8413")
        for lives, scale_error, shape_error, digits in (
            (right_censored(data["hours"], data["failed"], data["freq"]), 124.91065, 0.502151, 5e-5),
            (part_cracks(), 5.333489, 0.146541, 5e-6),
        ):
            fit = fit_accelerated(lives, np.zeros((len(lives), 0)))
            scale, shape = np.exp(fit.intercept.estimate), 1 / fit.scale.estimate
            assert scale * errors(fit)[0] == pytest.approx(scale_error, abs=digits * 2)
            assert shape * errors(fit)[1] == pytest.approx(shape_error, abs=digits)


class TestFit:
    def test_without_covariates_it_is_the_fit_of_one_group(self):
        lives = some_lives(2, 80)
        for family, alone in ((WEIBULL, fit_weibull), (LOG_NORMAL, fit_lognormal)):
            fit, one = fit_accelerated(lives, np.zeros((80, 0)), family), alone(lives)
            assert np.exp(fit.intercept.estimate) == pytest.approx(one.scale.estimate)
            assert np.exp(fit.intercept.low) == pytest.approx(one.scale.low, rel=1e-6)
            assert fit.log_likelihood == pytest.approx(one.log_likelihood)

    @pytest.mark.parametrize("seed", range(3))
    def test_estimates_and_limits_by_a_general_optimiser(self, seed):
        random = np.random.default_rng(seed)
        lives = some_lives(seed, 90)
        lives = Lifetimes(lives.entry, lives.low, lives.high, np.arange(90))
        x = np.column_stack([random.normal(5, 2, 90), random.integers(0, 2, 90)])
        fit = fit_accelerated(lives, x)
        exact = lives.exact

        def loss(values):
            life = scipy.stats.weibull_min(np.exp(values[3]), scale=np.exp(values[0] + x @ values[1:3]))
            sound, failed, entered = (life.sf(part) for part in (lives.low, lives.high, lives.entry))
            with np.errstate(divide="ignore"):
                inside = np.log((sound - failed)[~exact]).sum()
            return -inside - life.logpdf(lives.low)[exact].sum() + np.log(entered).sum()

        options = {"xatol": 1e-9, "fatol": 1e-12, "maxiter": 20000, "maxfev": 20000}
        best = scipy.optimize.minimize(loss, [2.5, 0, 0, 0.5], method="Nelder-Mead", options=options)
        estimates = [fit.intercept.estimate, *(e.coefficient.estimate for e in fit.effects)]
        assert estimates == pytest.approx(best.x[:3], abs=1e-5)
        assert fit.log_likelihood == pytest.approx(-best.fun, abs=1e-8)
        end = fit.effects[0].coefficient.high
        held = scipy.optimize.minimize(
            lambda v: loss([v[0], end, v[1], v[2]]), best.x[[0, 2, 3]], method="Nelder-Mead", options=options
        )
        assert 2 * (held.fun - best.fun) == pytest.approx(scipy.stats.chi2.ppf(0.95, 1), abs=1e-5)

    def test_a_covariates_unit_and_origin_scale_its_coefficient_only(self):
        lives = some_lives(4, 70)
        depth = np.random.default_rng(0).normal(0.4, 0.1, 70)
        metres, millimetres = (
            fit_accelerated(lives, (x * depth + y)[:, None]) for x, y in ((1, 0), (1000, 50))
        )
        ours, theirs = metres.effects[0], millimetres.effects[0]
        assert theirs.coefficient.estimate * 1000 == pytest.approx(ours.coefficient.estimate)
        assert theirs.coefficient.low * 1000 == pytest.approx(ours.coefficient.low)
        assert theirs.p_value == pytest.approx(ours.p_value)

    def test_a_kind_that_never_failed_has_one_end(self):
        patients, chemotherapy = cosmesis()
        never = coats(
            np.where(chemotherapy == 1, 30.0, patients.low), np.where(chemotherapy == 1, INF, patients.high)
        )
        effect = fit_accelerated(never, chemotherapy[:, None]).effects[0]
        assert (effect.coefficient.estimate, effect.coefficient.high, effect.p_value) == (None, None, None)
        assert effect.coefficient.low > 0

    @settings(max_examples=40, deadline=None)
    @given(st.integers(0, 10_000), st.integers(2, 14), st.sampled_from([WEIBULL, LOG_NORMAL]))
    @example(443, 3, WEIBULL)
    @example(515, 9, WEIBULL)
    @example(144, 12, WEIBULL)
    def test_whatever_there_is_the_ends_hold_the_estimate(self, seed, n, family):
        random = np.random.default_rng(seed)
        lives, x = some_lives(seed, n, exact=random.choice([0.0, 0.5])), random.integers(0, 2, (n, 1))
        if x.min() == x.max():
            return
        fit = fit_accelerated(lives, x, family)
        for interval in (fit.intercept, fit.effects[0].coefficient, fit.scale) if fit else ():
            ends = [end for end in (interval.low, interval.estimate, interval.high) if end is not None]
            assert ends == sorted(ends)
            assert np.isfinite(ends).all()

    def test_copies_in_one_house_tell_no_more(self):
        lives = some_lives(6, 90)
        x = np.random.default_rng(6).normal(0, 1, 90)
        once = fit_accelerated(Lifetimes(lives.entry, lives.low, lives.high, np.arange(90)), x[:, None])
        copies = Lifetimes(
            *(np.repeat(part, 4) for part in (lives.entry, lives.low, lives.high)),
            np.repeat(np.arange(90), 4),
        )
        fourfold = fit_accelerated(copies, np.repeat(x, 4)[:, None])
        ours, theirs = (fit.effects[0].coefficient for fit in (once, fourfold))
        assert theirs.estimate == pytest.approx(ours.estimate, abs=1e-6)
        assert theirs.high - theirs.low == pytest.approx(ours.high - ours.low, rel=0.2)


class TestRefusals:
    def test_covariates_must_be_known_and_apart(self):
        lives = some_lives(1, 12)
        with pytest.raises(ValueError, match="a row for each coat"):
            fit_accelerated(lives, np.zeros(12))
        with pytest.raises(ValueError, match="coat 3: covariate 1 must be known"):
            fit_accelerated(lives, np.where(np.arange(24).reshape(12, 2) == 7, np.nan, 1.0))
        with pytest.raises(ValueError, match="can't be told apart"):
            fit_accelerated(lives, np.ones((12, 1)))
        with pytest.raises(ValueError, match="can't be told apart"):
            fit_accelerated(lives, np.column_stack([np.arange(12), 2 * np.arange(12) + 3]))
        with pytest.raises(ValueError, match="level"):
            fit_accelerated(lives, np.arange(12)[:, None], level=1.0)

    def test_without_failures_or_scatter_there_is_no_fit(self):
        assert fit_accelerated(coats([1.0, 2], [INF, INF]), [[0], [1]]) is None
        assert fit_accelerated(coats([5.5, 4, 4], [5.5, INF, INF]), [[0], [1], [0]]) is None
