"""Fit the verdict's numbers on simulated walls and write them: ``python -m tests.simulation.calibrate``.

Seeds from :data:`FIRST_SEED` on are for calibration; checks use seeds below it. Each generator weighs the
same, whatever its number of rows. The temperature is found by leaving each generator out in turn: it is what
makes the others' model honest on walls of a kind it has not seen.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
from scipy.optimize import minimize_scalar
from sklearn.linear_model import LogisticRegression

from inspections.analysis.features import FEATURES, GROUPS, READ_GROUPS
from inspections.analysis.records import FloatArray
from inspections.analysis.results import HYPOTHESES
from inspections.analysis.verdict import Model, blinded, posteriors
from tests.simulation.table import Table, joined, of_portfolios

GENERATORS = ("physical", "phenomenal", "blind", "profile", "chance")
FIRST_SEED = 10_000
#: Strength of the ridge on the standardised terms, per row: chosen by leaving generators out.
RIDGE = 1000.0
#: Where a statistic's line may bend, as quantiles: with three generators one bend did best on those left out,
#: with five generators five did. Values beyond the quantiles CLIP and 1 - CLIP count as if there.
BENDS = (0.08, 0.25, 0.5, 0.75, 0.92)
CLIP = 0.004
#: Copies of the table with groups of readings hidden at random, so that poorer kits are learnt too, and with
#: each portfolio's statistics stretched and shifted, as they would be on walls of another make: standard
#: deviations of the factor's logarithm, and of the shift in standard deviations of the statistic.
COPIES = 2
STRETCH, SHIFT = 0.3, 0.2
TARGET = Path(__file__).parents[2] / "inspections" / "analysis" / "calibration.py"


def with_copies(table: Table, copies: int, rng: np.random.Generator) -> Table:
    """The table, and copies of it with groups of readings hidden and statistics stretched at random."""
    tables = [table]
    for _ in range(copies):
        vectors = _stretched(table, rng)
        for group in READ_GROUPS:
            own = [FEATURES.index(name) for name in GROUPS[group]]
            chance = {"surface_moisture": 0.1, "air_humidity": 0.2}.get(group, 0.5)
            vectors[np.ix_(rng.random(len(vectors)) < chance, own)] = np.nan
        tables.append(Table(vectors, table.truth, table.lost, table.portfolio, table.visits))
    return joined(tables)


def _stretched(table: Table, rng: np.random.Generator) -> FloatArray:
    vectors = table.vectors.copy()
    spread = np.nan_to_num(np.nanstd(vectors, axis=0))
    free = np.array([len(np.unique(column[np.isfinite(column)])) > 5 for column in vectors.T])
    for portfolio in np.unique(table.portfolio):
        factor = np.where(free, np.exp(rng.normal(0, STRETCH, len(spread))), 1.0)
        shift = np.where(free, rng.normal(0, SHIFT, len(spread)) * spread, 0.0)
        rows = table.portfolio == portfolio
        vectors[rows] = vectors[rows] * factor + shift
    return vectors


def fitted(tables: list[Table], version: str, ridge: float = RIDGE, copies: int = COPIES) -> Model:
    """The model fitted to tables of equal weight."""
    rng = np.random.default_rng(1)
    tables = [with_copies(table, copies, rng) for table in tables]
    whole = joined(tables)
    weight = np.concatenate([np.full(len(table), len(whole) / len(tables) / len(table)) for table in tables])
    vectors = blinded(whole.vectors)
    low, high = np.nanquantile(vectors, CLIP, axis=0), np.nanquantile(vectors, 1 - CLIP, axis=0)
    clipped = np.clip(vectors, low, high)
    centre = np.nanmean(clipped, axis=0)
    scale = np.maximum(np.nanstd(clipped, axis=0), 1e-3)
    knots = _knots((clipped - centre) / scale)
    empty = Model(version, low, high, centre, scale, knots, np.zeros(0), 1.0)
    basis = empty.basis(whole.vectors)
    spread = basis.std(axis=0)
    usable = spread > 1e-9
    regression = LogisticRegression(C=1 / ridge, max_iter=400, tol=1e-3)
    middle = basis.mean(axis=0)
    regression.fit((basis[:, usable] - middle[usable]) / spread[usable], whole.truth, sample_weight=weight)
    weights = np.zeros((basis.shape[1], len(HYPOTHESES)))
    weights[usable] = (regression.coef_ / spread[usable]).T
    weights[0] = regression.intercept_ - middle @ weights
    return Model(version, low, high, centre, scale, knots, weights, 1.0)


def _knots(z: FloatArray) -> FloatArray:
    knots = np.full((len(FEATURES), len(BENDS)), np.nan)
    for j in range(len(FEATURES)):
        own = z[np.isfinite(z[:, j]), j]
        if len(np.unique(own)) > 4:
            distinct = np.unique(np.quantile(own, BENDS).round(4))
            distinct = distinct[(distinct > own.min()) & (distinct < own.max())]
            knots[j, : len(distinct)] = distinct
    return knots


def probabilities(model: Model, table: Table) -> FloatArray:
    """Probabilities (n, K) of a table's rows."""
    found = posteriors(model, list(table.vectors))
    return np.array([[item.probability[name] for name in HYPOTHESES] for item in found])


def honest_temperature(model: Model, table: Table) -> float:
    """The temperature at which the model's log score on ``table`` is best."""
    logs = np.log(np.maximum(probabilities(model, table), 1e-300))

    def loss(temperature: float) -> float:
        scaled = logs / temperature
        scaled -= scaled.max(axis=1, keepdims=True)
        total = np.log(np.exp(scaled).sum(axis=1))
        return float((total - scaled[np.arange(len(scaled)), table.truth]).mean())

    return float(minimize_scalar(loss, bounds=(0.5, 5.0), method="bounded").x)


def value_of_groups(model: Model, table: Table) -> FloatArray:
    """Mean absolute log-odds (groups, K, K) that a group adds between two hypotheses on their own walls."""
    scores = model.scores(table.vectors)
    value = np.zeros((len(READ_GROUPS), len(HYPOTHESES), len(HYPOTHESES)))
    for g, group in enumerate(READ_GROUPS):
        own = [FEATURES.index(name) for name in GROUPS[group]]
        had = np.isfinite(table.vectors[:, own]).any(axis=1)
        for i in range(len(HYPOTHESES)):
            for j in range(len(HYPOTHESES)):
                rows = had & ((table.truth == i) | (table.truth == j))
                if i != j and rows.any():
                    value[g, i, j] = np.abs(scores[group][rows, i] - scores[group][rows, j]).mean()
    return value


# Writing ---------------------------------------------------------------------------------------------------


def module_text(model: Model, value: FloatArray) -> str:
    """The text of the module that holds the numbers."""
    return f'''"""The verdict's numbers, made by ``python -m tests.simulation.calibrate``, not by hand.

Calibrated on simulated walls: no real opening has confirmed them yet.
"""

# fmt: off
# ruff: noqa: E501
import numpy as np

from inspections.analysis.verdict import Model

nan = np.nan

MODEL = Model(
    version={model.version!r},
    low={_vector(model.low)},
    high={_vector(model.high)},
    centre={_vector(model.centre)},
    scale={_vector(model.scale)},
    knots={_matrix(model.knots)},
    weights={_matrix(model.weights)},
    temperature={model.temperature:.3f},
)

#: Mean absolute log-odds (groups of readings, K, K) that a group adds between two hypotheses.
VALUE = np.array([
{chr(10).join("    " + _rows(block) + "," for block in value.round(3).tolist())}
])
'''


def _vector(values: FloatArray) -> str:
    return "np.array([" + ", ".join(f"{value:.5g}" for value in values) + "])"


def _matrix(values: FloatArray) -> str:
    rows = ("        [" + ", ".join(f"{value:.4g}" for value in row) + "],\n" for row in values)
    return "np.array([\n" + "".join(rows) + "    ])"


def _rows(block: list[list[float]]) -> str:
    return "[" + ", ".join(str(row) for row in block) + "]"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--portfolios", type=int, default=60, help="portfolios of each generator")
    parser.add_argument("--version", required=True, help="version of the model, such as 2026.1")
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    seeds = range(FIRST_SEED, FIRST_SEED + options.portfolios)
    tables = [of_portfolios(name, seeds, jobs=options.jobs) for name in GENERATORS]
    write(tables, options.version)


def write(tables: list[Table], version: str) -> None:
    """Fit on ``tables``, one a generator, and write the module of numbers."""
    temperatures = []
    for i, left_out in enumerate(tables):
        others = fitted([table for j, table in enumerate(tables) if j != i], version)
        temperatures.append(honest_temperature(others, left_out))
        print(f"without {GENERATORS[i]}: temperature {temperatures[-1]:.2f}")
    plain = fitted(tables, version)
    temperature = max(1.0, float(np.mean(temperatures)))
    model = Model(
        version, plain.low, plain.high, plain.centre, plain.scale, plain.knots, plain.weights, temperature
    )
    TARGET.write_text(module_text(model, value_of_groups(model, joined(tables))), encoding="utf-8")
    print(f"wrote {TARGET.name}: temperature {temperature:.2f}")


if __name__ == "__main__":
    main()
