"""How long coats lasted, as far as visits can tell: intervals, limits of observation, houses.

A failure is seen at a visit, so it lies between two of them (interval censoring). A coat that was found
standing is known only because it had lasted until then (left truncation; Turnbull 1976, J. R. Stat. Soc. B
38, 290-295). Times are years since the coat was applied.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inspections.analysis.records import FloatArray

IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Interval:
    """An estimate with its interval; None where the data give none (an end that is not reached)."""

    estimate: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Lifetimes:
    """``n`` coats; ``entry``, ``low``, ``high`` in years since application, ``cluster`` the house: all (n,).

    The coat came under observation at ``entry`` (0 unless found standing) and failed in (``low``, ``high``];
    ``high`` inf: still sound at ``low``; ``low == high``: the very day is known. ValueError where a coat
    contradicts itself, with its place.
    """

    entry: FloatArray
    low: FloatArray
    high: FloatArray
    cluster: IntArray

    def __post_init__(self) -> None:
        for name in ("entry", "low", "high"):
            object.__setattr__(self, name, np.asarray(getattr(self, name), dtype=float))
        object.__setattr__(self, "cluster", np.asarray(self.cluster, dtype=np.int64))
        shapes = {self.entry.shape, self.low.shape, self.high.shape, self.cluster.shape}
        if len(shapes) > 1 or self.low.ndim != 1:
            raise ValueError("entry, low, high and cluster must be of one length")
        _refuse(~(np.isfinite(self.entry) & (self.entry >= 0)), "entry must be 0 or later, and known")
        _refuse(~np.isfinite(self.low), "low must be known")
        _refuse(self.low < self.entry, "low must not lie before entry")
        _refuse(~(self.high >= self.low), "high must not lie before low")
        _refuse(self.high <= self.entry, "a coat can't have failed by the day it was first seen sound")

    def __len__(self) -> int:
        return len(self.low)

    @property
    def failed(self) -> BoolArray:
        """Whether each coat (n,) is known to have failed."""
        return np.isfinite(self.high)

    @property
    def exact(self) -> BoolArray:
        """Whether the very time of failure of each coat (n,) is known."""
        return np.asarray(self.low == self.high)

    @property
    def failures(self) -> int:
        return int(self.failed.sum())

    @property
    def clusters(self) -> int:
        return len(np.unique(self.cluster))

    def of(self, mask: npt.ArrayLike) -> Lifetimes:
        """The coats of ``mask``: (n,) true or false, or places."""
        chosen = np.asarray(mask)
        return Lifetimes(self.entry[chosen], self.low[chosen], self.high[chosen], self.cluster[chosen])


def _refuse(wrong: BoolArray, reason: str) -> None:
    if wrong.any():
        raise ValueError(f"coat {int(np.argmax(wrong))}: {reason}")
