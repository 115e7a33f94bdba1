"""What openings change: nothing of few, little where the model is right, much where it is far off."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import dblquad

from inspections.analysis.assessment import assess_building, model_version
from inspections.analysis.calibration import MODEL
from inspections.analysis.features import FEATURES
from inspections.analysis.openings import Opening
from inspections.analysis.recalibration import (
    AS_IS,
    LEAST,
    MIDDLE,
    MOST,
    SHIFT_SD,
    SLOPE_SD,
    Estimate,
    Recalibration,
    log_odds,
    recalibration,
    weights,
)
from inspections.analysis.records import FloatArray
from inspections.analysis.results import HYPOTHESES, version_parts
from inspections.analysis.verdict import OPENINGS, posteriors, recalibrated
from tests.analysis.test_assessment import CEMENT, HAND_AS_OF, hand_made
from tests.simulation.recalibrating import CHOICES, LAWS, judged


def portfolio() -> FloatArray:
    """Probabilities as on simulated walls: seven in ten under 0.05, one in nine called."""
    rng = np.random.default_rng(11)
    return np.concatenate([rng.beta(0.4, 30, 850), rng.beta(2, 4, 160), rng.beta(4, 1, 140)])


def found(probability: float, held: int, dry: int) -> list[Opening]:
    return [Opening(probability, i < held) for i in range(held + dry)]


def test_too_few_openings_change_nothing_at_all() -> None:
    own = recalibration(found(0.9, 0, LEAST - 1))
    assert not own.changes
    assert (own.shift, own.slope) == (AS_IS.shift, AS_IS.slope)
    assert (own.openings, own.held, own.expected) == (LEAST - 1, 0, pytest.approx(0.9 * (LEAST - 1)))
    assert recalibration(found(0.9, 0, LEAST)).changes
    assert model_version(own) == MODEL.version


def test_posterior_means_are_those_of_an_adaptive_integral() -> None:
    """Against `scipy.integrate.dblquad` of the same prior and likelihood, within a hundredth."""
    openings = found(0.9, 4, 6) + found(0.2, 1, 5)
    x = log_odds(np.array([one.probability for one in openings]))
    sign = np.array([1.0 if one.held else -1.0 for one in openings])
    w = weights(x)

    def likelihood(shift: float, slope: float) -> float:
        moved = MIDDLE + slope * (x - MIDDLE) + shift
        return float(np.exp(-(w * np.log1p(np.exp(-sign * moved))).sum()))

    def prior(shift: float, bend: float) -> float:
        return float(
            np.exp(-0.5 * (shift / SHIFT_SD) ** 2 - 0.5 * (bend / SLOPE_SD) ** 2)
            / (2 * np.pi * SHIFT_SD * SLOPE_SD)
        )

    def integral(of: str) -> float:
        def inner(bend: float, shift: float) -> float:
            value = {"": 1.0, "shift": shift, "slope": np.exp(bend)}[of]
            return value * prior(shift, bend) * likelihood(shift, float(np.exp(bend)))

        return float(dblquad(inner, -5, 5, -1.5, 1.5, epsabs=1e-9)[0])

    whole = 0.5 * integral("") + 0.5 * likelihood(0.0, 1.0)
    own = recalibration(openings)
    assert own.shift.value == pytest.approx(0.5 * integral("shift") / whole, abs=0.011)
    slope = (0.5 * integral("slope") + 0.5 * likelihood(0.0, 1.0)) / whole
    assert own.slope.value == pytest.approx(slope, abs=0.011)


def test_few_openings_move_little_and_many_much() -> None:
    shifts = [recalibration(found(0.7, n // 4, n - n // 4)).shift for n in (8, 20, 80, 400)]
    sizes = [-one.value for one in shifts]
    assert sizes == sorted(sizes)
    assert sizes[0] < 1.0 < sizes[-1]
    # A quarter of walls said to hold water at 0.7: the log-odds are to fall by log(7/3) + log(3).
    assert recalibration(found(0.7, 100, 300)).gain(np.array([0.7]))[0] == pytest.approx(-1.95, abs=0.15)
    for one in shifts:
        assert one.low <= one.value <= one.high
    assert shifts[0].high - shifts[0].low > shifts[2].high - shifts[2].low


def test_as_many_as_promised_change_hardly_anything() -> None:
    own = recalibration(found(0.8, 40, 10) + found(0.1, 5, 45))
    assert abs(own.gain(np.array([0.01, 0.1, 0.5, 0.8, 0.99]))).max() < 0.15


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.floats(0, 1), st.booleans()), min_size=LEAST, max_size=40), st.randoms())
def test_walls_keep_their_order_and_rows_any(rows: list[tuple[float, bool]], random: object) -> None:
    openings = [Opening(*row) for row in rows]
    own = recalibration(openings)
    stated = np.linspace(0, 1, 201)[1:-1]
    moved = log_odds(stated) + own.gain(stated)
    assert (np.diff(moved) > 0).all()
    random.shuffle(openings)  # type: ignore[attr-defined]
    assert recalibration(openings) == own


def test_openings_count_by_the_inverse_of_their_chance_within_bounds() -> None:
    many, few = log_odds(np.full(27, 0.8)), log_odds(np.full(3, 0.01))
    weight = weights(np.concatenate([many, few]))
    assert weight[-1] == pytest.approx(MOST * weight[0])
    assert weight.sum() <= 30
    assert weights(many) == pytest.approx(np.ones(27))


@pytest.mark.parametrize("choice", list(CHOICES))
@pytest.mark.parametrize(
    ("law", "counts"),
    [("half the odds", (10, 30, 100)), ("three times the odds", (10, 30, 100)), ("too sure", (100,))],
)
def test_walls_that_differ_become_better_calibrated(law: str, counts: tuple[int, ...], choice: str) -> None:
    """40 organisations each; the more openings the better. The truth is the simulation's own law."""
    last = np.inf
    for count in counts:
        before, after, better = judged(portfolio(), LAWS[law], choice, count, 40)
        assert after.excess < before.excess
        assert after.apart < before.apart
        assert better > 0.4
        assert after.excess < last * 1.1
        last = after.excess


@pytest.mark.parametrize("choice", list(CHOICES))
@pytest.mark.parametrize("count", [10, 30, 100])
def test_walls_that_do_not_differ_are_hardly_worse(choice: str, count: int) -> None:
    """At most five thousandths of a nat a wall (they have a fifth of one by nature), and 1.5 in a hundred."""
    _, after, _ = judged(portfolio(), LAWS["as stated"], choice, count, 40)
    assert after.excess < 0.005
    assert after.apart < 0.015


LESS = Recalibration(14, 3, 8.24, Estimate(-0.8, -1.6, 0.0), Estimate(0.9, 0.6, 1.1))


def test_the_terms_add_up_and_the_other_five_keep_their_ratios() -> None:
    vectors = list(np.random.default_rng(2).normal(size=(40, len(FEATURES))))
    for plain, moved in zip(posteriors(MODEL, vectors), posteriors(MODEL, vectors, LESS), strict=True):
        assert moved.probability == recalibrated(plain.probability, LESS)
        p, q = plain.probability["trapped_water"], moved.probability["trapped_water"]
        gain = np.log(q / (1 - q)) - np.log(p / (1 - p))
        assert gain == pytest.approx(LESS.gain(np.array([p]))[0], abs=1e-6)
        for name in HYPOTHESES[1:]:
            weight = sum(moved.weight(group, "trapped_water", name) for group in moved.score)
            assert weight == pytest.approx(np.log(q / moved.probability[name]), abs=1e-9)
            assert moved.weight(OPENINGS, name, "stable") == 0


def test_assessments_say_what_openings_add_and_still_add_up() -> None:
    record = hand_made(3.0, coat=CEMENT, hollow=0.08)
    plain = assess_building(record, HAND_AS_OF)[0]
    moved = assess_building(record, HAND_AS_OF, recalibration=LESS)[0]
    assert moved.probability["trapped_water"] < plain.probability["trapped_water"]
    for one in (plain, moved):
        total = one.log_odds.prior + sum(item.weight for item in one.evidence)
        assert total == pytest.approx(one.log_odds.total, abs=1e-9)
    (own,) = [item for item in moved.evidence if item.quantity == OPENINGS]
    assert own.weight < 0
    assert own.statement.startswith("Of 14 walls of yours that were opened 3 held water, where 8.2 ")
    assert "less likely here" in own.statement
    assert not [item for item in plain.evidence if item.quantity == OPENINGS]
    assert plain == assess_building(record, HAND_AS_OF, recalibration=AS_IS)[0]
    assert model_version(LESS) == f"{MODEL.version}, 14 openings, -0.80, 0.90"
    assert version_parts(model_version(LESS)) == (MODEL.version, 14)
    assert version_parts(model_version()) == (MODEL.version, 0)
    assert len(model_version(dataclasses.replace(LESS, openings=10_000))) <= 40
