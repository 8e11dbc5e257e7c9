"""Control charts for small lasting shifts: CUSUM, EWMA, the CUSUM's limit, scores to feed them.

A chart's limit is chosen by what it costs: the chance of a false signal within a stated number of
values. Limits for a known mean and deviation are far too tight
when both were estimated from a few values; :func:`recursive_scores` takes that out.
"""

from __future__ import annotations

from functools import cache
from math import sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special, stats

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_NODES = 100  # of the Gauss-Legendre rule; chances are then right to six digits
_DIFFUSE = 1e8  # relative variance of a coefficient that nothing is known of
# Scores beyond this are cut: one wild value must not fill a chart for the rest of the season.
_HIGHEST_SCORE = 8.0


class Cusum(NamedTuple):
    """The upper side of a tabular CUSUM.

    Attributes
    ----------
    high : ndarray, shape (n,)
        The sum after each value.
    since_high : ndarray of int, shape (n,)
        Values since the sum last was zero: the change is dated to the first of them.
    """

    high: FloatArray
    since_high: NDArray[np.int64]


class Scores(NamedTuple):
    """One-step predictions of a growing baseline, and how far each value missed them.

    Attributes
    ----------
    score : ndarray, shape (n,)
        Standard normal and independent as long as nothing changes; 0 where nothing was known.
    predicted, scale : ndarray, shape (n,)
        Centre and scale of the Student-t prediction, in the unit of the values.
    degrees : ndarray, shape (n,)
        Its degrees of freedom.
    """

    score: FloatArray
    predicted: FloatArray
    scale: FloatArray
    degrees: FloatArray


def cusum(x: FloatArray, *, target: float = 0.0, k: float = 0.5, start: float = 0.0) -> Cusum:
    """Upper side of a tabular CUSUM; for the lower one, change the sign of values and target.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Values in time order.
    target : float
        In-control mean.
    k : float
        Reference value, in the unit of x: half the shift that shall be found soonest.
    start : float
        Head start of the sum.

    Returns
    -------
    Cusum
        It signals where the sum exceeds the limit h.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3.
    """
    sums = np.empty(x.size)
    since = np.zeros(x.size, dtype=np.int64)
    level, run = start, 0
    for i, value in enumerate(x):
        level = max(0.0, level + value - target - k)
        run = run + 1 if level > 0 else 0
        sums[i], since[i] = level, run
    return Cusum(sums, since)


def ewma(x: FloatArray, weight: float, start: float = 0.0) -> FloatArray:
    """Exponentially weighted moving average.

    Parameters
    ----------
    x : ndarray, shape (n,)
    weight : float
        Of the newest value, above 0 to 1.
    start : float
        Average before the first value.

    Returns
    -------
    ndarray, shape (n,)

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.
    """
    out = np.empty(x.size)
    level = start
    for i, value in enumerate(x):
        level += weight * (value - level)
        out[i] = level
    return out


def ewma_reach(n: int, weight: float, width: float, sigma: float = 1.0) -> FloatArray:
    """Distance of the EWMA's limits from the centre line, value by value.

    Parameters
    ----------
    n : int
        Number of values.
    weight : float
        Of the newest value.
    width : float
        Limits in standard deviations of the EWMA.
    sigma : float
        Standard deviation of a single value.

    Returns
    -------
    ndarray, shape (n,)
        Exact, growing with time; ``width sigma sqrt(weight / (2 - weight))`` in the end.
    """
    i = np.arange(1, n + 1)
    grown = 1.0 - (1.0 - weight) ** (2 * i)
    return np.asarray(width * sigma * np.sqrt(weight / (2.0 - weight) * grown), dtype=np.float64)


def cusum_signal_chance(k: float, h: float, n: int, *, shift: float = 0.0) -> float:
    """Chance that a one-sided CUSUM of standard normal values signals within n values.

    Parameters
    ----------
    k, h : float
        Reference value and limit, in standard deviations.
    n : int
        Number of values.
    shift : float
        Mean of the values.

    Returns
    -------
    float

    References
    ----------
    Integral equation of E. S. Page (Biometrika 41 (1954) 100-115) on Gauss-Legendre nodes, applied
    n times to the chance of having seen no signal.
    """
    y, kernel, at_zero = _cusum_kernel(k, h, shift)
    from_zero = stats.norm.pdf(y + k - shift) * _weights(h)
    stay = float(stats.norm.cdf(k - shift))
    zero, nodes = 1.0, np.ones(y.size)
    for _ in range(n):
        zero, nodes = stay * zero + float(from_zero @ nodes), at_zero * zero + kernel @ nodes
    return 1.0 - zero


@cache
def cusum_limit(k: float, n: int, chance: float) -> float:
    """Limit of a one-sided CUSUM with this chance of a false signal within n values.

    Parameters
    ----------
    k : float
        Reference value, in standard deviations.
    n : int
        Number of values.
    chance : float
        Of a signal without a shift.

    Returns
    -------
    float
        Limit h, in standard deviations.
    """
    return float(
        optimize.brentq(lambda h: cusum_signal_chance(k, h, n) - chance, 0.05, 25.0, xtol=1e-6)
    )


def recursive_scores(
    y: FloatArray,
    *,
    design: FloatArray | None = None,
    slope: FloatArray | None = None,
    slope_sd: FloatArray | None = None,
    spread: FloatArray | None = None,
    sigma: float,
    sigma_weight: float,
    learn: BoolArray | None = None,
    clip: float = np.inf,
) -> Scores:
    """Score each value against the prediction from those before it.

    Model: ``y[i] = level + design[i] . b + spread[i] * sigma * noise``. Nothing is known of the
    level; the coefficients b and sigma start from what is known beforehand and are learnt on the
    way. Prediction errors of the one-step forecasts are independent Student-t, whatever the level
    and sigma are; turned into normal scores they feed a chart with limits for a known mean and
    deviation, from the second value on, without a baseline set apart.

    Parameters
    ----------
    y : ndarray, shape (n,)
        Values in time order, finite.
    design : ndarray, shape (n, m), optional
        Covariates, centred where their usual value is known.
    slope, slope_sd : ndarray, shape (m,), optional
        What is known of b beforehand: mean and standard deviation, in units of y per unit of the
        covariate.
    spread : ndarray, shape (n,), optional
        Relative standard deviation of each value; 1 where not given.
    sigma : float
        Standard deviation of a value, known beforehand.
    sigma_weight : float
        How many values that knowledge is worth, above 0.
    learn : ndarray of bool, shape (n,), optional
        False: score it, but learn nothing from it.
    clip : float
        A value further off than so many scales is learnt as if it were only so far off: one odd
        flight does not spoil the baseline.

    Returns
    -------
    Scores

    References
    ----------
    D. M. Hawkins, Self-starting cusum charts for location and scale, The Statistician 36 (1987)
    299-315; recursive residuals: R. L. Brown, J. Durbin, J. M. Evans, J. R. Stat. Soc. B 37 (1975)
    149-192 (both from memory). With ``sigma_weight`` near 0 and no covariates it is Hawkins's.
    """
    n = y.size
    m = 0 if design is None else design.shape[1]
    rows = [[1.0, *([] if design is None else design[i].tolist())] for i in range(n)]
    own = np.ones(n) if spread is None else spread**2
    mean = [0.0, *([0.0] * m if slope is None else slope.tolist())]
    known_sd = [0.0] * m if slope_sd is None else slope_sd.tolist()
    variances = [_DIFFUSE, *((sd / sigma) ** 2 for sd in known_sd)]
    covariance = [[v if i == j else 0.0 for j in range(m + 1)] for i, v in enumerate(variances)]
    degrees, squares = sigma_weight, sigma_weight * sigma**2
    errors, scales, worth = np.zeros(n), np.ones(n), np.full(n, sigma_weight)
    first = n
    taken = [True] * n if learn is None else learn.tolist()
    # Plain numbers: for one to three coefficients they are many times faster than arrays.
    for i, (x, value, variance) in enumerate(zip(rows, y.tolist(), own.tolist(), strict=True)):
        reach = [sum(c * xi for c, xi in zip(row, x, strict=True)) for row in covariance]
        ahead = variance + sum(r * xi for r, xi in zip(reach, x, strict=True))
        error = value - sum(b * xi for b, xi in zip(mean, x, strict=True))
        scale = sqrt(squares / degrees * ahead)
        errors[i], scales[i], worth[i] = error, scale, degrees
        if not taken[i]:
            continue
        if i > first:
            error = min(max(error, -clip * scale), clip * scale)
            squares += error**2 / ahead
            degrees += 1.0
        first = min(first, i)
        gain = [r / ahead for r in reach]
        mean = [b + g * error for b, g in zip(mean, gain, strict=True)]
        covariance = [
            [c - r * g for c, g in zip(row, gain, strict=True)]
            for row, r in zip(covariance, reach, strict=True)
        ]
    score = np.where(np.arange(n) > first, normal_scores(errors / scales, worth), 0.0)
    return Scores(score, y - errors, scales, worth)


def normal_scores(t: FloatArray, degrees: FloatArray) -> FloatArray:
    """The standard normal values with the same tails as Student-t values, cut at 8."""
    tail = np.maximum(special.stdtr(degrees, -np.abs(t)), special.ndtr(-_HIGHEST_SCORE))
    return np.asarray(np.copysign(special.ndtri(tail), t), dtype=np.float64)


@cache
def _rule() -> tuple[FloatArray, FloatArray]:
    """Nodes and weights of the Gauss-Legendre rule on -1 to 1."""
    x, w = np.polynomial.legendre.leggauss(_NODES)
    return np.asarray(x, dtype=np.float64), np.asarray(w, dtype=np.float64)


def _weights(h: float) -> FloatArray:
    return 0.5 * h * _rule()[1]


def _cusum_kernel(k: float, h: float, shift: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Nodes on (0, h), weighted kernel between them, chance to fall to zero from each."""
    y = 0.5 * h * (_rule()[0] + 1.0)
    steps = y[None, :] + k - y[:, None] - shift
    kernel = stats.norm.pdf(steps) * _weights(h)[None, :]
    return y, kernel, np.asarray(stats.norm.cdf(k - y - shift), dtype=np.float64)
