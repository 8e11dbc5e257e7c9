"""Peaks over a threshold: the value that many flights are expected to reach once.

Method: runs declustering, generalized Pareto excesses by maximum likelihood, return level with a
profile-likelihood interval (S. Coles, *An Introduction to Statistical Modeling of Extreme Values*,
2001, sections 4.3 and 5.3). Excesses of at most 30 peaks say too little: those are refused.

Minima (dips of a voltage) are handled as maxima of the negated values.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from telemetry.numerics.statistics.simplex import least_of_two

FloatArray = NDArray[np.float64]

LEAST_PEAKS = 30
# Maximum likelihood is regular above -1/2 (R. L. Smith, Biometrika 72 (1985) 67); from 1 on the
# mean is infinite, which no electric load has. Held to -1/2, a sharp limit is overstated, not
# understated.
_SHAPES = (-0.5, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Peaks:
    """One value for each cluster of exceedances.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        When the highest value of the cluster was reached.
    value : ndarray, shape (n,)
        That value.
    """

    time_s: FloatArray
    value: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class ParetoFit:
    """A generalized Pareto distribution of excesses over a threshold.

    Attributes
    ----------
    sigma : float
        Scale, in the unit of the values.
    xi : float
        Shape; negative where there is an upper end. ``scipy.stats.genpareto`` calls it ``c``.
    log_likelihood : float
    """

    sigma: float
    xi: float
    log_likelihood: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ReturnLevel:
    """The value expected to be exceeded once in a number of flights, or why there is none.

    Attributes
    ----------
    level, low, high : float or None
        With the ends of its interval; None where refused.
    over_flights : float
    threshold : float
        The one in force: as given, or raised.
    peaks, flights : int
        Declustered peaks above ``threshold`` and the flights they come from.
    highest : float or None
        Highest peak; None where there is none.
    fit : ParetoFit or None
    refused : str
        Why there is no level; "" where there is one.
    """

    level: float | None
    low: float | None
    high: float | None
    over_flights: float
    threshold: float
    peaks: int
    flights: int
    highest: float | None
    fit: ParetoFit | None = None
    refused: str = ""


def decluster(time_s: ArrayLike, values: ArrayLike, threshold: float, run_s: float) -> Peaks:
    """The highest value of each cluster of exceedances (runs declustering).

    Parameters
    ----------
    time_s : array, shape (n,)
        Never decreasing.
    values : array, shape (n,)
        NaN counts as not exceeding.
    threshold : float
        A value exceeds it when it is above it.
    run_s : float
        A cluster ends when for longer than this nothing exceeds the threshold.

    Returns
    -------
    Peaks
    """
    t, x = np.asarray(time_s, dtype=np.float64), np.asarray(values, dtype=np.float64)
    above = np.flatnonzero(x > threshold)
    if above.size == 0:
        return Peaks(time_s=np.empty(0), value=np.empty(0))
    first = np.flatnonzero(np.diff(t[above]) > run_s) + 1
    at = np.array([group[np.argmax(x[group])] for group in np.split(above, first)])
    return Peaks(time_s=t[at], value=x[at])


def fit_pareto(excess: ArrayLike) -> ParetoFit:
    """Fit a generalized Pareto distribution to excesses by maximum likelihood.

    Parameters
    ----------
    excess : array, shape (n,)
        Excesses over the threshold, positive, at least two of them.

    Returns
    -------
    ParetoFit

    Raises
    ------
    ValueError
        Where an excess is not positive or not finite, or there are fewer than two.
    """
    y = np.asarray(excess, dtype=np.float64)
    if y.size < 2 or not np.all(np.isfinite(y) & (y > 0)):
        raise ValueError("at least two positive, finite excesses are needed")
    # Moments, kept where the likelihood is finite (J. R. M. Hosking and J. R. Wallis,
    # Technometrics 29 (1987) 339).
    ratio = y.mean() ** 2 / max(y.var(), 1e-12 * y.mean() ** 2)
    xi = float(np.clip((1 - ratio) / 2, -0.3, 0.8))
    sigma = max(float(y.mean()) * (1 - xi), -1.1 * xi * float(y.max()))
    (xi, log_sigma), least = _least(
        lambda xi, log_sigma: -log_likelihood(y, math.exp(log_sigma), xi), (xi, math.log(sigma))
    )
    return ParetoFit(sigma=math.exp(log_sigma), xi=xi, log_likelihood=-least)


def _least(
    of: Callable[[float, float], float],
    start: tuple[float, float],
    *,
    near: float = 1e-6,
    least: float = 1e-8,
) -> tuple[tuple[float, float], float]:
    """Where a function of the shape and one other parameter is least, and its value there.

    To ``near`` in the parameters and ``least`` in the function.
    """
    xi, other = start
    beside = min(xi + 0.05, 2 * _SHAPES[1] - (xi + 0.05))  # within the bounds
    simplex = [(xi, other), (beside, other), (xi, other + 0.1)]
    value, point = least_of_two(of, simplex, _SHAPES, near=near, least=least)
    return point, value


def log_likelihood(excess: FloatArray, sigma: float, xi: float) -> float:
    """Log-likelihood of excesses under a generalized Pareto distribution; -inf outside it."""
    if xi < 0 and xi * float(excess.max()) / sigma <= -1:
        return -math.inf
    logs = float(np.log1p(xi * excess / sigma).sum())
    # (1 + 1/xi) log(1 + z), written so that it runs smoothly through xi = 0.
    tail = float(excess.sum()) / sigma if abs(xi) < 1e-9 else logs / xi
    return -excess.size * math.log(sigma) - tail - logs


def level_of(threshold: float, sigma: float, xi: float, exceedances: float) -> float:
    """The level exceeded once among a number of exceedances of the threshold.

    ``u + sigma / xi * (m ** xi - 1)`` (Coles 2001, equation 4.12, with ``m`` the expected number
    of exceedances in the period).
    """
    return threshold + sigma * _stretch(xi, math.log(exceedances))


def _stretch(xi: float, log_m: float) -> float:
    """``(m ** xi - 1) / xi``, which is ``log m`` at ``xi = 0``."""
    return log_m if abs(xi) < 1e-9 else math.expm1(xi * log_m) / xi


def return_level(
    peaks: ArrayLike,
    threshold: float,
    *,
    flights: int,
    over_flights: float,
    confidence: float = 0.95,
) -> ReturnLevel:
    """The value expected to be exceeded once in a number of flights.

    Parameters
    ----------
    peaks : array, shape (n,)
        Declustered peaks of all flights together, all above ``threshold``.
    threshold : float
        The threshold they were declustered with. It is raised so far that about
        ``n ** (2/3) / log(log n)`` peaks, and no fewer than 30, stay above it: low enough for
        enough peaks, high enough for the limit law to hold (rule of M. Loretan and P. Phillips,
        1994, after C. Scarrott and A. MacDonald, REVSTAT 10 (2012) 33).
    flights : int
        Number of flights the peaks come from, flights without a peak included.
    over_flights : float
        Number of flights within which the level is expected to be exceeded once.
    confidence : float
        Of the interval.

    Returns
    -------
    ReturnLevel
        Refused, with the count and the highest peak, where fewer than 30 peaks are given or the
        period is too short to hold one.

    Notes
    -----
    Flights are taken as alike and their peaks as independent after declustering; a season of
    calm flights says nothing of a display day. The number of peaks per flight varies as a
    Poisson count, and the interval holds that too.
    """
    x = np.asarray(peaks, dtype=np.float64)
    highest = float(x.max()) if x.size else None
    period = over_flights / flights

    def refused(threshold: float, count: int, why: str) -> ReturnLevel:
        return ReturnLevel(
            level=None,
            low=None,
            high=None,
            over_flights=over_flights,
            threshold=threshold,
            peaks=count,
            flights=flights,
            highest=highest,
            refused=why,
        )

    if x.size < LEAST_PEAKS:
        return refused(threshold, x.size, f"{x.size} peaks, and a return level needs {LEAST_PEAKS}")
    threshold = raised_threshold(x, threshold)
    excess = x[x > threshold] - threshold
    if excess.size * period <= 1:
        return refused(threshold, excess.size, "so few flights hold less than one such peak")
    fit = fit_pareto(excess)
    level = level_of(threshold, fit.sigma, fit.xi, excess.size * period)
    low, high = _profile_interval(excess, period, fit, level - threshold, confidence)
    return ReturnLevel(
        level=level,
        low=threshold + low,
        high=threshold + high,
        over_flights=over_flights,
        threshold=threshold,
        peaks=excess.size,
        flights=flights,
        highest=highest,
        fit=fit,
    )


def raised_threshold(peaks: FloatArray, threshold: float) -> float:
    """Half-way below the lowest peak that is to be kept, so that rounded values cause no bias."""
    n = peaks.size
    keep = max(LEAST_PEAKS, round(n ** (2 / 3) / math.log(math.log(n))))
    lowest = np.sort(peaks)[::-1][min(keep, n) - 1]
    under = peaks[peaks < lowest]
    return float((lowest + under.max()) / 2) if under.size else threshold


def _profile_interval(
    excess: FloatArray, period: float, fit: ParetoFit, rise: float, confidence: float
) -> tuple[float, float]:
    """Interval of the return level, above the threshold, by profile likelihood.

    Its ends are the lowest and the highest level of all parameters whose log-likelihood lies
    within half the chi-squared quantile of the best. What of that drop the excesses leave over is
    for the number of peaks, and a level rises with that number: so only shape and scale are
    searched.
    """
    n = excess.size
    allowed = float(scipy.special.gammaincinv(0.5, confidence))  # half of chi-squared's, 1 degree

    def end(side: int) -> float:
        def outwards(xi: float, log_sigma: float) -> float:
            sigma = math.exp(log_sigma)
            left = allowed - (fit.log_likelihood - log_likelihood(excess, sigma, xi))
            if left == -math.inf:
                return math.inf
            log_m = math.log(_rate(n, max(left, 0.0), side) * period)
            level = sigma * _stretch(xi, max(log_m, 0.0)) / rise
            # A wall with a slope leads back into the region.
            return -side * level + 30.0 * max(-left, 0.0)

        best, least = (fit.xi, math.log(fit.sigma)), math.inf
        while True:
            best, found = _least(outwards, best, near=1e-3, least=1e-4)
            if found > least - 1e-4:
                return -side * min(found, least) * rise
            least = found

    return end(-1), end(1)


def _rate(n: int, drop: float, side: int) -> float:
    """The Poisson rate below (side -1) or above ``n`` whose log-likelihood is ``drop`` lower.

    ``r - n log r = n - n log n + drop``, solved by Lambert's W.
    """
    w = scipy.special.lambertw(-math.exp(-1 - drop / n), -1 if side > 0 else 0)
    return -n * float(w.real)
