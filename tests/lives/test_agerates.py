"""Rates by age, and groups at like ages: a Poisson regression, exact limits, a naive twin, known truth."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.optimize import minimize

from inspections.analysis import agefit
from inspections.analysis.agefit import fit_ages
from inspections.analysis.agerates import BANDS, AgeRates, age_rates
from inspections.analysis.failures import FAILED, STANDING, Lives
from inspections.analysis.lifetimes import Lifetimes
from inspections.analysis.poisson import rate, rate_ratio
from tests.lives.beside import AGES, Ages, aged, judge_ages

DAY = dt.date(2020, 1, 1)

#: Deaths and person-years of smokers and others at five ages, from 35: British doctors (Doll and Hill 1966;
#: in Breslow and Day 1987, Statistical Methods in Cancer Research II). The numbers are from memory; the ratio
#: at like ages, 1.4255 (1.155 to 1.759), is that of the Stata manual's Poisson regression on them.
DOCTORS = (
    ((32, 52407), (104, 43248), (206, 28612), (186, 12663), (102, 5317)),
    ((2, 18790), (12, 10673), (28, 5710), (28, 2585), (31, 1462)),
)
#: Years that are taken for one, so that few coats are needed.
IN_ONE = 1000.0


def as_lives(entry: np.ndarray, low: np.ndarray, high: np.ndarray) -> Lives:
    nothing = np.zeros(len(low))
    failed = np.isfinite(high)
    state = np.where(failed, FAILED, STANDING)
    years = np.where(failed, (low + np.where(failed, high, low)) / 2, low) - entry
    return Lives(entry, low, high, state, years, nothing, nothing, np.ones(len(low), dtype=np.int64))


def exact(seed: int, n: int = 600) -> tuple[Lifetimes, np.ndarray]:
    """Coats of three groups, some entered late, whose days of failure are known."""
    random = np.random.default_rng(seed)
    group = random.integers(0, 3, n)
    life = 14 * random.weibull(2.2, n) * np.array([1, 1.3, 0.7])[group]
    entry = np.where(random.random(n) < 0.3, random.uniform(0, 15, n), 0)
    end = entry + random.uniform(2, 15, n)
    kept = life > entry
    group, life, entry, end = group[kept], life[kept], entry[kept], end[kept]
    low = np.minimum(life, end)
    return Lifetimes(entry, low, np.where(life < end, low, np.inf), np.arange(len(low))), group


@pytest.fixture
def unheld(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing holds rates of neighbouring ages near each other."""
    monkeypatch.setattr(agefit, "STEP", 1e4)


@pytest.mark.usefixtures("unheld")
def test_of_exact_times_it_is_poisson_regression() -> None:
    lifetimes, group = exact(1)
    steps = (0.0, 5.0, 10.0, 20.0)
    fit = fit_ages(lifetimes, group, 0, 3, steps)
    assert fit is not None
    ends = np.append(steps[1:], np.inf)
    rows, deaths, years = [], [], []
    for one in range(3):
        for band, (first, end) in enumerate(zip(steps, ends, strict=True)):
            own = group == one
            inside = (lifetimes.low > first) & (lifetimes.low <= end) & lifetimes.failed & own
            spent = np.clip(lifetimes.low, first, end) - np.clip(lifetimes.entry, first, end)
            if spent[own].sum() > 0:
                rows.append([band == k for k in range(4)] + [one == k for k in (1, 2)])
                deaths.append(inside.sum())
                years.append(spent[own].sum())
    theirs = sm.GLM(deaths, np.array(rows, dtype=float), sm.families.Poisson(), exposure=years).fit()
    np.testing.assert_allclose(fit.rate, np.exp(theirs.params[:4]), rtol=1e-4)
    np.testing.assert_allclose(fit.factor, np.exp([0, *theirs.params[4:]]), rtol=1e-5)
    nothing = np.zeros((len(fit.ages), 2))
    spread = fit.spread(np.array([1, 2]), nothing, np.arange(len(group)))
    np.testing.assert_allclose(np.sqrt(spread), theirs.bse[4:], rtol=1e-4)


@pytest.mark.usefixtures("unheld")
def test_the_british_doctors() -> None:
    entry, low, high, group = [], [], [], []
    for smokes, cells in enumerate(DOCTORS):
        for band, (deaths, years) in enumerate(cells):
            spent, width = years / IN_ONE, 10.0
            while spent > 0:
                take = min(spent, width)
                entry.append(band * width)
                low.append(band * width + take)
                high.append(np.inf)
                group.append(smokes)
                spent -= take
            # Each death adds all but no time.
            entry += [band * width] * deaths
            low += [band * width + 1e-7] * deaths
            high += [band * width + 1e-7] * deaths
            group += [smokes] * deaths
    lifetimes = Lifetimes(np.array(entry), np.array(low), np.array(high), np.arange(len(low)))
    fit = fit_ages(lifetimes, np.array(group), 1, 2, tuple(np.arange(0.0, 50.0, 10.0)))
    assert fit is not None
    assert fit.factor[0] == pytest.approx(1.4255, abs=2e-4)
    error = float(np.sqrt(fit.spread(np.array([0]), np.zeros((5, 1)), lifetimes.cluster)[0]))
    assert np.exp(np.log(fit.factor[0]) + np.array([-1.96, 1.96]) * error) == pytest.approx(
        [1.155, 1.759], abs=2e-3
    )


def test_a_general_search_finds_the_same_summit() -> None:
    """Of intervals, against the likelihood written out coat by coat."""
    group, lives, _ = aged(Ages(coats=60), 3)
    lifetimes = Lifetimes(lives.entry, lives.low, lives.high, np.arange(60))
    place = np.array([one == ("B",) for one in group], dtype=np.int64)
    steps = (0.0, 10.0, 20.0)
    fit = fit_ages(lifetimes, place, 0, 2, steps)
    assert fit is not None

    def hazard(age: float, logs: np.ndarray, factor: float) -> float:
        ends = (10.0, 20.0, np.inf)
        spans = [max(min(age, end) - first, 0.0) for first, end in zip(steps, ends, strict=True)]
        return float(np.exp(logs) @ spans) * np.exp(factor)

    def lost(theta: np.ndarray) -> float:
        total = 0.5 * float((np.diff(theta[:3]) ** 2).sum()) / agefit.STEP**2
        for row in range(60):
            factor = theta[3] if place[row] else 0.0
            start, low = (hazard(age, theta[:3], factor) for age in (lives.entry[row], lives.low[row]))
            total += low - start
            if np.isfinite(lives.high[row]):
                total -= np.log(-np.expm1(low - hazard(lives.high[row], theta[:3], factor)))
        return total

    found = minimize(lost, np.array([-3.0, -3.0, -3.0, 0.0]), method="BFGS", options={"gtol": 1e-7})
    np.testing.assert_allclose(np.log(fit.rate), found.x[:3], atol=1e-4)
    assert np.log(fit.factor[1]) == pytest.approx(found.x[3], abs=1e-4)


def test_without_ages_the_limits_are_exact() -> None:
    """All failures at one age: Garwood's limits of a rate, and the exact ones of a ratio."""
    n = 40
    entry = np.full(n, 1.0)
    low = np.where(np.arange(n) % 4 == 0, 1.9, 2.0)
    high = np.where(np.arange(n) % 4 == 0, 1.9 + 1e-6, np.inf)
    group = [("A",) if one % 8 < 4 else ("B",) for one in range(n)]
    rows = age_rates(("coat",), group, as_lives(entry, low, high), np.arange(n), DAY)
    years = 15 * 1.0 + 5 * 0.9
    own = rate(5, years / 100)
    for band in rows.bands:
        if band.from_years == 0:
            told = band.rate.per_100_section_years, band.rate.low, band.rate.high
            assert told == pytest.approx((own.estimate, own.low, own.high), rel=1e-4)
            assert (band.section_years, band.failures) == pytest.approx((years, 5))
    ratio, _ = rate_ratio((5, 5), (years, years))
    beside = rows.alike[1].times_as_often
    assert (beside.estimate, beside.low, beside.high) == pytest.approx((1.0, ratio.low, ratio.high), rel=1e-3)


def book(seed: int = 1, **plan: float) -> AgeRates:
    return age_rates(("coat",), *aged(Ages(**plan), seed), DAY)  # type: ignore[arg-type]


def test_bands_add_up_and_spread_only_what_spans_them() -> None:
    group, lives, house = aged(Ages(coats=400, gap=2.0), 5)
    rows = age_rates(("coat",), group, lives, house, DAY)
    assert sum(one.failures for one in rows.bands) == pytest.approx((lives.state == FAILED).sum())
    assert sum(one.section_years for one in rows.bands) == pytest.approx(lives.years.sum(), rel=0.01)
    for name in ("A", "B"):
        own = np.array([one == (name,) for one in group])
        for one in (one for one in rows.bands if one.group["coat"] == name):
            end = one.to_years or np.inf
            surely = own & (lives.low >= one.from_years) & (lives.high <= end)
            perhaps = own & np.isfinite(lives.high) & (lives.high > one.from_years) & (lives.low < end)
            assert surely.sum() - 1e-9 <= one.failures <= perhaps.sum() + 1e-9
            spent = np.clip(lives.low[own], one.from_years, end) - np.clip(
                lives.entry[own], one.from_years, end
            )
            assert one.section_years >= spent.sum() - 1e-9
    assert {one.from_years for one in rows.bands} <= set(BANDS)


def test_found_coats_look_worse_than_they_are_until_ages_are_alike() -> None:
    """B fails half as often at each age; watched when old, it fails more often a year."""
    rows = book(2, coats=400).alike
    (second,) = (one for one in rows if one.group != one.reference)
    turned = second.group["coat"] == "A"
    truth = 2.0 if turned else 0.5
    crude, alike = second.crude, second.times_as_often
    assert alike.low < truth < alike.high
    assert (crude.high < 1.0) if turned else (crude.low > 1.0)
    # What is standardised stands in the same order as the ratios, crude rates don't.
    rates = {one.group["coat"]: one.rate.per_100_section_years for one in rows}
    assert rates["B"] < rates["A"]


@pytest.mark.parametrize("name", ["B half as often, found old", "houses alike (log lives 0.3), 400 coats"])
def test_intervals_at_like_ages_hold_the_truth(name: str) -> None:
    alike, crude = judge_ages(AGES[name], 40, first=1001)
    # A binomial of 40 at 0.95 is at least 34 but for one time in a hundred.
    assert sum(alike.held) >= 34
    assert sum(crude.held) <= 4
    assert abs(float(np.mean(alike.off))) < 0.2


def test_houses_that_are_alike_widen() -> None:
    group, lives, house = aged(Ages(frailty=0.8, coats=400), 4)
    wide, narrow = (
        age_rates(("coat",), group, lives, one, DAY).alike for one in (house, np.arange(len(group)))
    )
    for one, other in zip(wide, narrow, strict=True):
        assert one.rate.low < other.rate.low
        assert one.rate.high > other.rate.high


def test_the_order_of_rows_changes_nothing() -> None:
    group, lives, house = aged(Ages(), 6)
    order = np.random.default_rng(1).permutation(len(group))
    shuffled = Lives(*(getattr(lives, name)[order] for name in Lives.__slots__))
    first = age_rates(("coat",), group, lives, house, DAY)
    again = age_rates(("coat",), [group[one] for one in order], shuffled, house[order], DAY)
    for one, other in zip(first.alike, again.alike, strict=True):
        assert one.rate.per_100_section_years == pytest.approx(other.rate.per_100_section_years, rel=1e-7)
        assert one.rate.high == pytest.approx(other.rate.high, rel=1e-6)


def test_a_group_without_a_failure_has_an_upper_limit() -> None:
    entry, low = np.zeros(20), np.full(20, 8.0)
    high = np.where(np.arange(20) < 5, 8.5, np.inf)
    group = [("A",)] * 10 + [("B",)] * 10
    rows = age_rates(("coat",), group, as_lives(entry, low, high), np.arange(20), DAY).alike
    none = rows[1]
    assert (none.times_as_often.estimate, none.times_as_often.low) == (0.0, 0.0)
    # All failed at 8 to 8.5 years, at which A was watched for some 6.2 and B for 5 years: the exact limit.
    exact_ratio, _ = rate_ratio((0, 5), (5.0, 6.2))
    assert none.times_as_often.high == pytest.approx(exact_ratio.high, rel=0.06)
    assert (none.rate.per_100_section_years, none.rate.low) == (0.0, 0.0)
    assert none.rate.high > 0


def test_groups_that_share_no_ages_are_not_set_beside_each_other() -> None:
    entry = np.r_[np.zeros(12), np.full(12, 30.0)]
    low = entry + 4.0
    high = np.where(np.arange(24) % 3 == 0, low + 0.5, np.inf)
    group = [("A",)] * 12 + [("B",)] * 12
    rows = age_rates(("coat",), group, as_lives(entry, low, high), np.arange(24), DAY).alike
    assert rows[1].times_as_often.estimate is None
    assert "Too few of it were watched at ages" in rows[1].note
    assert rows[1].crude.estimate is not None


def test_too_few_coats_and_no_failure() -> None:
    entry, low = np.zeros(9), np.full(9, 8.0)
    high = np.where(np.arange(9) == 0, 9.0, np.inf)
    group = [("A",)] * 5 + [("B",)] * 4
    rows = age_rates(("coat",), group, as_lives(entry, low, high), np.arange(9), DAY)
    assert [one.group["coat"] for one in rows.alike] == ["A"]
    few = [one for one in rows.bands if one.group["coat"] == "B"]
    assert few
    assert all(one.rate.high is None and one.note.startswith("Too few") for one in few)
    # A failure of the few counts, though nothing is set beside it.
    late = np.where(np.arange(9) == 8, 9.0, np.inf)
    rows = age_rates(("coat",), group, as_lives(entry, low, late), np.arange(9), DAY)
    assert rows.alike == ()
    assert sum(one.failures for one in rows.bands if one.group["coat"] == "B") == pytest.approx(1.0)
    none = age_rates(("coat",), group, as_lives(entry, low, np.full(9, np.inf)), np.arange(9), DAY)
    assert none.alike == ()
    assert sum(one.section_years for one in none.bands) == pytest.approx(72.0)
    assert all(one.failures == 0 for one in none.bands)
    nothing = np.zeros(0)
    assert age_rates((), [], as_lives(nothing, nothing, nothing), np.zeros(0, dtype=int), DAY).bands == ()
