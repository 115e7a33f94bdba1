"""What a coat costs a year of service: sums worked by hand, the discount against a known case, intervals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate

from inspections.analysis.costs import Payments, annuity, service_costs
from inspections.analysis.failures import FAILED, STANDING, Coats, Lives
from inspections.analysis.records import YEAR

AS_OF = 20_000.0


def lives(n: int, rng: np.random.Generator, years: float = 15.0) -> Lives:
    """Lives seen every year until 30 years."""
    life = years * rng.weibull(2.5, n) / math.gamma(1.4)
    low = np.floor(np.minimum(life, 30.0))
    failed = life < 30
    high = np.where(failed, low + 1, np.inf)
    state = np.where(failed, FAILED, STANDING)
    nothing = np.zeros(n)
    return Lives(nothing, low, high, state, low, nothing, nothing, np.ones(n, dtype=np.int64))


def coats(n: int, area: float = 8.0, in_place: float = 10.0) -> Coats:
    begun = np.full(n, AS_OF - in_place * YEAR)
    flags = np.zeros(n, dtype=bool)
    return Coats(np.arange(n), begun, begun, np.full(n, np.inf), flags, flags, flags, np.full(n, area))


def payments(*rows: tuple[int, float, str, str]) -> Payments:
    coat, amount, currency, what = zip(*rows, strict=True)
    days = np.full(len(rows), AS_OF - 10 * YEAR)
    return Payments(np.array(coat), days, np.array(amount), np.array(currency), np.array(what))


def test_sums_for_each_square_metre_and_year() -> None:
    n = 40
    paid = [(one, 400.0, "EUR", "installed") for one in range(n)]
    paid += [(0, 160.0, "EUR", "repaired"), (1, 80.0, "EUR", "removed")]
    found = lives(n, np.random.default_rng(1))
    house = np.arange(n) // 4
    (cost,) = service_costs(("binder",), [("NHL 2",)] * n, coats(n), found, house, payments(*paid), AS_OF)
    assert (cost.coats, cost.area_m2, cost.currency) == (40, 320.0, "EUR")
    assert (cost.first_year, cost.last_year) == (2014, 2014)
    assert cost.installed.estimate == pytest.approx(50.0)
    assert cost.upkeep.estimate == pytest.approx(160 / (40 * 8 * 10))
    assert cost.removed.estimate == pytest.approx(10.0)
    mean = cost.expected_years.estimate
    assert cost.per_year.estimate == pytest.approx(60 / mean + 0.05)
    assert cost.expected_years.low < 15.0 < cost.expected_years.high
    assert cost.per_year.low < cost.per_year.estimate < cost.per_year.high
    # Every coat cost the same: only how long it serves is unsure.
    assert cost.installed.low == pytest.approx(cost.installed.high)


def test_currencies_are_never_mixed() -> None:
    n = 12
    paid = [(one, 400.0, "EUR" if one % 2 else "USD", "installed") for one in range(n)]
    paid.append((1, 50.0, "USD", "repaired"))
    found = lives(n, np.random.default_rng(2))
    rows = service_costs((), [()] * n, coats(n), found, np.arange(n), payments(*paid), AS_OF)
    assert [(row.currency, row.coats) for row in rows] == [("EUR", 6), ("USD", 6)]
    assert rows[0].upkeep.estimate == rows[1].upkeep.estimate == 0.0


def test_few_coats_and_few_failures_say_so() -> None:
    n = 8
    found = lives(n, np.random.default_rng(3), years=500.0)
    paid = [(one, 400.0, "EUR", "installed") for one in range(n)]
    (cost,) = service_costs((), [()] * n, coats(n), found, np.arange(n), payments(*paid), AS_OF)
    assert cost.installed.estimate == pytest.approx(50.0)
    assert cost.per_year.estimate is None
    assert "No failure was seen" in cost.note
    (few,) = service_costs((), [()] * n, coats(n), found, np.arange(n), payments(*paid[:4]), AS_OF)
    assert few.installed.estimate is None
    assert few.note.startswith("Too few")


@pytest.mark.parametrize("rate", [0.01, 0.05, 0.2])
@pytest.mark.parametrize(("shape", "scale"), [(1.0, 12.0), (2.5, 20.0), (6.0, 40.0)])
def test_annuity_is_the_integral(rate: float, shape: float, scale: float) -> None:
    """E[integral of v**t to T] is the integral of v**t S(t); exponential lives have it in closed form."""
    force = math.log1p(rate)
    expected, _ = integrate.quad(lambda t: math.exp(-force * t - (t / scale) ** shape), 0, 40 * scale)
    lasting, at_end = annuity(shape, scale, rate)
    assert lasting == pytest.approx(expected, rel=2e-3)
    assert at_end == pytest.approx(1 - force * expected, rel=2e-2, abs=1e-3)
    if shape == 1.0:
        assert lasting == pytest.approx(1 / (force + 1 / scale), rel=2e-3)


def test_without_a_discount_the_annuity_is_the_mean_life() -> None:
    assert annuity(2.0, 10.0, 0.0)[0] == pytest.approx(10 * math.gamma(1.5))
    assert annuity(2.0, 10.0, 1e-9)[0] == pytest.approx(10 * math.gamma(1.5), rel=1e-3)


def test_the_cost_a_year_is_within_its_interval_nineteen_times_in_twenty() -> None:
    """Prices and lives of 24 houses at random; the truth by long simulation."""
    n, hits, books = 96, 0, 120
    mean = 15.0
    for seed in range(books):
        rng = np.random.default_rng(seed)
        price = 50.0 * np.exp(rng.normal(0, 0.3, n // 4))[np.arange(n) // 4]
        paid = payments(*((one, float(price[one]) * 8.0, "EUR", "installed") for one in range(n)))
        found = lives(n, rng)
        (cost,) = service_costs((), [()] * n, coats(n), found, np.arange(n) // 4, paid, AS_OF)
        truth = 50.0 * math.exp(0.3**2 / 2) / mean
        hits += cost.per_year.low <= truth <= cost.per_year.high
    # A binomial of 120 at 0.95 lies between 0.89 and 0.99 but for one time in a hundred.
    assert 0.89 <= hits / books <= 0.99
