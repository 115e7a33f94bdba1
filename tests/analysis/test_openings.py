"""What opened walls say, against the published example of verification that depends on the test."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.analysis.alarms import CALL
from inspections.analysis.openings import SOFT_MM, WET_MASS, Opening, finding, truth_of, worth_opening

CALLED, OTHER = 0.9, 0.01


def openings(probability: float, held: int, dry: int) -> list[Opening]:
    return [Opening(probability, i < held) for i in range(held + dry)]


def test_the_published_example_of_begg_and_greenes() -> None:
    """Hepatic scintigraphy (Drum & Christacopoulos 1972) in Begg & Greenes 1983: of 429 tests that were
    positive 263 were verified, 231 ill; of 221 negative 81, 27 ill. Sensitivity 0.836, specificity 0.738
    (naively 0.895 and 0.628). From memory; the arithmetic of their equation 1 gives the same."""
    seen = openings(CALLED, 231, 32) + openings(OTHER, 27, 54)
    truth = truth_of(seen, np.array([CALLED] * 429 + [OTHER] * 221))
    assert truth.sensitivity is not None
    assert truth.false_calls is not None
    assert truth.sensitivity.value == pytest.approx(0.836, abs=5e-4)
    assert 1 - truth.false_calls.value == pytest.approx(0.738, abs=5e-4)
    assert truth.sensitivity.low < 0.836 < truth.sensitivity.high < 0.895


def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    """600 portfolios, calls opened ten times as often as others: 95 % less three binomial errors."""
    rng = np.random.default_rng(5)
    share = {0.02: 0.02, 0.2: 0.2, 0.5: 0.5, 0.9: 0.9}
    walls = np.repeat(list(share), [400, 60, 20, 60])
    opened = {0.02: 30, 0.2: 12, 0.5: 8, 0.9: 30}
    true = {p: share[p] * (walls == p).sum() for p in share}
    sensitivity = (true[0.5] + true[0.9]) / sum(true.values())
    hits = 0
    for _ in range(600):
        seen = [Opening(p, bool(rng.random() < share[p])) for p in share for _ in range(opened[p])]
        found = truth_of(seen, walls).sensitivity
        assert found is not None
        hits += found.low <= sensitivity <= found.high
    assert hits / 600 >= 0.95 - 3 * np.sqrt(0.95 * 0.05 / 600)


def test_too_few_openings_say_nothing() -> None:
    everywhere = np.array([CALLED] * 5 + [OTHER] * 50)
    truth = truth_of(openings(CALLED, 9, 1) + openings(OTHER, 0, 4), everywhere)
    assert (truth.sensitivity, truth.false_calls) == (None, None)
    assert (truth.opened, truth.called, truth.held) == (14, 10, 9)
    assert truth.expected == pytest.approx(9.04)
    assert truth_of([], everywhere).opened == 0


@given(st.lists(st.tuples(st.floats(0, 1), st.booleans()), min_size=1, max_size=60))
def test_shares_are_shares_within_their_intervals_order(rows: list[tuple[float, bool]]) -> None:
    truth = truth_of([Opening(*row) for row in rows], np.linspace(0, 1, 50), fewest=0)
    for share in (truth.sensitivity, truth.false_calls):
        assert share is not None
        assert 0 <= share.low <= share.high <= 1
        assert 0 <= share.value <= 1


@pytest.mark.parametrize(
    ("moisture", "hygroscopic", "soft", "held"),
    [
        (WET_MASS + 1, np.nan, np.nan, True),
        (WET_MASS + 1, 2.0, 99.0, False),
        (np.nan, 2.0, SOFT_MM, True),
        (np.nan, 2.0, SOFT_MM - 1, False),
        (np.nan, 2.0, np.nan, None),
    ],
)
def test_weighed_moisture_decides_and_soft_mortar_where_none_was_weighed(
    moisture: float, hygroscopic: float, soft: float, held: bool | None
) -> None:
    assert finding(moisture, hygroscopic, soft) is held


def test_opening_is_worth_most_at_the_call_and_nothing_where_all_is_known() -> None:
    worth = [worth_opening(p) for p in np.linspace(0, 1, 101)]
    assert np.argmax(worth) == round(100 * CALL)
    assert worth[0] == worth[-1] == 0
