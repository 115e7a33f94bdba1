"""How strong a hidden reason would have to be to explain a difference away.

Where nobody drew lots, one wall of a pair may have been likelier to get its arm for a reason that also moved
the outcome. If that made it at most ``gamma`` times as likely, the p-value is no more than that of signs that
fall the seen way with chance gamma/(1 + gamma) (Rosenbaum 2002, Observational Studies, ch. 4).
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from inspections.analysis.records import FloatArray

#: Up to so many pairs the law is taken whole, beyond in its normal approximation.
MOST_EXACT = 14
#: A bias stronger than this is not searched for.
STRONGEST = 50.0
_LEVEL = 0.05
_HALVINGS = 40


def largest_p(pair_differences: FloatArray, gamma: float) -> float:
    """Two-sided p of a mean difference (n,) if hidden bias were as strong as ``gamma`` (1: none)."""
    size = np.abs(pair_differences)
    seen = max(float(size[pair_differences > 0].sum()), float(size[pair_differences < 0].sum()))
    chance = gamma / (1 + gamma)
    if len(size) > MOST_EXACT:
        spread = float(np.sqrt(chance * (1 - chance) * (size @ size)))
        return min(1.0, 2 * float(ndtr((chance * size.sum() - seen) / spread))) if spread > 0 else 1.0
    signs = (np.arange(2 ** len(size))[:, None] >> np.arange(len(size))) & 1
    reached = signs @ size >= seen - 1e-9 * max(size.sum(), 1e-300)
    ups = signs[reached].sum(axis=1)
    return min(1.0, 2 * float((chance**ups * (1 - chance) ** (len(size) - ups)).sum()))


def bias_to_explain(pair_differences: FloatArray) -> float | None:
    """The least ``gamma`` that explains the difference away; None where chance alone does already."""
    if largest_p(pair_differences, 1.0) >= _LEVEL:
        return None
    low, high = 1.0, STRONGEST
    if largest_p(pair_differences, high) < _LEVEL:
        return high
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if largest_p(pair_differences, middle) < _LEVEL else (low, middle)
    return high
