"""Several trials of one question, pooled: each may have its own true effect, drawn about a common one.

Random effects by restricted maximum likelihood, with the interval of Hartung and Knapp (2001, Stat. Med. 20,
3875), which allows for the spread between trials being estimated from few, and is never taken narrower than
the trials' own errors make it (Röver, Knapp and Friede 2015, BMC Med. Res. Methodol. 15, 99). Formulas as in
Viechtbauer (2005, J. Educ. Behav. Stat. 30, 261; 2010, J. Stat. Softw. 36(3)); I² after Higgins and Thompson
(2002, Stat. Med. 21, 1539), from the estimated spread.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc, stdtr, stdtrit

from inspections.analysis.records import FloatArray

_ROUNDS = 200
_HALVINGS = 60
_SETTLED = 1e-12


@dataclass(frozen=True, slots=True)
class Pooled:
    """The common effect with its 95 % interval and p, in the effects' unit, and how unlike the trials are.

    ``between`` is the variance of true effects (``tau²``), ``inconsistency`` the share (0 to 1) of the
    spread that is not chance, ``q`` Cochran's with its p. ``next_low`` and ``next_high`` hold the true effect
    of one more trial with 95 % (NaN for two trials). ``weights`` (k,) sum to 1.
    """

    effect: float
    error: float
    low: float
    high: float
    p_value: float
    between: float
    inconsistency: float
    q: float
    q_p_value: float
    next_low: float
    next_high: float
    weights: FloatArray
    trials: int
    method: str = "random effects, restricted maximum likelihood, Hartung-Knapp interval"


def pool(effect: npt.ArrayLike, error: npt.ArrayLike) -> Pooled:
    """Pool effects (k,) with their standard errors (k,); ValueError under two trials or without an error."""
    y, variance = np.asarray(effect, dtype=float), np.asarray(error, dtype=float) ** 2
    if y.shape != variance.shape or y.ndim != 1:
        raise ValueError("effect and error must be arrays of one dimension and one length")
    if len(y) < 2:
        raise ValueError("it takes two trials to pool")
    if not (np.isfinite(y).all() and np.isfinite(variance).all() and (variance > 0).all()):
        raise ValueError("each trial must have a finite effect and a standard error above nought")
    k, between = len(y), reml(y, variance)
    weight = 1 / (variance + between)
    total = float(weight.sum())
    mean = float(weight @ y / total)
    squared = max(float(weight @ (y - mean) ** 2) / (k - 1), 1.0) / total
    sd, reach = float(np.sqrt(squared)), float(stdtrit(k - 1, 0.975))
    fixed = 1 / variance
    q = float(fixed @ (y - fixed @ y / fixed.sum()) ** 2)
    typical = (k - 1) * fixed.sum() / (fixed.sum() ** 2 - fixed @ fixed)
    ahead = float(stdtrit(k - 2, 0.975)) * float(np.sqrt(between + squared)) if k > 2 else np.nan
    return Pooled(
        effect=mean,
        error=sd,
        low=mean - reach * sd,
        high=mean + reach * sd,
        p_value=2 * float(stdtr(k - 1, -abs(mean) / sd)) if sd > 0 else float(mean == 0),
        between=between,
        inconsistency=float(between / (between + typical)),
        q=q,
        q_p_value=float(chdtrc(k - 1, q)),
        next_low=mean - ahead,
        next_high=mean + ahead,
        weights=weight / total,
        trials=k,
    )


def leave_one_out(effect: npt.ArrayLike, error: npt.ArrayLike) -> list[Pooled]:
    """The pooled effect without each trial in turn; empty under three trials."""
    y, sd = np.asarray(effect, dtype=float), np.asarray(error, dtype=float)
    return [pool(np.delete(y, i), np.delete(sd, i)) for i in range(len(y))] if len(y) > 2 else []


def reml(effect: FloatArray, variance: FloatArray) -> float:
    """Variance between trials (0 or more) at which the restricted likelihood is highest.

    Fisher scoring (Viechtbauer 2005, eq. 13), with steps halved where they would not climb.
    """
    between = max(float(np.var(effect, ddof=1) - variance.mean()), 0.0)
    for _ in range(_ROUNDS):
        slope, information = _score(between, effect, variance)
        step = slope / information
        start = _likelihood(between, effect, variance)
        for _ in range(_HALVINGS):
            moved = max(between + step, 0.0)
            if _likelihood(moved, effect, variance) >= start:
                break
            step /= 2
        else:
            return between
        if abs(moved - between) <= _SETTLED * (between + float(variance.mean())):
            return moved
        between = moved
    return between


def _score(between: float, effect: FloatArray, variance: FloatArray) -> tuple[float, float]:
    """First derivative of the restricted log-likelihood by ``between``, and its expected information."""
    w = 1 / (variance + between)
    w1, w2, w3 = float(w.sum()), float((w**2).sum()), float((w**3).sum())
    rest = effect - w @ effect / w1
    trace = w1 - w2 / w1
    return (float(w**2 @ rest**2) - trace) / 2, (w2 - 2 * w3 / w1 + (w2 / w1) ** 2) / 2


def _likelihood(between: float, effect: FloatArray, variance: FloatArray) -> float:
    w = 1 / (variance + between)
    rest = effect - w @ effect / w.sum()
    return float(np.log(w).sum() - np.log(w.sum()) - w @ rest**2) / 2
