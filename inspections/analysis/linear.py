"""Linear regression for few, irregular, serially dependent readings with outliers and ends of scale.

Sources: Huber (1964), Ann. Math. Stat. 35, 73, and (1981), Robust Statistics, sec. 7.6; Patterson and
Thompson (1971), Biometrika 58, 545 (restricted likelihood); Tobin (1958), Econometrica 26, 24; Olsen (1978),
Econometrica 46, 1211; Burridge (1981), JRSS B 43, 41; Louis (1982), JRSS B 44, 226.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr

from inspections.analysis.records import FloatArray
from inspections.analysis.tabulating import median

#: Huber's constant: 95 % efficiency where the errors are normal (Huber 1981).
HUBER = 1.345
#: Median absolute deviation of a standard normal.
NORMAL_MAD = 0.6744897501960817
#: Times, in days, over which errors may be alike: zero, and from ten days (weather) to two years (the room's
#: use). Finer steps change no interval by more than the readings' own noise. Our choice.
CORRELATION_TIMES = (0.0, 10.0, 20.0, 40.0, 80.0, 160.0, 320.0, 640.0)
#: Readings closer than this, in days, count as this far apart: repeats of a day should be merged before.
LEAST_GAP = 0.5

_TOLERANCE = 1e-10
_ROBUST_STEPS = 100
_PROFILE_PASSES = 2
_NEWTON_STEPS = 60
_LOG_ROOT_TWO_PI = 0.5 * np.log(2 * np.pi)


@dataclass(frozen=True, slots=True)
class LinearFit:
    """A fitted regression with p coefficients to n readings.

    ``covariance`` (p, p) allows for serial dependence, for its uncertain length and for what readings off the
    scale don't tell. ``residual_sd`` is that of one reading, ``tau`` the likeliest correlation time (days),
    ``weights`` (n,) the Huber weights, ``expected`` (n,) the readings with those off the scale at their
    conditional means, ``freedom`` n - p.
    """

    coefficients: FloatArray
    covariance: FloatArray
    residual_sd: float
    tau: float
    weights: FloatArray
    expected: FloatArray
    fitted: FloatArray
    freedom: int


@dataclass(frozen=True, slots=True)
class CensoredFit:
    """Maximum-likelihood regression on intervals: coefficients (p,), scale, covariance of both (p+1, p+1)."""

    coefficients: FloatArray
    scale: float
    covariance: FloatArray
    log_likelihood: float


def linear_fit(
    design: FloatArray,
    value: FloatArray,
    low: FloatArray | None = None,
    high: FloatArray | None = None,
    time: FloatArray | None = None,
    weights: FloatArray | None = None,
    robust: bool = True,
) -> LinearFit | None:
    """Regress ``value`` (n,) on ``design`` (n, p); None where n < p + 2 or the columns are not independent.

    ``low``, ``high``: bounds of readings off the scale; these stand at their conditional means given the fit
    (expectation-maximisation from Tobin's likelihood; the serial dependence is left out of that step). None
    also where fewer than p + 1 readings are exact.
    ``time``: sorted days; given, errors follow a continuous first-order autoregression, correlation
    exp(-gap / tau), with tau averaged over :data:`CORRELATION_TIMES` by its restricted likelihood. Not given,
    errors are independent.
    ``weights``: relative precisions. ``robust``: Huber's weights, and his covariance (1981, sec. 7.6).
    """
    n, p = design.shape
    low, high = (value if low is None else low), (value if high is None else high)
    exact = low == high
    if n < p + 2 or exact.sum() < p + 1 or np.linalg.matrix_rank(design) < p:
        return None
    precision = np.ones(n) if weights is None else weights / weights.mean()
    if exact.all():
        return _fit(design, value, np.zeros(n), time, precision, robust)
    return _fit_censored(design, low, high, time, precision, robust)


def _fit_censored(
    design: FloatArray,
    low: FloatArray,
    high: FloatArray,
    time: FloatArray | None,
    precision: FloatArray,
    robust: bool,
) -> LinearFit | None:
    start = censored_regression(design, low, high)
    if start is None:
        return None
    coefficients, scale = start.coefficients, start.scale
    fit = None
    for _ in range(_ROBUST_STEPS):
        expected, spread = truncated_normal(design @ coefficients, scale, low, high)
        fit = _fit(design, expected, spread / scale**2, time, precision, robust)
        moved = float(np.abs(fit.coefficients - coefficients).max())
        coefficients = fit.coefficients
        # The likelihood's own scale has divisor n: Tobin's estimate then stays where nothing else acts.
        scale = fit.residual_sd * np.sqrt(fit.freedom / len(low))
        if moved < 1e-6 * scale or (not robust and time is None):
            break
    return fit


def _fit(
    design: FloatArray,
    value: FloatArray,
    missing: FloatArray,
    time: FloatArray | None,
    precision: FloatArray,
    robust: bool,
) -> LinearFit:
    """Robust fit; ``missing`` (n,) is the share of each reading's information that the scale's end hid."""
    n, p = design.shape
    gaps = None if time is None else np.maximum(np.diff(time), LEAST_GAP)
    taus = np.array([0.0]) if gaps is None else np.array(CORRELATION_TIMES)
    rows = design * np.sqrt(precision)[:, None]
    target = value * np.sqrt(precision)
    drawn = target
    for _ in range(_PROFILE_PASSES if robust else 0):
        tau = taus[[int(np.argmin(_deviance(rows, drawn, gaps, taus)))]]
        drawn = _drawn_in(rows, target, gaps, tau)
    deviance = _deviance(rows, drawn, gaps, taus)
    chance = np.exp(-0.5 * (deviance - deviance.min()))
    chance /= chance.sum()
    weights = _weights_of(rows, target, drawn, gaps, taus[[int(np.argmax(chance))]])
    each, covariances, variances = _solutions(rows, drawn, missing, gaps, taus)
    factor = _huber_factor(weights, p)
    mean = chance @ each
    away = each - mean
    between = np.einsum("g,gi,gj->ij", chance, away, away)
    return LinearFit(
        coefficients=mean,
        covariance=factor * np.einsum("g,gij->ij", chance, covariances) + between,
        residual_sd=float(np.sqrt(factor * chance @ variances)),
        tau=float(taus[int(np.argmax(chance))]),
        weights=weights,
        expected=value,
        fitted=design @ mean,
        freedom=n - p,
    )


def _solutions(
    rows: FloatArray, target: FloatArray, missing: FloatArray, gaps: FloatArray | None, taus: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """For each tau: coefficients (g, p), covariance (g, p, p) and variance of a reading (g,)."""
    n, p = rows.shape
    stack = whitened(np.column_stack([rows, target]), gaps, taus)
    coefficients = _solve(stack)
    residual = stack[:, :, -1] - np.einsum("gnp,gp->gn", stack[:, :, :-1], coefficients)
    # What a scale's end hid of the scatter is its own share of the variance: s2 = (energy + s2 sum m) / n.
    variance = (residual**2).sum(axis=1) / (n - p) * n / (n - missing.sum())
    informed = whitened(rows * np.sqrt(1 - missing)[:, None], gaps, taus)
    inverse = np.linalg.inv(np.swapaxes(informed, 1, 2) @ informed)
    return coefficients, inverse * variance[:, None, None], variance


def _drawn_in(rows: FloatArray, target: FloatArray, gaps: FloatArray | None, tau: FloatArray) -> FloatArray:
    """The readings with outliers drawn in to Huber's limit about the fit (his modified residuals, sec. 7.8).

    Least squares on these has the same answer as Huber's estimating equations on the readings.
    """
    size = np.abs(target).max() or 1.0
    projector = _projector(rows, gaps, tau)
    drawn, fitted = target, np.full(len(target), np.inf)
    for _ in range(_ROBUST_STEPS):
        before = fitted
        fitted = rows @ (projector @ drawn)
        residual = target - fitted
        scale = median(np.abs(residual)) / NORMAL_MAD
        if scale <= _TOLERANCE * size:
            return target
        far = np.abs(residual) > HUBER * scale
        drawn = np.where(far, fitted + HUBER * scale * np.sign(residual), target)
        if np.abs(fitted - before).max() <= _TOLERANCE * size:
            break
    return drawn


def _projector(rows: FloatArray, gaps: FloatArray | None, tau: FloatArray) -> FloatArray:
    """Matrix (p, n) that takes readings to the coefficients of generalised least squares."""
    q, r = np.linalg.qr(whitened(rows, gaps, tau)[0])
    weighted = q.copy()
    if gaps is not None:
        rho = correlation(gaps, tau)[0]
        root = np.sqrt(1 - rho**2)
        weighted[1:] /= root[:, None]
        weighted[:-1] -= (rho / root)[:, None] * q[1:]
    return np.asarray(np.linalg.solve(r, weighted.T), dtype=float)


def _weights_of(
    rows: FloatArray, target: FloatArray, drawn: FloatArray, gaps: FloatArray | None, tau: FloatArray
) -> FloatArray:
    """Huber's weights: 1, or how far a reading was drawn in over how far it lay off."""
    fitted = rows @ _solve(whitened(np.column_stack([rows, drawn]), gaps, tau))[0]
    weights = np.ones(len(target))
    moved = drawn != target
    weights[moved] = np.clip((drawn - fitted)[moved] / (target - fitted)[moved], 0.0, 1.0)
    return weights


def _huber_factor(weights: FloatArray, p: int) -> float:
    """K**2 / m**2 of Huber (1981), sec. 7.6: m is the share of readings not weighted down."""
    share = float((weights >= 1.0).mean())
    correction = 1 + p / len(weights) * (1 - share) / share
    return (correction / share) ** 2


def whitened(rows: FloatArray, gaps: FloatArray | None, taus: FloatArray) -> FloatArray:
    """Rows (n, k), or (g, n, k), made independent for each of g correlation times: (g, n, k).

    A first-order autoregression in continuous time is Markov, so a reading less exp(-gap/tau) times the one
    before, over sqrt(1 - exp(-2 gap/tau)), is independent of all that went before and of unit variance.
    """
    stack = np.broadcast_to(rows, (len(taus), *rows.shape[-2:]))
    if gaps is None:
        return stack
    rho = correlation(gaps, taus)[:, :, None]
    later = (stack[:, 1:] - rho * stack[:, :-1]) / np.sqrt(1 - rho**2)
    return np.concatenate([stack[:, :1], later], axis=1)


def correlation(gaps: FloatArray, taus: FloatArray) -> FloatArray:
    """exp(-gap / tau), shape (g, n - 1); zero for a correlation time of zero."""
    with np.errstate(divide="ignore"):
        return np.asarray(np.exp(-gaps[None, :] / taus[:, None]), dtype=float)


def _solve(stack: FloatArray) -> FloatArray:
    """Least squares of the last column on the others, by QR, for each of g tables: (g, p)."""
    q, r = np.linalg.qr(stack[:, :, :-1])
    target = np.swapaxes(q, 1, 2) @ stack[:, :, -1:]
    return np.asarray(np.linalg.solve(r, target)[:, :, 0], dtype=float)


def _deviance(
    rows: FloatArray,
    target: FloatArray,
    gaps: FloatArray | None,
    taus: FloatArray,
    restricted: bool = True,
) -> FloatArray:
    """-2 log likelihood, restricted or full, at each correlation time, scale profiled out: (g,)."""
    n, p = rows.shape
    r = np.linalg.qr(whitened(np.column_stack([rows, target]), gaps, taus), mode="r")
    diagonal = np.abs(np.diagonal(r, axis1=1, axis2=2))
    log_residual = 2 * np.log(np.maximum(diagonal[:, -1], np.finfo(float).tiny))
    determinant = np.zeros(len(taus))
    if gaps is not None:
        determinant = np.log1p(-(correlation(gaps, taus) ** 2)).sum(axis=1)
    count = n - p if restricted else n
    deviance = count * (log_residual - np.log(count) + 1 + np.log(2 * np.pi)) + determinant
    if restricted:
        deviance = deviance + 2 * np.log(diagonal[:, :-1]).sum(axis=1)
    return np.asarray(deviance, dtype=float)


def serial_deviance(
    design: FloatArray, value: FloatArray, time: FloatArray, taus: FloatArray, restricted: bool = True
) -> FloatArray:
    """-2 log (restricted) likelihood of each correlation time in ``taus`` (g,), times sorted: (g,)."""
    gaps = np.maximum(np.diff(time), LEAST_GAP)
    return _deviance(design, value, gaps, taus, restricted)


def censored_regression(design: FloatArray, low: FloatArray, high: FloatArray) -> CensoredFit | None:
    """Maximum likelihood of normal regression where reading i is known to lie in [low, high] (equal: exact).

    Newton's method in Olsen's (1978) parameters, coefficients over scale and one over scale, in which the
    likelihood has one summit (Burridge 1981). ``design`` (n, p). The covariance is the inverse of the
    observed information in (coefficients, scale). None where the readings fix no scale.
    """
    p = design.shape[1]
    exact = low == high
    middle = np.where(np.isfinite(low), np.where(np.isfinite(high), (low + high) / 2, low), high)
    start, *_ = np.linalg.lstsq(design, middle, rcond=None)
    scale = float(np.sqrt(np.mean((middle - design @ start) ** 2)))
    if exact.sum() < p + 1 or scale <= 0:
        return None
    theta = np.append(start / scale, 1 / scale)
    value, gradient, hessian = _olsen(theta, design, low, high)
    for _ in range(_NEWTON_STEPS):
        step = np.linalg.solve(-hessian, gradient)
        length = 1.0
        while length > 1e-8:
            trial = theta + length * step
            if trial[-1] > 0 and _olsen(trial, design, low, high)[0] >= value - 1e-12:
                break
            length /= 2
        theta = theta + length * step
        value, gradient, hessian = _olsen(theta, design, low, high)
        if np.abs(length * step).max() < _TOLERANCE * max(1.0, np.abs(theta).max()):
            break
    scale = 1 / theta[-1]
    if not np.isfinite(value) or scale < _TOLERANCE * max(1.0, np.abs(middle).max()):
        return None
    # d(coefficients, scale) / d(theta): coefficients = theta / h, scale = 1 / h.
    jacobian = np.eye(p + 1) * scale
    jacobian[:, -1] = np.append(-theta[:-1], -1.0) * scale**2
    covariance = jacobian @ np.linalg.inv(-hessian) @ jacobian.T
    return CensoredFit(theta[:-1] * scale, float(scale), covariance, float(value))


def _olsen(
    theta: FloatArray, design: FloatArray, low: FloatArray, high: FloatArray
) -> tuple[float, FloatArray, FloatArray]:
    """Log likelihood, gradient and hessian in coefficients over scale and one over scale."""
    exact = low == high
    rate = theta[-1]
    rows = np.column_stack([-design, np.where(exact, low, 0.0)])[exact]
    z = rows @ theta
    value = float(-0.5 * (z**2).sum() + exact.sum() * (np.log(rate) - _LOG_ROOT_TWO_PI))
    gradient = -rows.T @ z
    hessian = -rows.T @ rows
    gradient[-1] += exact.sum() / rate
    hessian[-1, -1] -= exact.sum() / rate**2
    lower = np.column_stack([-design, np.where(np.isfinite(low), low, 0.0)])[~exact]
    upper = np.column_stack([-design, np.where(np.isfinite(high), high, 0.0)])[~exact]
    a = np.where(np.isfinite(low[~exact]), lower @ theta, -np.inf)
    b = np.where(np.isfinite(high[~exact]), upper @ theta, np.inf)
    log_mass, at_a, at_b = _mass(a, b)
    value += float(log_mass.sum())
    gradient += upper.T @ at_b - lower.T @ at_a
    a, b = np.where(np.isfinite(a), a, 0.0), np.where(np.isfinite(b), b, 0.0)
    cross = (upper * (at_a * at_b)[:, None]).T @ lower
    hessian += (upper * (-b * at_b - at_b**2)[:, None]).T @ upper
    hessian += (lower * (a * at_a - at_a**2)[:, None]).T @ lower + cross + cross.T
    return value, gradient, hessian


def truncated_normal(
    mean: FloatArray, sd: float | FloatArray, low: FloatArray, high: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean and variance of normals (mean (n,), sd one or (n,)) given that they lie in [low, high] (n,).

    Where the bounds are equal: that value, and no variance. Johnson, Kotz and Balakrishnan (1994), Continuous
    Univariate Distributions 1, sec. 10.1.
    """
    exact = low == high
    result, variance = np.array(low, dtype=float), np.zeros(len(mean))
    sds = np.broadcast_to(sd, mean.shape)[~exact]
    a, b = (low[~exact] - mean[~exact]) / sds, (high[~exact] - mean[~exact]) / sds
    _, shift, shrunk = interval_moments(a, b)
    result[~exact] = mean[~exact] + sds * shift
    variance[~exact] = sds**2 * shrunk
    return result, variance


def interval_moments(a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Log probability of a standard normal between a and b (n,), and its mean and variance given that."""
    log_mass, at_a, at_b = _mass(a, b)
    shift = at_a - at_b
    a, b = np.where(np.isfinite(a), a, 0.0), np.where(np.isfinite(b), b, 0.0)
    return log_mass, shift, np.clip(1 + a * at_a - b * at_b - shift**2, 0.0, 1.0)


def _mass(a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Log probability of a standard normal between a and b, and its density at each over that probability."""
    if np.isposinf(b).all():
        log_mass = log_ndtr(-a)
        return log_mass, np.exp(-0.5 * a**2 - _LOG_ROOT_TWO_PI - log_mass), np.zeros_like(a)
    flip = a > 0
    lower, upper = np.where(flip, -b, a), np.where(flip, -a, b)
    log_upper, log_lower = log_ndtr(upper), log_ndtr(lower)
    log_mass = log_upper + np.log1p(-np.exp(log_lower - log_upper))
    at_a, at_b = (np.exp(-0.5 * bound**2 - _LOG_ROOT_TWO_PI - log_mass) for bound in (a, b))
    return log_mass, at_a, at_b


def columns_are_independent(design: npt.NDArray[np.float64], limit: float) -> bool:
    """Whether the condition number of the columns, each scaled to length one, stays under ``limit``."""
    length = np.sqrt((design**2).sum(axis=0))
    if not np.all(length > 0):
        return False
    return bool(np.linalg.cond(design / length) < limit)
