"""Whether work helped: what is said of walls whose change is known, and how often it is said wrongly."""

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm

from inspections.analysis.follow_up import NOT_SHOWN, TOO_FEW, WORKED, WORSE, follow_up
from inspections.analysis.records import YEAR, BuildingRecord, Readings, SectionRecord
from tests.analysis.houses import joined, readings

DONE = 18_000.0
VISITS = DONE + np.concatenate([np.arange(-1400, 0, 91.0), np.arange(40, 1100, 91.0)])


def wall(
    change: float, *, noise: float = 2.0, seed: int = 1, quantity: str = "deep_moisture", days=VISITS
) -> Readings:
    """A series with a season, errors that last two months, and a step at the work."""
    rng = np.random.default_rng(seed)
    shocks = rng.normal(size=len(days))
    errors = np.zeros(len(days))
    for i, shock in enumerate(shocks):
        rho = math.exp(-(days[i] - days[i - 1]) / 60) if i else 0.0
        errors[i] = rho * errors[i - 1] + math.sqrt(1 - rho**2) * shock
    season = 6 * np.cos(2 * np.pi * days / YEAR)
    value = 50 + season + noise * errors + change * (days > DONE)
    return readings(days + 0.5, value, quantity=quantity)


def asked(
    series: Readings, kind: str = "source_mended", verdict: str = "trapped_water", as_of: float = DONE + 1200
):
    house = BuildingRecord("H", (SectionRecord("W", length_m=3, height_m=2, readings=series),))
    return follow_up(house, "W", DONE, kind, verdict, as_of)


@pytest.mark.parametrize(
    ("change", "outcome", "said"),
    [
        (-15.0, WORKED, "Deep moisture fell by"),
        (15.0, WORSE, "the wall is wetter than before."),
        (0.0, NOT_SHOWN, "not shown to have helped."),
    ],
)
def test_what_is_said_of_a_known_change(change: float, outcome: str, said: str) -> None:
    found = asked(wall(change))
    assert (found.outcome, found.quantity) == (outcome, "deep_moisture")
    assert found.low <= change <= found.high
    assert (found.visits_before, found.visits_after) == (16, 12)
    assert said in found.statement
    assert "16 visits before the work, 12 after it" in found.statement


def test_season_is_no_success() -> None:
    """Read in winter before the work and in summer after it, with too few visits to tell the season."""
    days = DONE + np.array([-400, -380, -30, -10, 150, 180])
    found = asked(wall(0.0, noise=0.5, days=days))
    assert found.outcome == NOT_SHOWN


def test_the_difference_is_that_of_an_independent_library() -> None:
    """Least squares on season and step; ours weighs outliers and lasting errors besides."""
    series = wall(-12.0, noise=0.3, seed=4)
    angle = 2 * np.pi * np.floor(series.time) / YEAR
    design = np.column_stack([np.ones(len(angle)), np.cos(angle), np.sin(angle), series.time > DONE])
    reference = sm.OLS(series.value, design.astype(float)).fit()
    assert asked(series).change == pytest.approx(reference.params[3], abs=0.15)


def test_a_wall_that_did_not_change_is_seldom_called_cured() -> None:
    """At 95 % about one in forty each way; the interval holds the truth about as often as it says."""
    found = [asked(wall(-3.0, seed=seed)) for seed in range(150)]
    assert np.mean([one.low <= -3.0 <= one.high for one in found]) > 0.9
    none = [asked(wall(0.0, seed=seed)).outcome for seed in range(1000, 1150)]
    assert none.count(WORKED) + none.count(WORSE) <= 15


def test_what_settles_is_left_out_and_nothing_later_is_used() -> None:
    assert asked(wall(-15.0), kind="recoat").visits_after == 11
    assert asked(wall(-15.0), as_of=DONE + 200).visits_after == 2
    assert asked(wall(-15.0), as_of=DONE + 100).outcome == TOO_FEW


def test_the_face_decides_only_where_it_can() -> None:
    face = wall(-15.0, quantity="surface_moisture")
    assert asked(face).outcome == TOO_FEW
    assert asked(face, verdict="water_entry").quantity == "surface_moisture"
    assert asked(face, verdict="water_entry", kind="recoat").outcome == TOO_FEW
    both = joined(face, wall(0.0, quantity="deep_moisture", seed=5))
    assert asked(both, verdict="water_entry").outcome == WORKED
    assert asked(both, verdict="trapped_water").outcome == NOT_SHOWN


def test_without_readings_it_says_what_is_needed() -> None:
    nothing = asked(readings(np.zeros(0), np.zeros(0)))
    assert (nothing.outcome, nothing.quantity) == (TOO_FEW, "")
    assert "at least 2 before the work and 2 after it" in nothing.statement
    assert "there are 0 and 0." in nothing.statement
