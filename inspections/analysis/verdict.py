"""The posterior over the six hypotheses, as a sum of what each kind of reading says.

For hypotheses k the log posterior is, up to a constant, ``a_k + sum_j f_jk(x_j)``: a start from coat and
exposure, then one term for each statistic of :mod:`features`, each a straight line with bends that the
calibration may use. The terms are fitted together (penalised multinomial likelihood), so readings that share
one water share its weight: Good's (1985) weight of evidence with the dependence allowed for, not a sum of
separate verdicts. A group that was not read drops out, so that the poorer the kit the nearer the posterior
stays to its start; letting the other groups' terms change with what is missing was tried, and did worse on
walls of a kind that the calibration had not seen. Drained linings are wet behind and dry in front by design:
there, moisture and humidity carry no weight at all.

Numbers live in :mod:`calibration`, made by ``python -m tests.simulation.calibrate`` on simulated walls.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from inspections.analysis.features import FEATURES, GROUP_OF, GROUPS, READ_GROUPS
from inspections.analysis.recalibration import AS_IS, Recalibration
from inspections.analysis.records import FloatArray
from inspections.analysis.results import HYPOTHESES

#: The term of :attr:`Posterior.score` that the organisation's own openings add.
OPENINGS = "openings"
#: Groups that say nothing behind a lining with a proven way out for the water.
BLIND_WHEN_DRAINED = ("surface_moisture", "deep_moisture", "in_wall_humidity")


@dataclass(frozen=True)
class Model:
    """Numbers of the verdict's model, F statistics and K hypotheses.

    ``low``, ``high`` clip each statistic (F,) to what calibration saw; ``centre`` and ``scale`` (F,) make it
    unitless; ``knots`` (F, B) hold the bends in that unit (NaN: none). ``weights`` (T, K) belong to the terms
    in the order of :attr:`terms`. ``temperature`` (at least 1) flattens the posterior by what the model was
    found to be surer of than right on walls of another kind than it was calibrated on.
    """

    version: str
    low: FloatArray
    high: FloatArray
    centre: FloatArray
    scale: FloatArray
    knots: FloatArray
    weights: FloatArray
    temperature: float

    @cached_property
    def terms(self) -> tuple[tuple[str, str], ...]:
        """For each row of ``weights``: the group that it belongs to, and a name."""
        names = [("prior", "start")]
        names += [("prior", f"{group} not read") for group in READ_GROUPS]
        for j, feature in enumerate(FEATURES):
            names.append((GROUP_OF[feature], feature))
            bends = int(np.isfinite(self.knots[j]).sum())
            names += [(GROUP_OF[feature], f"{feature} bend {i + 1}") for i in range(bends)]
        return tuple(names)

    def basis(self, vectors: FloatArray) -> FloatArray:
        """Terms (n, T) of statistics (n, F)."""
        z = (np.clip(blinded(vectors), self.low, self.high) - self.centre) / self.scale
        missing = np.column_stack([~_read(z, group) for group in READ_GROUPS]).astype(float)
        known = np.nan_to_num(z)
        columns = [np.ones(len(z)), *missing.T]
        for j in range(len(FEATURES)):
            columns.append(known[:, j])
            for knot in self.knots[j][np.isfinite(self.knots[j])]:
                columns.append(np.where(np.isnan(z[:, j]), 0.0, np.maximum(known[:, j] - knot, 0.0)))
        return np.column_stack(columns)

    def scores(self, vectors: FloatArray) -> dict[str, FloatArray]:
        """For each group the log-odds scale scores (n, K) that it adds, after calibration."""
        basis = self.basis(vectors)
        owner = np.array([group for group, _ in self.terms])
        return {
            group: basis[:, owner == group] @ self.weights[owner == group] / self.temperature
            for group in GROUPS
        }


def blinded(vectors: FloatArray) -> FloatArray:
    """Statistics (n, F) with those removed that say nothing behind a drained lining."""
    vectors = np.array(vectors, dtype=float, ndmin=2)
    drained = vectors[:, FEATURES.index("drained")] > 0
    blind = np.array([GROUP_OF[name] in BLIND_WHEN_DRAINED for name in FEATURES])
    vectors[np.ix_(drained, blind)] = np.nan
    return vectors


def _read(z: FloatArray, group: str) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    own = [FEATURES.index(name) for name in GROUPS[group]]
    return np.asarray(np.isfinite(z[:, own]).any(axis=1))


@dataclass(frozen=True, slots=True)
class Posterior:
    """Probabilities by hypothesis, and the scores by group whose sum is their logarithm up to a constant.

    Among the groups is :data:`OPENINGS` where the organisation's own openings move the probabilities.
    """

    probability: dict[str, float]
    score: dict[str, FloatArray]

    @property
    def ranked(self) -> list[str]:
        """Hypotheses from the likeliest down; ties in the order of the table."""
        return sorted(HYPOTHESES, key=lambda name: -self.probability[name])

    def weight(self, group: str, hypothesis: str, against: str) -> float:
        """Log-odds that ``group`` adds for ``hypothesis`` over ``against``."""
        score = self.score[group]
        return float(score[HYPOTHESES.index(hypothesis)] - score[HYPOTHESES.index(against)])


def posteriors(
    model: Model, vectors: Sequence[FloatArray], recalibration: Recalibration = AS_IS
) -> list[Posterior]:
    """The posterior of each row of statistics, moved by what the organisation's own openings taught."""
    if not len(vectors):
        return []
    scores = model.scores(np.array(vectors))
    probability = _probabilities(np.sum(list(scores.values()), axis=0))
    if recalibration.changes:
        scores[OPENINGS] = _added(probability, recalibration)
        probability = _moved(probability, recalibration)
    return [
        Posterior(
            probability=dict(zip(HYPOTHESES, map(float, probability[i]), strict=True)),
            score={group: score[i] for group, score in scores.items()},
        )
        for i in range(len(probability))
    ]


_TRAPPED = HYPOTHESES.index("trapped_water")
#: The least positive probability, so that every logarithm is finite.
_LEAST = float(np.finfo(float).tiny)
_IS_TRAPPED = np.arange(len(HYPOTHESES)) == _TRAPPED


def _probabilities(total: FloatArray) -> FloatArray:
    """Probabilities (n, K) of scores (n, K)."""
    odds = np.exp(total - total.max(axis=1, keepdims=True))
    return np.asarray(odds / odds.sum(axis=1, keepdims=True))


def _added(plain: FloatArray, recalibration: Recalibration) -> FloatArray:
    """The scores (n, K) that openings add to the probabilities (n, K) of the model alone."""
    return np.outer(recalibration.gain(plain[:, _TRAPPED]), _IS_TRAPPED)


def _moved(plain: FloatArray, recalibration: Recalibration) -> FloatArray:
    return _probabilities(np.log(np.maximum(plain, _LEAST)) + _added(plain, recalibration))


def recalibrated(probability: dict[str, float], recalibration: Recalibration) -> dict[str, float]:
    """The probabilities of the model alone as :func:`posteriors` moves them."""
    if not recalibration.changes:
        return probability
    plain = np.array([[probability[name] for name in HYPOTHESES]])
    return dict(zip(HYPOTHESES, map(float, _moved(plain, recalibration)[0]), strict=True))
