"""The verdict on walls that it was not calibrated on: a small sample of what ``judge`` measures in full.

Limits are about four standard errors (binomial, over the sample's sections) below what the full run gave,
so that they fail when the verdict gets worse and not by the draw of the sample.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.simulation.book import to_records
from tests.simulation.calibrate import FIRST_SEED, GENERATORS
from tests.simulation.evaluate import Items, evaluate, join
from tests.simulation.judge import YEARLY, judged_portfolio, judged_portfolios, thinned
from tests.simulation.physical import simulate

SEEDS = (901, 902)


@cache
def sample() -> tuple[Items, Items]:
    ours, lines = [], []
    for i, generator in enumerate(GENERATORS):
        for seed in SEEDS:
            one, line = judged_portfolio(generator, seed, 2)
            ours.append(replace(one, portfolio=one.portfolio + 10_000 * i))
            lines.append(line)
    return join(ours), join(lines)


def test_a_thinned_house_was_visited_once_a_year() -> None:
    house = to_records(simulate(3, houses=1, years=6))[0]
    seen, kept = (
        np.unique(np.concatenate([np.floor(section.readings.time) for section in one.sections]))
        for one in (house, thinned(house))
    )
    gaps = np.diff(kept)
    assert ((gaps >= YEARLY) | (gaps <= 1)).all()
    assert 3 <= len(kept) < len(seen)
    assert np.isin(kept, seen).all()


def test_trapped_water_is_ranked_called_and_seldom_called_falsely() -> None:
    score = evaluate(sample()[0], draws=50)
    assert score.auc.value > 0.95
    assert score.recall.value > 0.65
    assert score.false_rate.value < 0.05
    assert score.early_recall.value > 0.5
    assert score.entry_or_trapped.value > 0.8


def test_probabilities_mean_what_they_say() -> None:
    score = evaluate(sample()[0], draws=50)
    assert score.reliability.expected_error < 0.06
    assert score.all_classes.expected_error < 0.05


def test_a_rising_line_does_worse() -> None:
    ours, line = (evaluate(items, draws=50) for items in sample())
    assert ours.auc.value > line.auc.value + 0.05
    assert ours.recall.value > line.recall.value + 0.2


def test_seeds_of_calibration_are_not_for_judging() -> None:
    with pytest.raises(ValueError, match="calibration"):
        judged_portfolios("blind", range(FIRST_SEED, FIRST_SEED + 1))
