"""The scores against scikit-learn, and the intervals against plain resampling."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sklearn.calibration import calibration_curve
from sklearn.metrics import confusion_matrix, recall_score, roc_auc_score

from tests.simulation.book import CLASSES
from tests.simulation.evaluate import (
    EARLY,
    ENTRY,
    TRAPPED,
    Items,
    auc,
    auc_interval,
    by_kit,
    evaluate,
    join,
    kit_name,
    match,
    reliability,
    share,
    told_apart,
)


def drawn(seed: int, n: int = 600, portfolios: int = 12) -> Items:
    """Items whose probabilities know something of the truth, with ties."""
    rng = np.random.default_rng(seed)
    truth = rng.choice(len(CLASSES), n, p=[0.15, 0.1, 0.05, 0.05, 0.05, 0.6])
    weight = rng.gamma(0.6, 1.0, (n, len(CLASSES))) + 0.8 * (truth[:, None] == np.arange(len(CLASSES)))
    probability = np.round(weight / weight.sum(axis=1, keepdims=True), 2)
    names = np.array(CLASSES)
    return Items(
        portfolio=rng.integers(0, portfolios, n),
        kit=rng.choice(["full", "least"], n),
        truth=names[truth],
        verdict=names[probability.argmax(axis=1)],
        probability=probability,
        lost_fraction=rng.choice([0.0, 0.009, 0.01, 0.2], n),
    )


@given(st.integers(0, 10_000), st.integers(1, 30), st.booleans())
def test_auc_is_that_of_scikit_learn(seed, levels, weighted):
    rng = np.random.default_rng(seed)
    score, positive = rng.integers(0, levels, 80) / levels, rng.random(80) < 0.3
    positive[:2] = [True, False]
    weight = rng.integers(1, 4, 80).astype(float) if weighted else None
    expected = roc_auc_score(positive, score, sample_weight=weight)
    assert auc(score, positive, weight) == pytest.approx(expected, abs=1e-12)


def test_auc_of_one_side_or_none_is_unknown():
    assert np.isnan(auc(np.array([0.1, 0.2]), np.array([True, True])))
    assert np.isnan(auc(np.zeros(0), np.zeros(0, dtype=bool)))


def test_rates_are_those_of_scikit_learn():
    items = drawn(1)
    score = evaluate(items, draws=50)
    trapped, called = items.truth == CLASSES[TRAPPED], items.verdict == CLASSES[TRAPPED]
    (true_negative, false_positive), _ = confusion_matrix(trapped, called)
    assert score.recall.value == pytest.approx(recall_score(trapped, called))
    assert score.false_rate.value == pytest.approx(false_positive / (false_positive + true_negative))
    assert score.auc.value == pytest.approx(roc_auc_score(trapped, items.probability[:, TRAPPED]))
    assert score.recall.count == trapped.sum()
    assert score.auc.low < score.auc.value < score.auc.high


def test_early_scores_leave_out_whatever_has_lost_a_hundredth():
    items = drawn(2)
    early = items.where(items.lost_fraction < EARLY)
    assert 0 < len(early) < len(items)
    assert set(early.lost_fraction) == {0.0, 0.009}
    score, of_early = evaluate(items, draws=20), evaluate(early, draws=20)
    assert score.early_auc == of_early.auc
    assert score.early_recall == of_early.recall
    assert score.early_false_rate == of_early.false_rate


@pytest.mark.parametrize("bins", [5, 10])
def test_reliability_is_that_of_scikit_learn(bins):
    items = drawn(3)
    stated, so = items.probability[:, TRAPPED], items.truth == CLASSES[TRAPPED]
    ours = reliability(stated, so, bins)
    seen, mean = calibration_curve(so, stated, n_bins=bins, strategy="uniform")
    np.testing.assert_allclose(ours.seen[ours.count > 0], seen)
    np.testing.assert_allclose(ours.stated[ours.count > 0], mean)
    assert ours.count.sum() == len(items)
    expected = np.abs(seen - mean) @ ours.count[ours.count > 0] / len(items)
    assert ours.expected_error == pytest.approx(expected)


def test_honest_probabilities_have_little_calibration_error():
    rng = np.random.default_rng(4)
    stated = rng.random(40_000)
    so = rng.random(40_000) < stated
    assert reliability(stated, so).expected_error < 0.01
    assert reliability(np.sqrt(stated), so).expected_error > 0.1


def test_entry_and_trapped_are_told_apart_by_the_larger():
    items = drawn(5)
    either = items.where(np.isin(items.truth, [CLASSES[TRAPPED], CLASSES[ENTRY]]))
    both = either.probability[:, [TRAPPED, ENTRY]]
    untied = both[:, 0] != both[:, 1]
    named = np.array([CLASSES[TRAPPED], CLASSES[ENTRY]])[both.argmax(axis=1)]
    np.testing.assert_array_equal(told_apart(either)[untied], (named == either.truth)[untied])
    assert set(told_apart(either)[~untied]) <= {0.5}
    assert evaluate(items, draws=20).entry_or_trapped.count == len(either)


def test_interval_is_that_of_plain_resampling():
    """The same resamples, made by copying the items of the drawn portfolios, give the same percentiles."""
    items = drawn(6, n=300, portfolios=8)
    score, positive = items.probability[:, TRAPPED], items.truth == CLASSES[TRAPPED]
    draws, seed = 60, 17
    names = np.unique(items.portfolio)
    times = np.random.default_rng(seed).multinomial(len(names), np.full(len(names), 1 / len(names)), draws)
    aucs, shares = [], []
    for row in times:
        parts = [np.flatnonzero(items.portfolio == name) for name in np.repeat(names, row)]
        chosen = np.concatenate(parts)
        aucs.append(roc_auc_score(positive[chosen], score[chosen]))
        shares.append(score[chosen].mean())
    ours = auc_interval(score, positive, items.portfolio, draws, seed)
    np.testing.assert_allclose([ours.low, ours.high], np.quantile(aucs, [0.025, 0.975]))
    ours = share(score, items.portfolio, draws, seed)
    np.testing.assert_allclose([ours.low, ours.high], np.quantile(shares, [0.025, 0.975]))


def test_interval_covers_about_as_often_as_it_says():
    """Portfolios that share a level: 95 % intervals hold the mean in about nineteen of twenty runs."""
    rng = np.random.default_rng(8)
    held = 0
    for run in range(300):
        level = np.clip(rng.normal(0.5, 0.15, 40), 0, 1)
        hit = (rng.random((40, 10)) < level[:, None]).astype(float).ravel()
        found = share(hit, np.repeat(np.arange(40), 10), draws=300, seed=run)
        held += found.low <= 0.5 <= found.high
    assert 0.89 < held / 300 < 0.98


def test_one_portfolio_has_no_interval():
    found = share(np.array([0.0, 1.0]), np.array([3, 3]))
    assert found.value == 0.5
    assert np.isnan([found.low, found.high]).all()


def test_kits_are_scored_by_themselves():
    items = drawn(9)
    scores = by_kit(items, draws=20)
    assert set(scores) == {"full", "least"}
    assert scores["full"].auc == evaluate(items.where(items.kit == "full"), draws=20).auc
    assert "early_auc" in str(scores["least"])


@pytest.mark.parametrize(
    ("quantities", "name"),
    [
        ("surface_moisture air_humidity spall_area", "least"),
        ("surface_moisture air_humidity spall_area surface_temperature hollow_area", "front and sounding"),
        ("surface_moisture deep_moisture", "behind the coat"),
        ("deep_moisture in_wall_humidity hollow_area surface_temperature", "full"),
    ],
)
def test_kit_names(quantities, name):
    assert kit_name(quantities.split()) == name


def test_assessments_are_matched_with_truth_by_section_and_date():
    probability = dict.fromkeys(CLASSES, 0.1) | {"trapped_water": 0.5}
    truth = [
        {"building": "B", "section": code, "date": "2020-10-31", "truth": kind, "lost_fraction": lost}
        for code, kind, lost in [("S1", "trapped_water", 0.02), ("S2", "stable", 0.0)]
    ]
    judged = [
        {"building": "B", "section": code, "as_of": "2020-10-31", "verdict": kind, "probability": probability}
        for code, kind in [("S2", "stable"), ("S1", "trapped_water")]
    ]
    items = match(4, judged, truth, {("B", "S1"): "full"})
    assert list(items.truth) == list(items.verdict) == ["trapped_water", "stable"]
    assert list(items.kit) == ["full", ""]
    assert list(items.portfolio) == [4, 4]
    assert list(items.lost_fraction) == [0.02, 0.0]
    assert items.probability.shape == (2, len(CLASSES))
    assert len(join([items, items])) == 4
    with pytest.raises(ValueError, match="1 items"):
        match(4, judged[:1], truth)
