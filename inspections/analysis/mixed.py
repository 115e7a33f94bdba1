"""Random intercepts and slopes by restricted maximum likelihood, fast for thousands of sections.

A reading of section i at time z is x'b + u_i0 + u_i1 z + e, with (u_i0, u_i1) normal of covariance
sigma^2 S and e normal of variance sigma^2. All that a section adds to the likelihood rests on its 2 x 2 table
of sums, so that after one pass over the readings an evaluation costs a few operations a section. Fixed
effects and sigma are profiled out; S = L L' is searched by scoring steps on the three numbers of L.

Sources: Laird and Ware (1982), Biometrics 38, 963; Bates, Maechler, Bolker and Walker (2015), J. Stat. Softw.
67(1), sec. 3 (profiled criterion); Gilmour, Thompson and Cullis (1995), Biometrics 51, 1440 (average
information); Henderson (1975), Biometrics 31, 423 (prediction and its error).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inspections.analysis.records import FloatArray

#: The search ends where a step is expected to change minus twice the log likelihood by less than this.
_GAIN = 1e-7
_STEPS = 100
_UNLIKE = 10.0
#: Condition number of the fixed effects' sums of squares from which they count as dependent.
_COLLINEAR = 1e12


@dataclass(frozen=True, slots=True)
class MixedFit:
    """A fitted model; ``groups`` (m,) are the labels, sorted, of the rows of ``effects`` (m, 2).

    ``coefficients`` (p,) with ``covariance`` (p, p); ``between`` (2, 2) is the covariance of intercepts (at
    time 0) and slopes between groups, ``within`` the variance of a reading; ``log_likelihood`` is restricted.
    ``effects`` are the predicted deviations of each group (best linear unbiased).
    """

    groups: npt.NDArray[np.generic]
    coefficients: FloatArray
    covariance: FloatArray
    between: FloatArray
    within: float
    log_likelihood: float
    effects: FloatArray
    evaluations: int
    conditional: FloatArray
    crossed: FloatArray

    def predict(self, fixed: FloatArray, random: FloatArray) -> tuple[FloatArray, FloatArray]:
        """For every group, of ``fixed`` (m, p) b + ``random`` (m, 2) u: the prediction and its error (m,).

        A slope has zero for the intercepts and one for the slopes. The error is Henderson's, of prediction,
        given the variances.
        """
        value = fixed @ self.coefficients + (random * self.effects).sum(axis=1)
        own = np.einsum("mi,mij,mj->m", random, self.conditional, random)
        beyond = fixed - np.einsum("mi,ipm->mp", random, self.crossed)
        shared = ((beyond @ self.covariance) * beyond).sum(axis=1)
        return value, np.sqrt(own + shared)


@dataclass(frozen=True, slots=True)
class _Sums:
    """Z'Z of every group as three rows (3, m), Z'[X y] (2, p + 1, m), [X y]'[X y] (p + 1, p + 1), and n."""

    own: FloatArray
    crossed: FloatArray
    whole: FloatArray
    n: int


@dataclass(frozen=True, slots=True)
class _Profile:
    """The criterion at one L, its gradient in L's three numbers, and the parts that an answer is made of.

    ``conditional`` (3, m) are the distinct entries of each group's L (I + L'Z'Z L)^-1 L', ``effects``
    (2, p + 1, m) are that times Z'[X y]; ``inverse`` is that of X'V^-1 X, ``r2`` the residual energy.
    """

    deviance: float
    gradient: FloatArray
    information: FloatArray
    coefficients: FloatArray
    inverse: FloatArray
    r2: float
    conditional: FloatArray
    effects: FloatArray


def mixed_fit(
    group: npt.ArrayLike, time: npt.ArrayLike, design: npt.ArrayLike, value: npt.ArrayLike
) -> MixedFit:
    """Fit ``value`` (n,) on ``design`` (n, p), with an intercept and a slope over ``time`` (n,) a ``group``.

    Raises ValueError where the columns of the design are not independent or there are too few readings.
    """
    labels, times = np.asarray(group), np.asarray(time, dtype=float)
    columns = np.vstack([np.asarray(design, dtype=float).T, np.asarray(value, dtype=float)])
    if np.any(labels[1:] < labels[:-1]):
        order = np.argsort(labels, kind="stable")
        labels, times, columns = labels[order], times[order], columns[:, order]
    n, p = columns.shape[1], columns.shape[0] - 1
    start = np.flatnonzero(np.append(True, labels[1:] != labels[:-1]))
    # Time is centred and scaled for the search, columns are scaled: all numbers are then of one size.
    centre, spread = float(times.mean()), float(times.std()) or 1.0
    sums, size = _sums(start, (times - centre) / spread, columns)
    spectrum = np.linalg.eigvalsh(sums.whole[:p, :p])
    if n <= p or spectrum[0] * _COLLINEAR < spectrum[-1]:
        raise ValueError("the fixed effects can't be told apart by these readings")
    found, lower, evaluations = _search(sums)
    # Back to the units given: u = turn u*, with (1, z) turn = (1, z*).
    turn = np.array([[1.0, -centre / spread], [0.0, 1 / spread]])
    within = found.r2 / (n - p) * size[-1] ** 2
    residual = found.effects[:, p] - found.coefficients @ found.effects[:, :p]
    # The criterion is of scaled columns: undo their scale, in the density of the values and in log|X'V^-1 X|.
    scaled = 2 * (n - p) * np.log(size[-1]) + 2 * np.log(size[:-1]).sum()
    return MixedFit(
        groups=labels[start],
        coefficients=found.coefficients * size[-1] / size[:-1],
        covariance=found.inverse * within / np.outer(size[:-1], size[:-1]),
        between=turn @ lower @ lower.T @ turn.T * within,
        within=within,
        log_likelihood=-0.5 * (found.deviance + scaled),
        effects=(turn @ residual).T * size[-1],
        evaluations=evaluations,
        conditional=turn @ _symmetric(found.conditional) @ turn.T * within,
        crossed=np.tensordot(turn, found.effects[:, :p] * size[:-1, None], axes=1),
    )


def _sums(start: npt.NDArray[np.int64], time: FloatArray, columns: FloatArray) -> tuple[_Sums, FloatArray]:
    """The sums of columns (p + 1, n) each scaled to mean square one, and their sizes (p + 1,)."""
    whole = columns @ columns.T
    size = np.sqrt(np.diag(whole) / len(time))
    size[size == 0] = 1.0
    n = np.diff(np.append(start, len(time))).astype(float)
    own = np.stack([n, np.add.reduceat(time, start), np.add.reduceat(time**2, start)])
    crossed = np.stack([np.add.reduceat(part, start, axis=1) for part in (columns, columns * time)])
    return _Sums(own, crossed / size[:, None], whole / np.outer(size, size), len(time)), size


def _symmetric(entries: FloatArray) -> FloatArray:
    """Matrices (m, 2, 2) from their entries (3, m): first, beside, last."""
    return np.asarray(np.moveaxis(entries[[0, 1, 1, 2]].reshape(2, 2, -1), 2, 0), dtype=float)


def _search(sums: _Sums) -> tuple[_Profile, FloatArray, int]:
    """Scoring steps by the average information, shortened until they gain."""
    theta = _start(sums)
    here = _profile(sums, theta)
    evaluations = 2
    for _ in range(_STEPS):
        ridge = 1e-6 * np.trace(here.information) * np.eye(3)
        step = -np.linalg.solve(here.information + ridge, here.gradient)
        expected = float(-here.gradient @ step)
        if expected < _GAIN:
            break
        length = min(1.0, 1.0 / float(np.abs(step).max()))
        there = _profile(sums, theta + length * step)
        evaluations += 1
        while not there.deviance <= here.deviance - 1e-4 * length * expected and length > 1e-9:
            length /= 3
            there = _profile(sums, theta + length * step)
            evaluations += 1
        if there.deviance >= here.deviance:
            break
        theta, here = theta + length * step, there
    return here, np.array([[theta[0], 0.0], [theta[1], theta[2]]]), evaluations


def _start(sums: _Sums) -> FloatArray:
    """L by moments: how far the groups' own lines scatter, less what their readings' scatter puts in.

    Groups so unlike that each has its own line are the criterion's limit for a large L.
    """
    own = _profile(sums, np.array([_UNLIKE, 0.0, _UNLIKE]))
    n, p, m = sums.n, len(own.coefficients), sums.own.shape[1]
    within = own.r2 / max(n - p - 2 * m, n / 4)
    residual = own.effects[:, p] - own.coefficients @ own.effects[:, :p]
    s = residual @ residual.T / m / within - own.conditional[[0, 1, 1, 2]].mean(axis=1).reshape(2, 2)
    first = np.sqrt(max(s[0, 0], 0.01))
    beside = s[1, 0] / first
    return np.array([first, beside, np.sqrt(max(s[1, 1] - beside**2, 0.01))])


def _profile(sums: _Sums, theta: FloatArray) -> _Profile:
    a, b, c = theta.tolist()
    first, beside, last = sums.own
    zero, one = sums.crossed
    p = sums.whole.shape[0] - 1
    free = sums.n - p
    # M = I + L'CL with C = Z'Z; T = L M^-1 L' and T A for A = Z'[X y].
    m00 = 1 + a * a * first + 2 * a * b * beside + b * b * last
    m10 = c * (a * beside + b * last)
    m11 = 1 + c * c * last
    determinant = m00 * m11 - m10**2
    t00 = a * a * m11 / determinant
    t10 = a * (b * m11 - c * m10) / determinant
    t11 = (b * b * m11 - 2 * b * c * m10 + c * c * m00) / determinant
    effects = np.empty((2, *zero.shape))
    np.multiply(zero, t00, out=effects[0])
    effects[0] += t10 * one
    np.multiply(zero, t10, out=effects[1])
    effects[1] += t11 * one
    whole = sums.whole - effects[0] @ zero.T - effects[1] @ one.T
    inverse = np.linalg.inv(whole[:p, :p])
    coefficients = inverse @ whole[:p, p]
    r2 = float(whole[p, p] - whole[:p, p] @ coefficients)
    deviance = float(np.log(determinant).sum()) + float(np.linalg.slogdet(whole[:p, :p])[1])
    deviance += free * (1 + np.log(2 * np.pi * r2 / free)) if r2 > 0 else np.inf
    # Z'V^-1 A = A - C T A, and W = Z'V^-1 Z = C - C T C.
    seen0 = zero - first * effects[0]
    seen0 -= beside * effects[1]
    seen1 = one - beside * effects[0]
    seen1 -= last * effects[1]
    k00, k01 = first * t00 + beside * t10, first * t10 + beside * t11
    k10, k11 = beside * t00 + last * t10, beside * t10 + last * t11
    w00, w10, w11 = (
        first - k00 * first - k01 * beside,
        beside - k10 * first - k11 * beside,
        last - k10 * beside - k11 * last,
    )
    residual = np.append(-coefficients, 1.0)
    left0, left1 = residual @ seen0, residual @ seen1
    # In S the criterion's gradient is D = sum W - G_X K^-1 G_X' - (n - p) / r2 g g', in L it is 2 D L.
    ratio = free / r2
    d00, d10, d11 = (
        float(w.sum()) - float((inverse * (one_[:p] @ other[:p].T)).sum()) - ratio * float(mine @ theirs)
        for w, one_, other, mine, theirs in (
            (w00, seen0, seen0, left0, left0),
            (w10, seen0, seen1, left0, left1),
            (w11, seen1, seen1, left1, left1),
        )
    )
    gradient = 2 * np.array([d00 * a + d10 * b, d10 * a + d11 * b, d11 * c])
    # Average information (Gilmour et al. 1995), sigma profiled out.
    none = np.zeros_like(left0)
    moved = ((left0, none), (left1, left0), (none, left1))
    fixed = np.stack([seen0[:p] @ u + seen1[:p] @ v for u, v in moved])
    weighed = [(w00 * u + w10 * v, w10 * u + w11 * v) for u, v in moved]
    curved = np.array([[float(u @ x + v @ y) for x, y in weighed] for u, v in moved])
    curved -= fixed @ inverse @ fixed.T
    slope = np.array([left0 @ left0, 2 * left0 @ left1, left1 @ left1]) / r2
    chain = np.array([[2 * a, 0.0, 0.0], [b, a, 0.0], [0.0, 2 * b, 2 * c]])
    information = chain.T @ (free * (curved / r2 - np.outer(slope, slope))) @ chain
    conditional = np.stack([t00, t10, t11])
    return _Profile(deviance, gradient, information, coefficients, inverse, r2, conditional, effects)
