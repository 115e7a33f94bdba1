"""Lives of coats beside two libraries for reliability and survival; first, that the answers agree."""

from __future__ import annotations

from collections.abc import Callable

import lifelines
import numpy as np
import numpy.typing as npt
import pytest
import surpyval

from inspections.analysis.lifetimes import Lifetimes
from inspections.analysis.turnbull import turnbull
from inspections.analysis.weibull import estimate_weibull, fit_weibull
from tests.benchmarks.comparing import Result, Sizes, medians, times_faster

SEED = 20250915
#: The gap that the nonparametric estimate has to prove.
GAP = 1e-4
#: lifelines takes no nought for the log of a time.
ALMOST_NOUGHT = 1e-12

Array = npt.NDArray[np.float64]


def run(sizes: Sizes) -> list[Result]:
    results: list[Result] = []
    for n in sizes.coats:
        low, high = _intervals(n)
        lives = Lifetimes(np.zeros(n), low, high, np.arange(n))
        results += [_curve(lives, sizes.repeats), *_weibull(lives, sizes.repeats)]
    return results


def _intervals(n: int) -> tuple[Array, Array]:
    """Failures seen at visits of their own, half a year to three years apart; three in ten still stand."""
    random = np.random.default_rng(SEED)
    life, width, share = 10 * random.weibull(1.8, n), random.uniform(0.5, 3, n), random.random(n)
    high = np.where(random.random(n) < 0.3, np.inf, life + (1 - share) * width)
    return np.maximum(life - share * width, 0.0), high


def _curve(lives: Lifetimes, repeats: int) -> Result:
    def theirs() -> object:
        return surpyval.Turnbull.fit(xl=lives.low, xr=lives.high, turnbull_estimator="Kaplan-Meier")

    ours, fitted = turnbull(lives), theirs()
    at = np.concatenate([[1.0], fitted.R])
    low, high = (at[np.searchsorted(fitted.x, time, "right")] for time in (lives.low, lives.high))
    reached = float(np.log(np.maximum(low - np.where(lives.failed, high, 0.0), 1e-300)).sum())
    assert ours.gap <= GAP
    assert reached <= ours.log_likelihood + GAP
    took = medians({"ours": lambda: turnbull(lives), "theirs": theirs}, repeats)
    return times_faster(
        f"survival of {len(lives)} intervals, {len(ours.mass)} of them with mass, gap {ours.gap:.0e}",
        took["ours"],
        "surpyval's Turnbull",
        took["theirs"],
        "at least 2 times, gap at most 1e-4",
    )


def _weibull(lives: Lifetimes, repeats: int) -> list[Result]:
    floor = np.maximum(lives.low, ALMOST_NOUGHT)
    ways: dict[str, Callable[[], object]] = {
        "fit": lambda: estimate_weibull(lives),
        "whole": lambda: fit_weibull(lives),
        "surpyval": lambda: surpyval.Weibull.fit(xl=lives.low, xr=lives.high),
        "lifelines": lambda: lifelines.WeibullFitter().fit_interval_censoring(floor, lives.high),
    }
    shape, scale = estimate_weibull(lives)
    other, third = ways["surpyval"](), ways["lifelines"]()
    assert (scale, shape) == pytest.approx(tuple(other.params), rel=2e-6)
    # It stops a little earlier.
    assert (scale, shape) == pytest.approx((third.lambda_, third.rho_), rel=2e-4)
    took = medians(ways, repeats)
    work = f"Weibull of {len(lives)} intervals"
    return [
        times_faster(work, took["fit"], "surpyval", took["surpyval"], "at least 14 times"),
        times_faster(work, took["fit"], "lifelines", took["lifelines"], "at least 50 times"),
        times_faster(
            f"{work}, with profile-likelihood intervals of shape, scale and median",
            took["whole"],
            "surpyval, estimates only",
            took["surpyval"],
            "none",
        ),
    ]
