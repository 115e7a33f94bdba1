"""The analysis beside the libraries that its tests check it against; first, that the answers agree."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pymannkendall
import pytest
import statsmodels.api as sm
from sklearn.isotonic import IsotonicRegression

from inspections.analysis.harmonic import harmonic_fit
from inspections.analysis.linear import correlation
from inspections.analysis.monotone import isotonic
from inspections.analysis.records import YEAR
from inspections.analysis.trends import season_of, seasonal_kendall
from tests.benchmarks.comparing import Result, Sizes, medians, times_faster

SEASONS, YEARS = 4, 15
SEED = 20250915
#: Days over which the errors of one wall are taken to be alike.
TAU = 60.0

Array = npt.NDArray[np.float64]


def run(sizes: Sizes) -> list[Result]:
    random = np.random.default_rng(SEED)
    time = np.sort(np.arange(SEASONS * YEARS) * YEAR / SEASONS + 45.0).round()
    values = [20 + 0.5 * time / YEAR + random.normal(0, 2, len(time)) for _ in range(sizes.series)]
    return [_kendall(time, values, sizes), *_harmonic(time, values, sizes), _isotonic(values, sizes)]


def _kendall(time: Array, values: list[Array], sizes: Sizes) -> Result:
    season = season_of(time)
    # Both start their year with the first reading's season, so that a period is a year of four seasons.
    ours, theirs = seasonal_kendall(time, values[0], season), pymannkendall.seasonal_test(values[0], SEASONS)
    assert ours.s == theirs.s
    assert ours.n == len(time)
    took = medians(
        {
            "ours": lambda: [seasonal_kendall(time, value, season) for value in values],
            "theirs": lambda: [pymannkendall.seasonal_test(value, SEASONS) for value in values],
        },
        sizes.repeats,
    )
    return times_faster(
        f"seasonal Kendall, Sen's slope and interval, {len(values)} × {len(time)}",
        took["ours"],
        "pymannkendall's seasonal test, without an interval",
        took["theirs"],
        "at least 200 times, batched",
    )


def _harmonic(time: Array, values: list[Array], sizes: Sizes) -> list[Result]:
    angle = 2 * np.pi * time / YEAR
    design = np.column_stack([np.ones_like(time), (time - time.mean()) / YEAR, np.cos(angle), np.sin(angle)])
    sigma = correlation(np.abs(np.subtract.outer(time, time)), np.array([TAU]))[0]
    plain = harmonic_fit(time, values[0], robust=False, serial=False)
    assert plain is not None
    assert plain.coefficients == pytest.approx(sm.OLS(values[0], design).fit().params, rel=1e-9)
    took = medians(
        {
            "plain": lambda: [harmonic_fit(time, value, robust=False, serial=False) for value in values],
            "OLS": lambda: [sm.OLS(value, design).fit().bse for value in values],
            "whole": lambda: [harmonic_fit(time, value) for value in values],
            "GLS": lambda: [sm.GLS(value, design, sigma=sigma).fit().bse for value in values],
        },
        sizes.repeats,
    )
    count = f"{len(values)} × {len(time)}"
    return [
        times_faster(
            f"harmonic regression with errors, {count}",
            took["plain"],
            "statsmodels OLS in a loop",
            took["OLS"],
            "at least 50 times, batched",
        ),
        times_faster(
            f"the same, robust and with errors that last (their time searched for), {count}",
            took["whole"],
            "statsmodels GLS, that time given and not robust",
            took["GLS"],
            "none",
        ),
    ]


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
