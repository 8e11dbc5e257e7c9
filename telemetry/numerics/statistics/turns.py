"""Whether values taken one after the other come from several sources that take turns."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import scipy
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

# A level of which nothing is known, relative to the scatter.
DIFFUSE = 1e3


class Series(NamedTuple):
    """Values in the order in which they were taken, with what is known of them beforehand.

    Attributes
    ----------
    y : ndarray, shape (n,)
        Finite.
    spread : ndarray, shape (n,)
        Standard deviation of each value, relative to ``sigma``.
    sigma, weight : float
        Scatter of a value, and how many values that knowledge is worth.
    common : ndarray, shape (n, n)
        Covariance, relative to ``sigma**2``, of what values share without any turn: days, drift,
        covariates.
    sizes : tuple of float
        How far apart the sources may lie, relative to ``sigma``.
    """

    y: FloatArray
    spread: FloatArray
    sigma: float
    weight: float
    common: FloatArray
    sizes: tuple[float, ...]


def log_evidence(series: Series, more: FloatArray | None = None) -> float:
    """Log of the marginal likelihood of a series; ``more`` is further covariance of its values.

    A Gaussian of unknown scale: its variance is inverse gamma distributed, so the values are
    jointly Student-t.

    References
    ----------
    A. O'Hagan, J. Forster, Kendall's Advanced Theory of Statistics 2B, Bayesian Inference, the
    normal linear model with conjugate prior (from memory).
    """
    n = series.y.size
    covariance = np.diag(series.spread**2) + series.common + DIFFUSE
    if more is not None:
        covariance = covariance + more
    factor = scipy.linalg.cholesky(covariance, lower=True)
    white = scipy.linalg.solve_triangular(factor, series.y - series.y.mean(), lower=True)
    squares = series.weight * series.sigma**2 + float(white @ white)
    half = 0.5 * (series.weight + n)
    return float(-np.log(np.diag(factor)).sum() - half * np.log(squares))


def log_odds_of_turns(series: Series, source: IntArray, since: IntArray) -> float:
    """Log of the Bayes factor of sources that take turns against one source.

    Parameters
    ----------
    series : Series
    source : ndarray of int, shape (n,)
        The source of each value by that pattern of turns.
    since : ndarray of int
        From which value on the sources may differ, hypothesis by hypothesis: one of them may have
        changed on the way.

    Returns
    -------
    float
        The sizes and beginnings of the difference are averaged over, each as likely as the other;
        that this series does not show it is as likely as that it does.
    """
    alone = log_evidence(series)
    same = source[:, None] == source[None, :]
    place = np.arange(series.y.size)
    odds = []
    for begin in np.unique(since):
        both = np.logical_and.outer(place >= begin, place >= begin) & same
        odds += [log_evidence(series, size**2 * both) - alone for size in series.sizes]
    return float(np.logaddexp(0.0, scipy.special.logsumexp(odds) - np.log(len(odds))) - np.log(2.0))
