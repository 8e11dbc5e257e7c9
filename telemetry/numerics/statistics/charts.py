"""Control charts for lasting shifts: a change-point chart, its limit, EWMA, scores to feed them.

A chart's limit is chosen by what it costs: how many healthy values pass from one false signal to
the next. Limits for a known mean and deviation are far too tight when both were estimated from a
few values; :func:`recursive_scores` takes that out.
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

# Values after a change, at least.
_LEAST_AFTER = 2
# Signals of healthy series a value, over the limit times the normal density there.
_SIGNALS = 0.21
_DIFFUSE = 1e8  # relative variance of a coefficient that nothing is known of
# Scores beyond this are cut: one wild value must not fill a chart for the rest of the season.
_HIGHEST_SCORE = 8.0


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


class ChangeChart(NamedTuple):
    """The evidence for a lasting rise, value by value.

    Attributes
    ----------
    high : ndarray, shape (n,)
        Standard deviations by which the values since the likeliest change lie above those before
        it; ``-inf`` where there are too few to tell.
    since : ndarray of int, shape (n,)
        First value after that change.
    """

    high: FloatArray
    since: NDArray[np.int64]


def change_chart(score: FloatArray, *, learnt: int = 2) -> ChangeChart:
    """Test after each value whether the mean has risen for good, at whichever value before it.

    The scores are one-step prediction errors, so a baseline that goes on learning takes a lasting
    rise in by and by: ``c`` values after ``t`` of them are known, its share in the score of value
    number ``i`` is ``t / sqrt(i (i - 1))``. Each possible change is tested with just that pattern,
    which for a known deviation is the likelihood-ratio test of two means; the largest counts. So
    a rise is never forgotten, however long it lasts, and one that has gone back is.

    Parameters
    ----------
    score : ndarray, shape (n,)
        Standard normal while nothing changes, as :func:`recursive_scores` gives them.
    learnt : int
        Values that were learnt from before the first score, at least 1.

    Returns
    -------
    ChangeChart
        At least two values lie after a change: one alone never signals.

    References
    ----------
    D. M. Hawkins, P. Qiu, C. W. Kang, The changepoint model for statistical process control,
    Journal of Quality Technology 35 (2003) 355-366 (from memory); here one-sided, on scores.
    """
    n = score.size
    high, since = np.full(n, -np.inf), np.zeros(n, dtype=np.int64)
    known = learnt + np.arange(n + 1.0)  # values known before each one
    number = known[1:]
    sums = np.r_[0.0, np.cumsum(score / np.sqrt(number * (number - 1.0)))]
    for i in range(_LEAST_AFTER - 1, n):
        first = np.arange(i + 2 - _LEAST_AFTER)
        apart = (sums[i + 1] - sums[first]) / np.sqrt(1.0 / known[first] - 1.0 / known[i + 1])
        best = int(np.argmax(apart))
        high[i], since[i] = apart[best], first[best]
    return ChangeChart(high, since)


@cache
def change_limit(run: float) -> float:
    """Limit of :func:`change_chart` that a healthy series exceeds once in so many values.

    Parameters
    ----------
    run : float
        In-control run length, values from one false signal to the next, above 100.

    Returns
    -------
    float
        Limit h, in standard deviations: ``h phi(h)`` signals a value, times a factor from
        simulation (series of 20 to 500 values), as for any largest of many overlapping means.
    """
    return float(optimize.brentq(lambda h: _SIGNALS * h * stats.norm.pdf(h) * run - 1.0, 1.5, 20.0))


def recursive_scores(
    y: FloatArray,
    *,
    design: FloatArray | None = None,
    slope: FloatArray | None = None,
    slope_sd: FloatArray | None = None,
    spread: FloatArray | None = None,
    sigma: float,
    sigma_weight: float,
    sigma_learns: bool = True,
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
    sigma_learns : bool
        False: the scatter stays what is known beforehand.
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
            if sigma_learns:
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
