"""Trends in a handful of values: Theil-Sen slope, Mann-Kendall test, test for one step.

All of them work on ranks or medians: one odd flight does not turn them.
"""

from __future__ import annotations

from collections import Counter
from functools import cache
from math import comb, factorial, sqrt
from typing import NamedTuple

import numpy as np
import scipy
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

# Up to this many values the exact distribution of S is used; beyond it the normal one is within
# 0.002 of it (the test checks that).
_EXACT_UP_TO = 40


class Slope(NamedTuple):
    """A Theil-Sen line.

    Attributes
    ----------
    slope : float
        Median of all pairwise slopes.
    low, high : float or None
        Interval of the slope at the confidence asked for; None where so few values allow none.
    intercept : float
        ``median(y) - slope * median(x)``: the line passes through both medians.
    """

    slope: float
    low: float | None
    high: float | None
    intercept: float


class MannKendall(NamedTuple):
    """Mann-Kendall test for a monotone trend.

    Attributes
    ----------
    s : int
        Pairs that rise minus pairs that fall.
    variance : float
        Of S without a trend, ties counted.
    z : float
        Normal score with continuity correction.
    p_rising : float
        Chance of an S so high without a trend: exact up to 40 values, normal beyond.
    """

    s: int
    variance: float
    z: float
    p_rising: float


class StepTest(NamedTuple):
    """One sudden change of level.

    Attributes
    ----------
    first : int
        Index of the first value after the step.
    change : float
        Mean after it minus mean before it.
    """

    first: int
    change: float


def theil_sen(x: FloatArray, y: FloatArray, *, confidence: float = 0.95) -> Slope | None:
    """Slope of y on x by the median of all pairwise slopes, with Sen's interval.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        Finite values; x need not be even.
    confidence : float
        Of the interval, two-sided.

    Returns
    -------
    Slope or None
        None for fewer than two different x. The interval is None where not even a perfectly
        monotone run of n values would be significant (fewer than 5 values at 95 %), and where
        nearly all values are tied.

    References
    ----------
    P. K. Sen, Estimates of the regression coefficient based on Kendall's tau, J. Am. Stat. Assoc.
    63 (1968) 1379-1389, doi 10.2307/2285891.
    """
    apart = x[:, None] - x
    slopes = np.sort((y[:, None] - y)[apart > 0] / apart[apart > 0])
    if not slopes.size:
        return None
    n, pairs = int(x.size), int(slopes.size)
    slope = float(np.median(slopes))
    intercept = float(np.median(y)) - slope * float(np.median(x))
    variance = (n * (n - 1) * (2 * n + 5) - _tied(x) - _tied(y)) / 18.0
    # Of n! orders one alone is perfectly monotone. Where nearly all values are tied, the variance
    # comes out below 0.
    possible = (1.0 - confidence) * factorial(min(n, _EXACT_UP_TO)) >= 2 and variance >= 0
    if not possible:
        return Slope(slope, None, None, intercept)
    reach = -float(scipy.special.ndtri(0.5 * (1.0 - confidence))) * sqrt(variance)
    low, high = max(round((pairs - reach) / 2) - 1, 0), min(round((pairs + reach) / 2), pairs - 1)
    return Slope(slope, float(slopes[low]), float(slopes[high]), intercept)


def _tied(values: FloatArray) -> int:
    """What values that stand several times take off the variance of ranks, times 18."""
    counts = np.unique(values, return_counts=True)[1].tolist()
    return sum(t * (t - 1) * (2 * t + 5) for t in counts)


def mann_kendall(y: FloatArray) -> MannKendall:
    """Test whether values in time order tend to rise or to fall.

    Parameters
    ----------
    y : ndarray, shape (n,)
        Finite values in time order.

    Returns
    -------
    MannKendall
        With three values no one-sided p below 1/6 exists, with four none below 1/24.

    References
    ----------
    R. O. Gilbert, Statistical Methods for Environmental Pollution Monitoring, 1987, pp. 208-213
    (page numbers from memory). Exact distribution with ties: inversions of the permutations of a
    multiset (MacMahon; P. D. Valz and A. I. McLeod, The American Statistician 44 (1990) 39-40,
    from memory).
    """
    n = int(y.size)
    if n < 2:
        return MannKendall(0, 0.0, 0.0, 1.0)
    s = int(np.sign(y[None, :] - y[:, None])[np.triu_indices(n, 1)].sum())
    ties = tuple(sorted(c for c in Counter(y.tolist()).values() if c > 1))
    variance = (n * (n - 1) * (2 * n + 5) - _tied(y)) / 18.0
    z = 0.0 if s == 0 or variance == 0 else (s - np.sign(s)) / np.sqrt(variance)
    if n <= _EXACT_UP_TO:
        rising = _at_least(s, n, ties)
    else:
        rising = float(scipy.special.ndtr((1 - s) / np.sqrt(variance))) if variance else 1.0
    return MannKendall(s, variance, float(z), rising)


def likely_step(y: FloatArray) -> StepTest | None:
    """The most likely single step in values in time order: where the two-sample t is largest.

    That is where the means of both sides differ most in their standard error, for what is
    left of the whole sum of squares is then the least.

    Parameters
    ----------
    y : ndarray, shape (n,)
        Finite values in time order.

    Returns
    -------
    Step or None
        None for fewer than three values or where all are equal.

    References
    ----------
    K. J. Worsley, On the likelihood ratio test for a shift in location of normal populations,
    J. Am. Stat. Assoc. 74 (1979) 365-367 (from memory).
    """
    n = int(y.size)
    if n < 3 or np.ptp(y) == 0:
        return None
    k = np.arange(1, n)
    sums = np.cumsum(y)[:-1]
    change = (y.sum() - sums) / (n - k) - sums / k
    best = int(np.argmax(np.abs(change) / np.sqrt(1 / k + 1 / (n - k))))
    return StepTest(best + 1, float(change[best]))


def _at_least(s: int, n: int, ties: tuple[int, ...]) -> float:
    """P(S >= s) without a trend."""
    top = comb(n, 2) - sum(comb(t, 2) for t in ties)
    # S runs from -top to top in steps of 2.
    return float(upper_tail(n, ties)[(s + top) // 2])


@cache
def upper_tail(n: int, ties: tuple[int, ...]) -> FloatArray:
    """Upper tails of S at -top, -top + 2, ..., top, for n values with these tie groups.

    The number of orders of a multiset with j inversions is the coefficient of q^j in the
    q-multinomial [n]! / prod [t]!, with [n]! = prod_k (1 + q + ... + q^(k-1)).
    """
    counts = [1]
    for k in range(2, n + 1):
        counts = times_run(counts, k)
    for t in ties:
        for k in range(2, t + 1):
            counts = divided_by_run(counts, k)
    total = sum(counts)
    tails: list[int] = []
    running = 0
    for c in reversed(counts):
        running += c
        tails.append(running)
    return np.array([t / total for t in reversed(tails)], dtype=np.float64)


def times_run(p: list[int], k: int) -> list[int]:
    """Polynomial p times 1 + q + ... + q^(k-1), in exact whole numbers."""
    out, running = [], 0
    for j in range(len(p) + k - 1):
        running += p[j] if j < len(p) else 0
        running -= p[j - k] if 0 <= j - k < len(p) else 0
        out.append(running)
    return out


def divided_by_run(p: list[int], k: int) -> list[int]:
    """Polynomial p divided by 1 + q + ... + q^(k-1), which it holds as a factor."""
    out: list[int] = []
    for j in range(len(p) - k + 1):
        out.append(p[j] - sum(out[max(0, j - k + 1) : j]))
    return out
