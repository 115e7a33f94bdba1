"""Regression against certified data sets, published fits and statsmodels."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import minimize_scalar
from scipy.special import ndtr

from inspections.analysis import linear
from tests.analysis.published import table

seeds = st.integers(0, 10**6)


def sample(seed, n=30, p=3):
    random = np.random.default_rng(seed)
    design = np.column_stack([np.ones(n), random.normal(size=(n, p - 1))])
    value = design @ random.normal(size=p) + random.standard_t(3, n)
    return design, value, np.sort(random.uniform(0, 3000, n))


class TestLeastSquares:
    def test_norris(self):
        # NIST StRD, Norris: certified values.
        data = table("nist_norris")
        design = np.column_stack([np.ones(36), data["x"]])
        fit = linear.linear_fit(design, data["y"], robust=False)
        assert fit.coefficients == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-10)
        assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(
            [0.232818234301152, 0.429796848199937e-3], rel=1e-9
        )
        assert fit.residual_sd == pytest.approx(0.884796396144373, rel=1e-10)

    def test_longley(self):
        # NIST StRD, Longley: certified values; condition number near 5e9.
        data = table("nist_longley")
        names = ("gnpdefl", "gnp", "unemp", "armed", "pop", "year")
        design = np.column_stack([np.ones(16), *(data[name] for name in names)])
        fit = linear.linear_fit(design, data["totemp"], robust=False)
        certified = [-3482258.63459582, 15.0618722713733, -0.0358191792925910, -2.02022980381683]
        certified += [-1.03322686717359, -0.0511041056535807, 1829.15146461355]
        errors = [890420.383607373, 84.9149257747669, 0.0334910077722432, 0.488399681651699]
        errors += [0.214274163161675, 0.226073200069370, 455.478499142212]
        assert fit.coefficients == pytest.approx(certified, rel=1e-6)
        assert fit.residual_sd == pytest.approx(304.854073561965, rel=1e-7)
        # The covariance is by normal equations: good to about half the digits on columns as alike as these.
        assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(errors, rel=1e-4)

    @given(seeds)
    def test_weights_agree_with_statsmodels(self, seed):
        design, value, _ = sample(seed)
        weights = np.random.default_rng(seed).uniform(0.2, 3, len(value))
        fit = linear.linear_fit(design, value, weights=weights, robust=False)
        theirs = sm.WLS(value, design, weights).fit()
        assert fit.coefficients == pytest.approx(theirs.params)
        assert fit.covariance == pytest.approx(theirs.cov_params())


class TestHuber:
    @given(seeds)
    def test_agrees_with_statsmodels(self, seed):
        design, value, _ = sample(seed)
        fit = linear.linear_fit(design, value)
        theirs = sm.RLM(value, design, sm.robust.norms.HuberT()).fit(maxiter=500, tol=1e-12)
        assert fit.coefficients == pytest.approx(theirs.params, rel=1e-5, abs=1e-5)
        # statsmodels scales by the median absolute deviation where we take the readings' own spread of psi:
        # the covariance is the same, Huber's (1981) first.
        assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(theirs.bse, rel=1e-4)

    def test_one_wild_reading_moves_the_line_little(self):
        time = np.arange(20.0)
        design = np.column_stack([np.ones(20), time])
        value = 3 + 0.5 * time + np.random.default_rng(1).normal(0, 0.2, 20)
        wild = value.copy()
        wild[17] = 200
        fit = linear.linear_fit(design, wild)
        assert fit.coefficients[1] == pytest.approx(0.5, abs=0.05)
        assert fit.weights[17] < 0.01

    def test_readings_that_mostly_agree_exactly(self):
        design = np.column_stack([np.ones(9), np.arange(9.0)])
        fit = linear.linear_fit(design, np.array([5.0] * 8 + [6.0]))
        assert np.isfinite(fit.covariance).all()


class TestSerialDependence:
    def test_luteinizing_hormone(self):
        # Diggle (1990); Venables and Ripley, from memory, recomputed in R: ar1 0.5739, log-likelihood -29.38,
        # mean 2.4133 (SE 0.1466), variance of the innovations 0.1975.
        value = table("lh")["lh"]
        time = np.arange(48.0)
        design = np.ones((48, 1))
        tau, deviance = best_tau(design, value, time, restricted=False)
        assert np.exp(-1 / tau) == pytest.approx(0.5739, abs=1e-4)
        assert -deviance / 2 == pytest.approx(-29.38, abs=0.005)
        ((mean,),), (((variance,),),), (spread,) = solve(design, value, time, tau)
        assert mean == pytest.approx(2.4133, abs=5e-5)
        # R divides by n = 48 where we divide by n - 1, and takes the error from a numerical hessian.
        assert np.sqrt(variance * 47 / 48) == pytest.approx(0.1466, abs=2e-4)
        assert spread * 47 / 48 * (1 - np.exp(-2 / tau)) == pytest.approx(0.1975, abs=1e-4)

    def test_ovary(self):
        # Pinheiro and Bates (2000); R nlme gls, REML: phi 0.7532079, coefficients, sine's SE, residual SE.
        data = table("ovary")
        angle = 2 * np.pi * data["time"]
        design = np.column_stack([np.ones(308), np.sin(angle), np.cos(angle)])
        # A mare's readings are one step apart, mares so far that nothing is alike.
        time = np.arange(308.0) + 1e6 * data["mare"]
        order = np.argsort(data["mare"], kind="stable")
        design, value, time = design[order], data["follicles"][order], np.sort(time)
        tau, _ = best_tau(design, value, time)
        assert np.exp(-1 / tau) == pytest.approx(0.7532079, abs=2e-6)
        (mean,), (covariance,), (spread,) = solve(design, value, time, tau)
        assert mean == pytest.approx([12.2163982, -2.7747122, -0.8996047], abs=2e-5)
        assert np.sqrt(covariance[1, 1]) == pytest.approx(0.645048, abs=2e-6)
        assert np.sqrt(spread) == pytest.approx(4.616172, abs=2e-5)

    @given(seeds, st.sampled_from(linear.CORRELATION_TIMES[1:]))
    def test_agrees_with_generalised_least_squares(self, seed, tau):
        design, value, time = sample(seed)
        time = np.cumsum(1 + np.diff(time, prepend=0))
        (mean,), (covariance,), (spread,) = solve(design, value, time, tau)
        sigma = np.exp(-np.abs(time[:, None] - time) / tau)
        theirs = sm.GLS(value, design, sigma).fit()
        assert mean == pytest.approx(theirs.params, rel=1e-6, abs=1e-9)
        assert covariance == pytest.approx(theirs.cov_params(), rel=1e-6, abs=1e-12)
        assert spread == pytest.approx(theirs.scale, rel=1e-6)
        full = linear.serial_deviance(design, value, time, np.array([tau]), restricted=False)
        assert -full[0] / 2 == pytest.approx(theirs.llf, rel=1e-8)

    def test_averaging_over_the_correlation_time_widens_the_interval(self):
        design, value, time = sample(4, n=20)
        alone = linear.linear_fit(design[:, :1], value, robust=False)
        serial = linear.linear_fit(design[:, :1], value, time=time, robust=False)
        assert serial.covariance[0, 0] > alone.covariance[0, 0]


class TestOffTheScale:
    def test_durable_goods(self):
        # Tobin (1958); R survreg: coefficients, their standard errors, scale, log-likelihood.
        data = table("tobin")
        design = np.column_stack([np.ones(20), data["age"], data["quant"]])
        low = np.where(data["durable"] > 0, data["durable"], -np.inf)
        fit = linear.censored_regression(design, low, data["durable"])
        assert fit.coefficients == pytest.approx([15.144866, -0.129059, -0.045542], abs=1e-6)
        assert np.sqrt(np.diag(fit.covariance))[:3] == pytest.approx([16.0795, 0.218584, 0.058254], rel=1e-5)
        assert fit.scale == pytest.approx(5.5725, abs=1e-4)
        assert fit.log_likelihood == pytest.approx(-28.9, abs=0.05)

    def test_the_robust_path_without_outliers_or_dependence_is_tobins(self):
        data = table("tobin")
        design = np.column_stack([np.ones(20), data["age"], data["quant"]])
        low = np.where(data["durable"] > 0, data["durable"], -np.inf)
        fit = linear.linear_fit(design, data["durable"], low, data["durable"], robust=False)
        assert fit.coefficients == pytest.approx([15.144866, -0.129059, -0.045542], abs=1e-5)
        assert fit.residual_sd * np.sqrt(17 / 20) == pytest.approx(5.5725, abs=2e-4)

    def test_solvent_in_wells(self):
        # Helsel (2005), ch. 12; R survreg and NADA: coefficients, standard errors, scale.
        data = table("tcereg")
        y = np.log(data["tce"])
        low = np.where(data["censored"] > 0, -np.inf, y)
        design = np.column_stack([np.ones(247), data["popdensity"]])
        fit = linear.censored_regression(design, low, y)
        assert fit.coefficients == pytest.approx([-3.73431, 0.30873], abs=1e-5)
        assert np.sqrt(np.diag(fit.covariance))[:2] == pytest.approx([0.749281, 0.073564], rel=1e-4)
        assert fit.scale == pytest.approx(2.8342, abs=1e-4)

    def test_manganese(self):
        # USEPA (2009), EPA 530/R-09-007, example 15-1: lognormal mean 2.215905 and SD 1.356291 of the logs.
        data = table("epa2009_ex15_1_manganese")
        y = np.log(data["value"])
        low = np.where(data["censored"] > 0, -np.inf, y)
        fit = linear.censored_regression(np.ones((25, 1)), low, y)
        assert (fit.coefficients[0], fit.scale) == pytest.approx((2.215905, 1.356291), abs=1e-6)

    @given(seeds)
    def test_newton_finds_the_summit(self, seed):
        design, value, _ = sample(seed, n=40)
        floor, ceiling = np.quantile(value, [0.3, 0.8])
        low = np.where(value < floor, -np.inf, np.minimum(value, ceiling))
        high = np.where(value > ceiling, np.inf, np.maximum(value, floor))
        fit = linear.censored_regression(design, low, high)
        for place in range(4):
            for sign in (-1, 1):
                moved = np.append(fit.coefficients, fit.scale)
                moved[place] += sign * 1e-3
                theta = np.append(moved[:3] / moved[3], 1 / moved[3])
                assert linear._olsen(theta, design, low, high)[0] < fit.log_likelihood

    @given(st.floats(-6, 6), st.floats(-6, 6), st.floats(0.1, 3))
    def test_truncated_normal_agrees_with_quadrature(self, mean, low, width):
        expected, variance = linear.truncated_normal(
            np.array([mean]), 1.0, np.array([low]), np.array([low + width])
        )
        nearest = max(low - mean, mean - low - width, 0)

        def moment(k):
            return quad(lambda x: x**k * np.exp(0.5 * nearest**2 - 0.5 * (x - mean) ** 2), low, low + width)[
                0
            ]

        density = [moment(k) for k in range(3)]
        first = density[1] / density[0]
        assert expected[0] == pytest.approx(first, rel=1e-6, abs=1e-6)
        assert variance[0] == pytest.approx(density[2] / density[0] - first**2, rel=1e-4, abs=1e-6)

    def test_truncated_normal_far_out(self):
        expected, variance = linear.truncated_normal(
            np.zeros(2), 1.0, np.array([40.0, -np.inf]), np.array([np.inf, -40.0])
        )
        assert expected == pytest.approx([40.025, -40.025], abs=1e-3)
        assert (variance > 0).all()


@pytest.mark.parametrize("n", [3, 4])
def test_too_few_readings_give_no_fit(n):
    assert (
        linear.linear_fit(np.column_stack([np.ones(n), np.arange(n), np.arange(n) ** 2]), np.ones(n)) is None
    )


def test_columns_alike_give_no_fit():
    assert linear.linear_fit(np.ones((10, 2)), np.arange(10.0)) is None


def test_normal_probability_is_scipys():
    log_mass, _, _ = linear._mass(np.array([-1.0, 2.0]), np.array([0.5, np.inf]))
    assert np.exp(log_mass) == pytest.approx([ndtr(0.5) - ndtr(-1), ndtr(-2)])


def best_tau(design, value, time, restricted=True):
    def deviance(log_tau):
        return linear.serial_deviance(design, value, time, np.exp([log_tau]), restricted)[0]

    found = minimize_scalar(deviance, bounds=(-1, 4), method="bounded", options={"xatol": 1e-10})
    return np.exp(found.x), found.fun


def solve(design, value, time, tau):
    nothing_missing = np.zeros(len(value))
    return linear._solutions(design, value, nothing_missing, np.diff(time), np.array([tau]))
