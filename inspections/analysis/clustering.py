"""How much less a house's coats tell, since they are alike.

The likelihood is written as if coats were independent, and its interval is widened where the coats of one
house are seen to go together (Liang and Zeger 1986, Biometrika 73, 13-22).
"""

from __future__ import annotations

import numpy as np

from inspections.analysis.lifetimes import IntArray
from inspections.analysis.records import FloatArray

#: Standard errors by which the pairs within houses have to go together before an interval is widened at all.
#: What is under it is what independent coats do by chance one time in six; above it the excess is shrunk as
#: by a positive-part estimate (James and Stein 1961). Ours; DEVELOPERS.md gives the coverage.
EVIDENCE = 1.0


def variance_ratio(influence: FloatArray, cluster: IntArray, variance: FloatArray) -> FloatArray:
    """Factor (t,) of at least 1 on ``variance`` (t,), from each coat's influence (n, t) on the t estimates.

    Products of influences over pairs of one house have mean nought where coats are independent. Their sum is
    the excess of the cluster-robust variance over the independent one; it counts as far as it stands out
    from its own standard error.
    """
    _, house = np.unique(cluster, return_inverse=True)
    pairs, noise = _pairs(influence, house), _pairs(influence**2, house)
    shrunk = np.zeros_like(pairs)
    clear = (pairs > 0) & (pairs**2 > EVIDENCE**2 * noise) & (noise > 0)
    shrunk[clear] = pairs[clear] * (1 - EVIDENCE**2 * noise[clear] / pairs[clear] ** 2)
    return np.asarray(1 + 2 * shrunk / np.where(variance > 0, variance, np.inf), dtype=float)


def _pairs(value: FloatArray, house: IntArray) -> FloatArray:
    """Sum over houses and pairs i < j of value_i value_j: (t,)."""
    sums = house_sums(value, house)
    return np.asarray(((sums**2).sum(axis=0) - (value**2).sum(axis=0)) / 2, dtype=float)


def house_sums(value: FloatArray, house: IntArray) -> FloatArray:
    """Sums (houses, t) of ``value`` (n, t) by house 0, 1, …"""
    sums = np.zeros((int(house.max(initial=-1)) + 1, value.shape[1]))
    np.add.at(sums, house, value)
    return sums
