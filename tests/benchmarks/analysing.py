"""The analysis beside the libraries that its tests check it against; first, that the answers agree."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from functools import partial

import numpy as np
import numpy.typing as npt
import pymannkendall
import pytest
import statsmodels.api as sm
from sklearn.isotonic import IsotonicRegression
from statsmodels.regression.mixed_linear_model import MixedLM

from inspections.analysis.harmonic import harmonic_fit
from inspections.analysis.harmonics import harmonic_fits
from inspections.analysis.linear import correlation
from inspections.analysis.mixed import mixed_fit
from inspections.analysis.monotone import isotonic
from inspections.analysis.records import YEAR
from inspections.analysis.trends import season_of, seasonal_kendalls
from tests.benchmarks.comparing import Result, Sizes, medians, times_faster

SEASONS, YEARS = 4, 15
SEED = 20250915
#: Statsmodels' searches for the variances of a mixed model.
SEARCHES = ("bfgs", "lbfgs", "cg")
#: Days over which the errors of one wall are taken to be alike.
TAU = 60.0

Array = npt.NDArray[np.float64]


def run(sizes: Sizes) -> list[Result]:
    random = np.random.default_rng(SEED)
    time = np.sort(np.arange(SEASONS * YEARS) * YEAR / SEASONS + 45.0).round()
    values = 20 + 0.5 * time / YEAR + random.normal(0, 2, (sizes.batch, len(time)))
    return [
        *_kendall(time, values, sizes),
        *_harmonic(time, values, sizes),
        _mixed(random, sizes),
        _isotonic(list(values[: sizes.series]), sizes),
    ]


def _kendall(time: Array, values: Array, sizes: Sizes) -> list[Result]:
    """Theirs is timed on a part of the series and scaled to all of them."""
    season = season_of(time)
    some, scale = values[: sizes.series], len(values) / sizes.series
    # Both start their year with the first reading's season, so that a period is a year of four seasons.
    ours = seasonal_kendalls(time, some, season, dependence="none")
    for i, value in enumerate(some):
        theirs = pymannkendall.seasonal_test(value, SEASONS)
        assert ours.s[i] == theirs.s
        assert ours.variance[i] == pytest.approx(theirs.var_s, rel=1e-12)
    ways: dict[str, Callable[[], object]] = {
        "theirs": lambda: [pymannkendall.seasonal_test(value, SEASONS) for value in some],
        "correlated": lambda: [pymannkendall.correlated_seasonal_test(value, SEASONS) for value in some],
        "none": lambda: seasonal_kendalls(time, values, season, dependence="none"),
        "seasons": lambda: seasonal_kendalls(time, values, season, dependence="seasons"),
        "serial": lambda: seasonal_kendalls(time, values, season, dependence="serial"),
    }
    took = medians(ways, sizes.repeats)
    count = f"{len(values):,} × {len(time)}"
    plain, correlated = "pymannkendall's seasonal test", "its test for correlated seasons"
    return [
        times_faster(f"{work}, {count}", took[ours], f"{beside}, no interval", scale * took[theirs], goal)
        for work, ours, beside, theirs, goal in (
            ("seasonal Kendall, Sen's slope and interval", "none", plain, "theirs", "at least 200 times"),
            ("the same, seasons covariant", "seasons", correlated, "correlated", "none"),
            ("the same, errors that last", "serial", plain, "theirs", "none"),
        )
    ]


def _harmonic(time: Array, values: Array, sizes: Sizes) -> list[Result]:
    some, scale = values[: sizes.series], len(values) / sizes.series
    angle = 2 * np.pi * time / YEAR
    design = np.column_stack([np.ones_like(time), (time - time.mean()) / YEAR, np.cos(angle), np.sin(angle)])
    sigma = correlation(np.abs(np.subtract.outer(time, time)), np.array([TAU]))[0]
    plain = harmonic_fits(time, some, serial=False)
    for i, value in enumerate(some):
        assert plain.coefficients[i] == pytest.approx(sm.OLS(value, design).fit().params, rel=1e-9)
    ways: dict[str, Callable[[], object]] = {
        "plain": lambda: harmonic_fits(time, values, serial=False),
        "serial": lambda: harmonic_fits(time, values),
        "OLS": lambda: [sm.OLS(value, design).fit().bse for value in some],
        "whole": lambda: [harmonic_fit(time, value) for value in some],
        "GLS": lambda: [sm.GLS(value, design, sigma=sigma).fit().bse for value in some],
    }
    took = medians(ways, sizes.repeats)
    count = f"{len(values):,} × {len(time)}"
    return [
        times_faster(
            f"harmonic regression with serially dependent errors, their time searched for, {count}",
            took["serial"],
            "statsmodels OLS in a loop",
            scale * took["OLS"],
            "at least 50 times",
        ),
        times_faster(
            f"the same, errors independent, {count}",
            took["plain"],
            "statsmodels OLS in a loop",
            scale * took["OLS"],
            "none",
        ),
        times_faster(
            f"the same, robust, one series at a time, {len(some)} × {len(time)}",
            took["whole"],
            "statsmodels GLS, that time given and not robust",
            took["GLS"],
            "none",
        ),
    ]


def _mixed(random: np.random.Generator, sizes: Sizes) -> Result:
    """Eight kinds of coat, an intercept and a slope each, time centred; beside the peer's fastest search.

    Fastest of those that reach the summit, which not all do on the same readings.
    """
    groups, visits, kinds = sizes.sections, 11, 8
    group = np.repeat(np.arange(groups), visits)
    time = np.tile(np.arange(visits) / 2, groups) + random.uniform(0, 0.2, groups * visits)
    time -= time.mean()
    design = np.zeros((len(time), 2 * kinds))
    design[np.arange(len(time)), group % kinds] = 1.0
    design[np.arange(len(time)), kinds + group % kinds] = time
    effects = random.multivariate_normal([0, 0], [[4, 0.3], [0.3, 0.25]], groups)
    value = 20 + design @ random.normal(size=2 * kinds) + random.normal(0, 1.5, len(time))
    value += effects[group, 0] + effects[group, 1] * time
    lines = np.column_stack([np.ones(len(time)), time])
    summit = mixed_fit(group, time, design, value).log_likelihood

    def theirs(method: str) -> float:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return float(MixedLM(value, design, group, exog_re=lines).fit(reml=True, method=method).llf)

    tried = {method: medians({method: partial(theirs, method)}, 1)[method] for method in SEARCHES}
    reached = [method for method in SEARCHES if abs(theirs(method) - summit) < 1e-5]
    fastest = min(reached, key=lambda method: tried[method])
    ways: dict[str, Callable[[], object]] = {
        "ours": lambda: mixed_fit(group, time, design, value),
        "theirs": lambda: theirs(fastest),
    }
    took = medians(ways, min(sizes.repeats, 3))
    return times_faster(
        f"random intercepts and slopes, REML, {groups:,} × {visits}, {2 * kinds} fixed effects",
        took["ours"],
        f"statsmodels MixedLM by {fastest}, the same log likelihood to 1e-5",
        took["theirs"],
        "at least 500 times",
    )


def _isotonic(values: list[Array], sizes: Sizes) -> Result:
    order = np.arange(len(values[0]), dtype=float)
    theirs = IsotonicRegression()
    assert isotonic(values[0]) == pytest.approx(theirs.fit_transform(order, values[0]), rel=1e-9)
    took = medians(
        {
            "ours": lambda: [isotonic(value) for value in values],
            "theirs": lambda: [theirs.fit_transform(order, value) for value in values],
        },
        sizes.repeats,
    )
    return times_faster(
        f"isotonic regression, {len(values)} × {len(order)}",
        took["ours"],
        "scikit-learn",
        took["theirs"],
        "none",
    )
