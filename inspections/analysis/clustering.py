"""How much less a house's coats tell, since they are alike.

The likelihood is written as if coats were independent, and its interval is widened where the coats of one
house are seen to go together (Liang and Zeger 1986, Biometrika 73, 13-22).
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri, stdtrit

from inspections.analysis.lifetimes import IntArray
from inspections.analysis.records import FloatArray

#: Standard errors that are taken off the excess of the variance, in squares, so that independent coats, whose
#: pairs go together by chance half the time, are hardly widened (a positive-part estimate, James and Stein
#: 1961). Ours: of 0 to 1 tried, it keeps most of the coverage of 0 and half of its needless width.
EVIDENCE = 0.5
#: Fewest houses for which a cluster-robust variance is corrected as if it were known.
_LEAST_HOUSES = 5


def variance_ratio(influence: FloatArray, cluster: IntArray, variance: FloatArray) -> FloatArray:
    """Factor (t,) of at least 1 on ``variance`` (t,), from each coat's influence (n, t) on the t estimates.

    Products of influences over pairs of one house have mean nought where coats are independent. Their sum is
    the excess of the cluster-robust variance over the independent one; it counts as far as it stands out
    from its own standard error, and more where houses are few (a t quantile, and two degrees lost).
    """
    _, house = np.unique(cluster, return_inverse=True)
    pairs, noise = _pairs(influence, house), _pairs(influence**2, house)
    excess = 2 * np.maximum(pairs - EVIDENCE**2 * noise / np.where(pairs > 0, pairs, np.inf), 0.0)
    few = _few(int(house.max(initial=-1)) + 1)
    return np.asarray(1 + few * excess / np.where(variance > 0, variance, np.inf), dtype=float)


def _few(houses: int) -> float:
    counted = max(houses, _LEAST_HOUSES)
    quantile = float(stdtrit(counted - 1, 0.975) / ndtri(0.975))
    return quantile**2 * counted / (counted - 2)


def _pairs(value: FloatArray, house: IntArray) -> FloatArray:
    """Sum over houses and pairs i < j of value_i value_j: (t,)."""
    sums = np.zeros((int(house.max(initial=-1)) + 1, value.shape[1]))
    np.add.at(sums, house, value)
    return np.asarray(((sums**2).sum(axis=0) - (value**2).sum(axis=0)) / 2, dtype=float)
