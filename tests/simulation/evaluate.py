"""How well assessments agree with the truth of simulated walls. Pure functions of arrays.

One item is one section at one date. Everything is counted over items; since the items of a portfolio share
houses, weather and meters, every interval resamples whole portfolios (the percentile bootstrap: Efron and
Tibshirani 1993, chapter 13; clusters as units: Field and Welsh 2007, JRSS B 69. Both from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from inspections.analysis.records import FloatArray, TextArray
from tests.simulation.book import CLASSES, Row

BoolArray = npt.NDArray[np.bool_]

#: Share lost below which a trapped wall counts as found early: its coat has hardly begun to fall.
EARLY = 0.01

#: Resamples and level of the intervals.
DRAWS, LEVEL = 1000, 0.95

TRAPPED, ENTRY = CLASSES.index("trapped_water"), CLASSES.index("water_entry")


@dataclass(frozen=True, slots=True)
class Items:
    """Assessments beside the truth, as parallel arrays of length n.

    ``probability`` has shape (n, 6) with columns in the order of ``CLASSES``.
    """

    portfolio: npt.NDArray[np.int64]
    kit: TextArray
    truth: TextArray
    verdict: TextArray
    probability: FloatArray
    lost_fraction: FloatArray

    def __len__(self) -> int:
        return len(self.truth)

    def where(self, mask: BoolArray) -> Items:
        """The items that ``mask`` keeps."""
        return Items(*(getattr(self, item.name)[mask] for item in fields(self)))


@dataclass(frozen=True, slots=True)
class Estimate:
    """A share or an area with its interval, and the number of items it rests on; NaN where it has none."""

    value: float
    low: float
    high: float
    count: int

    def __str__(self) -> str:
        return f"{self.value:.3f} ({self.low:.3f} to {self.high:.3f}; n={self.count})"


@dataclass(frozen=True, slots=True)
class Reliability:
    """Of each bin of stated probability: how many, what was stated on average, how often it was so."""

    count: npt.NDArray[np.int64]
    stated: FloatArray
    seen: FloatArray

    @property
    def expected_error(self) -> float:
        """Expected calibration error: the mean of \\|seen - stated\\| over items (Naeini et al. 2015)."""
        full = self.count > 0
        weight = self.count[full] / max(self.count.sum(), 1)
        return float(np.sum(weight * np.abs(self.seen[full] - self.stated[full])))


@dataclass(frozen=True, slots=True)
class Score:
    """How well a set of items was judged. ``early`` figures are over items with less than ``EARLY`` lost."""

    auc: Estimate
    recall: Estimate
    false_rate: Estimate
    early_auc: Estimate
    early_recall: Estimate
    early_false_rate: Estimate
    entry_or_trapped: Estimate
    reliability: Reliability
    all_classes: Reliability

    def __str__(self) -> str:
        lines = [
            f"{item.name:18} {getattr(self, item.name)}"
            for item in fields(self)
            if isinstance(getattr(self, item.name), Estimate)
        ]
        lines.append(f"calibration error  {self.reliability.expected_error:.3f} of trapped_water")
        lines.append(f"calibration error  {self.all_classes.expected_error:.3f} of all six")
        return "\n".join(lines)


# Bringing assessments and truth together ------------------------


def match(
    portfolio: int,
    assessments: Iterable[Mapping[str, object]],
    truth: Iterable[Row],
    kits: Mapping[tuple[str, str], str] | None = None,
) -> Items:
    """The items of one portfolio: rows as ``assess`` writes them, at several dates, beside rows of truth.

    Truth without an assessment, or the other way about, is an error. ``kits`` names the kit of each section.
    """
    judged = {_item(row, "as_of"): row for row in assessments}
    rows = {_item(row, "date"): row for row in truth}
    if missing := sorted(judged.keys() ^ rows.keys()):
        raise ValueError(f"{len(missing)} items have no assessment or no truth; the first is {missing[0]}.")
    keys = list(rows)
    probability = [[_probability(judged[key], name) for name in CLASSES] for key in keys]
    return Items(
        portfolio=np.full(len(keys), portfolio, dtype=np.int64),
        kit=np.array([(kits or {}).get(key[:2], "") for key in keys], dtype=np.str_),
        truth=np.array([str(rows[key]["truth"]) for key in keys], dtype=np.str_),
        verdict=np.array([str(judged[key]["verdict"]) for key in keys], dtype=np.str_),
        probability=np.array(probability, dtype=float).reshape(len(keys), len(CLASSES)),
        lost_fraction=np.array([float(str(rows[key]["lost_fraction"])) for key in keys]),
    )


def join(parts: Sequence[Items]) -> Items:
    """The items of several portfolios together."""
    return Items(*(np.concatenate([getattr(part, item.name) for part in parts]) for item in fields(Items)))


def kit_name(quantities: Iterable[str]) -> str:
    """What was measured on a section and its house, in four steps from most to least."""
    have = set(quantities)
    behind = have & {"deep_moisture", "in_wall_humidity"}
    if len(behind) == 2 and have >= {"hollow_area", "surface_temperature"}:
        return "full"
    if behind:
        return "behind the coat"
    return "front and sounding" if "hollow_area" in have else "least"


def _item(row: Mapping[str, object], date: str) -> tuple[str, str, str]:
    return str(row["building"]), str(row["section"]), str(row[date])


def _probability(row: Mapping[str, object], name: str) -> float:
    probability = row["probability"]
    assert isinstance(probability, Mapping)
    return float(probability[name])


# Scores ------------------------


def evaluate(items: Items, *, draws: int = DRAWS, seed: int = 0) -> Score:
    """Every score of a set of items; the same seed gives the same intervals."""
    early = items.where(items.lost_fraction < EARLY)
    either = items.where(np.isin(items.truth, [CLASSES[TRAPPED], CLASSES[ENTRY]]))
    return Score(
        auc=auc_of_trapped(items, draws, seed),
        recall=recall(items, draws, seed),
        false_rate=false_rate(items, draws, seed),
        early_auc=auc_of_trapped(early, draws, seed),
        early_recall=recall(early, draws, seed),
        early_false_rate=false_rate(early, draws, seed),
        entry_or_trapped=share(told_apart(either), either.portfolio, draws, seed),
        reliability=reliability(items.probability[:, TRAPPED], items.truth == CLASSES[TRAPPED]),
        all_classes=reliability(
            items.probability.ravel(), (items.truth[:, None] == np.array(CLASSES)).ravel()
        ),
    )


def by_kit(items: Items, *, draws: int = DRAWS, seed: int = 0) -> dict[str, Score]:
    """The scores of each kit by itself."""
    return {
        str(kit): evaluate(items.where(items.kit == kit), draws=draws, seed=seed)
        for kit in np.unique(items.kit)
    }


def auc_of_trapped(items: Items, draws: int = DRAWS, seed: int = 0) -> Estimate:
    """Area under the curve of the probability of trapped water, over all items."""
    positive = items.truth == CLASSES[TRAPPED]
    return auc_interval(items.probability[:, TRAPPED], positive, items.portfolio, draws, seed)


def recall(items: Items, draws: int = DRAWS, seed: int = 0) -> Estimate:
    """Of the items that are trapped, the share with that verdict."""
    trapped = items.where(items.truth == CLASSES[TRAPPED])
    return share((trapped.verdict == CLASSES[TRAPPED]).astype(float), trapped.portfolio, draws, seed)


def false_rate(items: Items, draws: int = DRAWS, seed: int = 0) -> Estimate:
    """Of the items that are not trapped, the share with that verdict."""
    others = items.where(items.truth != CLASSES[TRAPPED])
    return share((others.verdict == CLASSES[TRAPPED]).astype(float), others.portfolio, draws, seed)


def told_apart(either: Items) -> FloatArray:
    """1 where the likelier of entry and trapped is the true one, ½ where they tie, else 0; shape (n,)."""
    lead = either.probability[:, TRAPPED] - either.probability[:, ENTRY]
    lead = np.where(either.truth == CLASSES[TRAPPED], lead, -lead)
    return np.where(lead == 0, 0.5, (lead > 0).astype(float))


def auc(score: FloatArray, positive: BoolArray, weight: FloatArray | None = None) -> float:
    """Chance that a positive scores above a negative, a tie counting half (Mann and Whitney 1947).

    ``score``, ``positive`` and ``weight`` (1 each if left out) have shape (n,). NaN where one side is empty.
    """
    order, group = _tied(score)
    weight = np.ones(len(score)) if weight is None else weight
    return _weighted_auc(order, group, positive, weight)


def auc_interval(
    score: FloatArray,
    positive: BoolArray,
    cluster: npt.NDArray[np.int64],
    draws: int = DRAWS,
    seed: int = 0,
    level: float = LEVEL,
) -> Estimate:
    """:func:`auc` with a bootstrap interval over clusters; sorting once, a resample is a weighting."""
    order, group = _tied(score)

    def of(weight: FloatArray) -> float:
        return _weighted_auc(order, group, positive, weight)

    return _interval(of, len(score), cluster, draws, seed, level)


def share(
    hit: FloatArray, cluster: npt.NDArray[np.int64], draws: int = DRAWS, seed: int = 0, level: float = LEVEL
) -> Estimate:
    """Mean of ``hit`` (values in 0 to 1, shape (n,)) with a bootstrap interval over clusters."""

    def of(weight: FloatArray) -> float:
        total = weight.sum()
        return float(weight @ hit / total) if total else np.nan

    return _interval(of, len(hit), cluster, draws, seed, level)


def reliability(stated: FloatArray, so: BoolArray, bins: int = 10) -> Reliability:
    """Stated probabilities, shape (n,), in ``bins`` of equal width, closed above; empty bins have NaN."""
    edges = np.linspace(0, 1, bins + 1)[1:-1]
    which = np.searchsorted(edges, stated)
    count = np.bincount(which, minlength=bins)
    with np.errstate(invalid="ignore"):
        return Reliability(
            count=count,
            stated=np.bincount(which, stated, minlength=bins) / count,
            seen=np.bincount(which, so.astype(float), minlength=bins) / count,
        )


def _tied(score: FloatArray) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """The order of the scores, and where each run of equal scores begins in it."""
    order = np.argsort(score, kind="stable")
    if not len(score):
        return order, order
    return order, np.flatnonzero(np.concatenate([[True], np.diff(score[order]) > 0]))


def _weighted_auc(
    order: npt.NDArray[np.intp], group: npt.NDArray[np.intp], positive: BoolArray, weight: FloatArray
) -> float:
    if not len(order):
        return np.nan
    ordered, is_positive = weight[order], positive[order]
    ours = np.add.reduceat(np.where(is_positive, ordered, 0.0), group)
    theirs = np.add.reduceat(np.where(is_positive, 0.0, ordered), group)
    pairs = ours.sum() * theirs.sum()
    below = np.cumsum(theirs) - theirs
    return float(ours @ (below + theirs / 2) / pairs) if pairs else np.nan


def _interval(
    of: Callable[[FloatArray], float],
    count: int,
    cluster: npt.NDArray[np.int64],
    draws: int,
    seed: int,
    level: float,
) -> Estimate:
    """A statistic of weighted items, and percentiles of it over resampled clusters; two clusters at least."""
    names, which = np.unique(cluster, return_inverse=True)
    value = of(np.ones(count)) if count else np.nan
    if len(names) < 2:
        return Estimate(value, np.nan, np.nan, count)
    rng = np.random.default_rng(seed)
    times = rng.multinomial(len(names), np.full(len(names), 1 / len(names)), size=draws)
    values = np.array([of(row[which].astype(float)) for row in times])
    values = values[np.isfinite(values)]
    if not len(values):
        return Estimate(value, np.nan, np.nan, count)
    low, high = np.quantile(values, [(1 - level) / 2, (1 + level) / 2])
    return Estimate(value, float(low), float(high), count)
