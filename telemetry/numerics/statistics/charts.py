"""Control charts for lasting shifts: a change-point chart, EWMA, scores to feed them.

What a chart's limit costs is told by :mod:`telemetry.numerics.statistics.runs`. Limits for a known
mean and deviation are far too tight when both were estimated from a few values;
:func:`recursive_scores` takes that out.
"""

from __future__ import annotations

from math import inf, isfinite
from typing import NamedTuple

import numpy as np
import scipy
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

# Values of a chart that are worked out at once: of a long one all would fill the memory.
_AT_ONCE = 256
# Values after a change, at least.
_LEAST_AFTER = 2
_DIFFUSE = 1e8  # relative variance of a level that nothing is known of
_LEAST_SD = 1e-9  # relative deviation of a coefficient that is known for certain
_LEAST_VARIANCE = 1e-12
# Scores beyond this are cut: one wild value must not fill a chart for the rest of the season.
_HIGHEST_SCORE = 8.0
_FURTHEST = 37.0  # as far as the normal tail can be told in double precision


class Scores(NamedTuple):
    """One-step predictions of a growing baseline, and how far each value missed them.

    Attributes
    ----------
    score : ndarray, shape (..., n)
        Standard normal and independent as long as nothing changes; 0 where nothing was known.
    predicted, scale : ndarray, shape (..., n)
        Centre and scale of the Student-t prediction, in the unit of the values.
    degrees : ndarray, shape (..., n)
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
    since: IntArray


def change_chart(score: FloatArray, *, learnt: int = 2, worth: float = inf) -> ChangeChart:
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
    worth : float
        How many scores it is worth that their variance is said to be 1: the rest is learnt from the
        scores themselves, with the change taken out. Infinite: it is 1.

    Returns
    -------
    ChangeChart
        At least two values lie after a change: one alone never signals.

    References
    ----------
    D. M. Hawkins, P. Qiu, C. W. Kang, The changepoint model for statistical process control,
    Journal of Quality Technology 35 (2003) 355-366 (from memory); here one-sided, on scores. With
    ``worth`` 0 and ``learnt`` 1 it is theirs for an unknown deviation: the largest t of two means.
    """
    high, since = np.full(score.size, -np.inf), np.zeros(score.size, dtype=np.int64)
    for start in range(0, score.size, _AT_ONCE):
        values = np.arange(start, min(start + _AT_ONCE, score.size)) + 1
        told = change_now(score[None, : values[-1]], values, learnt=learnt, worth=worth)
        high[values - 1], since[values - 1] = told
    return ChangeChart(high, since)


def _studentized(high: FloatArray, squares: FloatArray, n: IntArray, worth: float) -> FloatArray:
    """A normal score for ``high``, by what n scores with these squares tell of their variance."""
    told = np.isfinite(high)
    if not isfinite(worth) or not told.any():
        return high
    largest, degrees = np.where(told, high, 0.0), worth + np.maximum(n, 2) - 1.0
    variance = np.maximum(worth + squares - largest**2, _LEAST_VARIANCE) / degrees
    return np.where(told, normal_scores(largest / np.sqrt(variance), degrees, _FURTHEST), -np.inf)


def change_now(
    score: FloatArray, values: IntArray, *, learnt: int = 2, worth: float = inf
) -> ChangeChart:
    """The last value of :func:`change_chart` of many series at once, at the cost of one value.

    Parameters
    ----------
    score : ndarray, shape (m, n), or (1, n) where all are one
    values : ndarray of int, shape (m,)
        Of each series only so many count, from the first on.
    learnt, worth
        As of :func:`change_chart`.

    Returns
    -------
    ChangeChart
        Its arrays of shape (m,).
    """
    sums, known = _sums(score, learnt)
    sums = np.broadcast_to(sums, (values.size, known.size))
    end = np.take_along_axis(sums, values[:, None], axis=-1)
    first = np.arange(score.shape[-1])
    left = first <= values[:, None] - _LEAST_AFTER
    wide = np.where(left, 1.0 / known[first] - 1.0 / known[values][:, None], 1.0)
    apart = np.where(left, (end - sums[:, :-1]) / np.sqrt(wide), -np.inf)
    since = apart.argmax(axis=-1)
    high = np.take_along_axis(apart, since[:, None], -1)[:, 0]
    squares = np.pad(np.cumsum(score**2, axis=-1), ((0, 0), (1, 0)))
    squares = np.broadcast_to(squares, sums.shape)
    squares = np.take_along_axis(squares, values[:, None], -1)[:, 0]
    return ChangeChart(_studentized(high, squares, values, worth), since)


def _sums(score: FloatArray, learnt: int) -> tuple[FloatArray, FloatArray]:
    """Sums of the weighed scores before each value and after the last, and values known then."""
    known = learnt + np.arange(score.shape[-1] + 1.0)
    number = known[1:]
    sums = np.zeros((*score.shape[:-1], known.size))
    np.cumsum(score / np.sqrt(number * (number - 1.0)), axis=-1, out=sums[..., 1:])
    return sums, known


def recursive_scores(
    y: FloatArray,
    *,
    design: FloatArray | None = None,
    slope: FloatArray | None = None,
    slope_sd: FloatArray | None = None,
    spread: FloatArray | None = None,
    sigma: float | FloatArray,
    sigma_weight: float | FloatArray,
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
    y : ndarray, shape (..., n)
        Values in time order, finite; of several series at once where it has more axes.
    design : ndarray, shape (n, m), optional
        Covariates, centred where their usual value is known.
    slope, slope_sd : ndarray, shape (m,), optional
        What is known of b beforehand: mean and standard deviation, in units of y per unit of the
        covariate.
    spread : ndarray, shape (..., n), optional
        Relative standard deviation of each value; 1 where not given.
    sigma : float or ndarray, shape (...)
        Standard deviation of a value, known beforehand.
    sigma_weight : float or ndarray, shape (...)
        How many values that knowledge is worth, above 0.
    sigma_learns : bool
        False: the scatter stays what is known beforehand.
    learn : ndarray of bool, shape (..., n), optional
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
    y = np.asarray(y, dtype=np.float64)
    n = y.shape[-1]
    taken = np.ones(y.shape, dtype=bool) if learn is None else np.broadcast_to(learn, y.shape)
    own = np.ones(y.shape) if spread is None else np.broadcast_to(spread, y.shape) ** 2
    weight = taken / own
    beforehand, worth = (np.asarray(x, dtype=np.float64)[..., None] for x in (sigma, sigma_weight))
    later = np.cumsum(taken, axis=-1) - taken > 0  # a value that is learnt lies before it
    known = _before(weight) + 1.0 / _DIFFUSE
    ahead = own + 1.0 / known
    covariates = None
    if design is not None:
        m = design.shape[-1]
        mean, sd = (np.zeros(m) if x is None else x for x in (slope, slope_sd))
        precision = (beforehand / np.maximum(sd, _LEAST_SD * beforehand)) ** 2
        covariates = _Covariates(design, weight, known, mean, precision[..., None, :])
        ahead = ahead + covariates.ahead
    learns = taken & later & sigma_learns
    degrees = worth + _before(learns)
    # A value that is clipped moves the predictions after it only: each round settles one more.
    used = y
    for _ in range(n + 1):
        level = _before(weight * used) / known
        predicted = level if covariates is None else level + covariates.effect(used, level)
        squares = worth * beforehand**2 + _before(learns * (used - predicted) ** 2 / ahead)
        scale = np.sqrt(squares / degrees * ahead)
        if not np.isfinite(clip):
            break
        error = np.clip(y - predicted, -clip * scale, clip * scale)
        settled = np.where(taken & later, predicted + error, y)
        if np.array_equal(settled, used):
            break
        used = settled
    score = np.where(later, normal_scores((y - predicted) / scale, degrees), 0.0)
    return Scores(score, predicted, scale, degrees)


class _Covariates:
    """What covariates add to the predictions: the level is taken out, the rest solved for."""

    def __init__(
        self,
        design: FloatArray,
        weight: FloatArray,
        known: FloatArray,
        slope: FloatArray,
        precision: FloatArray,
    ) -> None:
        self.weighed = weight[..., None] * design
        self.known, self.mean = known, _before(self.weighed, 2) / known[..., None]
        square = _before(self.weighed[..., None] * design[..., None, :], 3)
        square -= known[..., None, None] * self.mean[..., None] * self.mean[..., None, :]
        square += precision[..., None] * np.eye(design.shape[-1])
        apart = design - self.mean
        self.reach = np.linalg.solve(square, apart[..., None])[..., 0]
        self.prior = precision * slope
        #: Variance of the prediction by what is not known of the coefficients.
        self.ahead = (self.reach * apart).sum(axis=-1)

    def effect(self, y: FloatArray, level: FloatArray) -> FloatArray:
        """What the coefficients as known before each value make of its covariates."""
        both = _before(self.weighed * y[..., None], 2) - (self.known * level)[..., None] * self.mean
        return np.asarray((self.reach * (self.prior + both)).sum(axis=-1), dtype=np.float64)


def _before(x: FloatArray | BoolArray, axis: int = 1) -> FloatArray:
    """Sum of all values before each one, along an axis counted from the last.

    Of nothing but these: taken from the sum with each one, its own rounding would stay.
    """
    if axis > 1:
        return np.moveaxis(_before(np.moveaxis(x, -axis, -1)), -1, -axis)
    out = np.zeros(x.shape)
    np.cumsum(x[..., :-1], axis=-1, dtype=np.float64, out=out[..., 1:])
    return out


def normal_scores(t: FloatArray, degrees: FloatArray, most: float = _HIGHEST_SCORE) -> FloatArray:
    """The standard normal values with the same tails as Student-t values, cut at ``most``."""
    tail = np.maximum(scipy.special.stdtr(degrees, -np.abs(t)), scipy.special.ndtr(-most))
    return np.asarray(np.copysign(scipy.special.ndtri(tail), t), dtype=np.float64)
