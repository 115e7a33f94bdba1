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
    houses = int(house.max(initial=-1)) + 1
    pairs, noise = _pairs(influence, house, houses), _pairs(influence**2, house, houses)
    return _ratio(pairs.sum(axis=0), noise.sum(axis=0), np.array(houses), variance)


def variance_ratios(
    influence: FloatArray, cluster: IntArray, group: IntArray, variance: FloatArray
) -> FloatArray:
    """:func:`variance_ratio` of each group, (g, t), to which ``group`` (n,) assigns the coats by number."""
    _, place = np.unique(cluster, return_inverse=True)
    width = int(place.max(initial=0)) + 1
    keys, house = np.unique(group * width + place, return_inverse=True)
    own, groups = keys // width, len(variance)

    def pairs(value: FloatArray) -> FloatArray:
        by_house = _pairs(value, house, len(keys))
        return np.column_stack([np.bincount(own, column, groups) for column in by_house.T])

    houses = np.bincount(own, minlength=groups)[:, None]
    return _ratio(pairs(influence), pairs(influence**2), houses, variance)


def _ratio(pairs: FloatArray, noise: FloatArray, houses: IntArray, variance: FloatArray) -> FloatArray:
    excess = 2 * np.maximum(pairs - EVIDENCE**2 * noise / np.where(pairs > 0, pairs, np.inf), 0.0)
    counted = np.maximum(houses, _LEAST_HOUSES)
    few = (stdtrit(counted - 1, 0.975) / ndtri(0.975)) ** 2 * counted / (counted - 2)
    return np.asarray(1 + few * excess / np.where(variance > 0, variance, np.inf), dtype=float)


def _pairs(value: FloatArray, house: IntArray, houses: int) -> FloatArray:
    """Each house's sum over pairs i < j of value_i value_j, of ``value`` (n, t): (houses, t)."""
    order = np.argsort(house, kind="stable")
    first = np.searchsorted(house[order], np.arange(houses))
    own = value[order]
    return np.asarray((np.add.reduceat(own, first) ** 2 - np.add.reduceat(own**2, first)) / 2, dtype=float)
