"""Two signals of different update instants brought together.

A voltage and a current are reported at instants of their own, while the current swings within a
tenth of a second. These helpers give the current at the voltage's instants, the constant lag
between the two, and what the current was like *around* an instant without the readings right
beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# For the search of the lag this many readings tell as much as all.
_ENOUGH = 2000
# A constant transport delay between two sensors is at most about this (common practice, no
# source), besides up to half an update interval for readings that are means over the interval.
_DELAY_S = 0.5
# A window of averaging is only believed where it fits by this factor better than none.
_BETTER = 1.002
# A part of a value that is lost in rounding.
_NOTHING = 1e-20
# A signal whose quick part is no more of it than this stands still: what is left is rounding.
_ROUNDING = 1e-12


class Match(NamedTuple):
    """How one signal follows another.

    Attributes
    ----------
    lag_s : float
        The first signal shows at t what the second showed at t - lag.
    window_s : float
        The first signal is a mean of the second over this long; 0 for a plain reading.
    """

    lag_s: float
    window_s: float


class Curve:
    """A signal between its readings: cubic through four neighbours, and its means over windows.

    Parameters
    ----------
    t, v : ndarray, shape (n,)
        At least three readings, t rising.

    Attributes
    ----------
    t, v : ndarray, shape (n,)
    """

    def __init__(self, t: FloatArray, v: FloatArray) -> None:
        self.t, self.v = t, v
        # Of each piece the coefficients of its cube, square, slope and value.
        step, rise = np.diff(t), np.gradient(v, t)
        chord = np.diff(v) / step
        bend = (rise[:-1] + rise[1:] - 2.0 * chord) / step
        self._cubic = np.stack((bend / step, (chord - rise[:-1]) / step - bend, rise[:-1], v[:-1]))

    @cached_property
    def step_s(self) -> float:
        """Usual step between its readings, s."""
        return usual_step(self.t)

    @cached_property
    def _integral(self) -> FloatArray:
        """As ``_cubic``, of the integral from the first reading on."""
        within = self._cubic / np.array([[4.0], [3.0], [2.0], [1.0]])
        whole = _power_series(within, np.diff(self.t)) * np.diff(self.t)
        before = np.concatenate(([0.0], np.cumsum(whole[:-1])))
        return np.vstack((within, before))

    def _of(self, pieces: FloatArray, t: FloatArray) -> FloatArray:
        piece = np.searchsorted(self.t[1:-1], t, side="right")  # the first and the last go on
        return _power_series([c.take(piece) for c in pieces], t - self.t.take(piece))

    def at(self, t: FloatArray, window_s: float = 0.0) -> FloatArray:
        """Value at each instant, or the mean over a window centred on it."""
        if window_s == 0.0:
            return self._of(self._cubic, t)
        half = 0.5 * window_s
        whole = self._of(self._integral, t + half) - self._of(self._integral, t - half)
        return np.asarray(whole / window_s, dtype=np.float64)


def _power_series(coefficients: Sequence[FloatArray] | FloatArray, x: FloatArray) -> FloatArray:
    """Polynomials of x, the coefficient of the highest power first."""
    total = coefficients[0].copy()
    for one in coefficients[1:]:
        total *= x
        total += one
    return total


def usual_step(t: FloatArray) -> float:
    """Median step between readings, s."""
    return float(np.median(np.diff(t)))


class Rings:
    """Means of readings in rings of time about instants, both sides together.

    Parameters
    ----------
    t : ndarray, shape (n,)
        Instants of the readings, s, rising.
    at : ndarray, shape (m,)
        Those about which the rings lie, s.
    inner_s : float
        How far away all of these rings begin, s.
    """

    def __init__(self, t: FloatArray, at: FloatArray, inner_s: float) -> None:
        self._t, self._at = t, at
        self._before = np.searchsorted(t, at - inner_s, side="right")
        self._after = np.searchsorted(t, at + inner_s, side="left")

    def mean(self, v: FloatArray, outer_s: float) -> FloatArray:
        """Mean of readings v up to ``outer_s`` away, shape (m,); NaN where none lies there."""
        first = np.searchsorted(self._t, self._at - outer_s, side="left")
        last = np.searchsorted(self._t, self._at + outer_s, side="right")
        sums = np.concatenate(([0.0], np.cumsum(v)))
        total = sums.take(self._before) - sums.take(first)
        total += sums.take(last) - sums.take(self._after)
        count = self._before - first + (last - self._after)
        return np.where(count > 0, total / np.maximum(count, 1), np.nan)


class Fast:
    """Takes the slow part out of signals at common instants: their running mean over ``over_s``.

    Parameters
    ----------
    t : ndarray, shape (n,)
    over_s : float
    """

    def __init__(self, t: FloatArray, over_s: float) -> None:
        self._first = np.searchsorted(t, t - over_s / 2, side="left")
        self._last = np.searchsorted(t, t + over_s / 2, side="right")

    def of(self, v: FloatArray) -> FloatArray:
        """The signal less its running mean, shape (n,)."""
        sums = np.concatenate(([0.0], np.cumsum(v)))
        mean = (sums.take(self._last) - sums.take(self._first)) / (self._last - self._first)
        return np.asarray(v - mean, dtype=np.float64)


def smoothed(
    t: FloatArray, v: FloatArray, tau_s: float, step_s: float, at: FloatArray
) -> FloatArray:
    """Response of a first-order low-pass of time constant ``tau_s`` to a signal.

    Parameters
    ----------
    t, v : ndarray, shape (n,)
    tau_s, step_s : float
        Time constant, and step of the grid on which it is followed, s.
    at : ndarray, shape (m,)
        Where the answer is wanted, s.

    Notes
    -----
    Between grid points the signal is taken as straight. Before the first reading it is taken to
    have stood at its mean over the first five seconds.
    """
    grid = np.arange(t[0], t[-1] + step_s, step_s)
    level = np.interp(grid, t, v)
    steps = np.concatenate((level[:1], 0.5 * (level[1:] + level[:-1])))
    keep = float(np.exp(-step_s / tau_s))
    start = float(level[: max(1, int(5.0 / step_s))].mean())
    out = low_passed(steps, keep, start)
    return np.asarray(np.interp(at, grid, out), dtype=np.float64)


def low_passed(x: FloatArray, keep: float, start: float) -> FloatArray:
    """``y[k] = keep y[k - 1] + (1 - keep) x[k]``, shape (n,), with ``start`` before the first.

    Each round adds what as many values before tell as all rounds before it: sums of 2, 4, 8 values
    and so on, until what is left of them is no number any more.
    """
    y = (1.0 - keep) * x
    y[:1] += keep * start
    reach, left = 1, keep
    while reach < y.size and left > _NOTHING:
        y[reach:] += left * y[:-reach]
        reach, left = 2 * reach, left * left
    return y


def find_match(t_y: FloatArray, y: FloatArray, curve: Curve, *, sign: float = -1.0) -> Match:
    """Constant lag of y behind x, and whether y averages x over y's own update interval.

    Parameters
    ----------
    t_y, y : ndarray, shape (n,)
    curve : Curve
        x, at its own instants.
    sign : float
        -1 where y falls when x rises (voltage under load), +1 where they go together.

    Returns
    -------
    Match
        That with the highest correlation of the two without their slow parts; none where x stands
        still.
    """
    t_x, step_y, step_x = curve.t, usual_step(t_y), curve.step_s
    slowest = max(step_y, step_x)
    reach = _DELAY_S + 0.6 * slowest
    inside = (t_y > t_x[0] + reach + step_y) & (t_y < t_x[-1] - reach - step_y)
    t, target = t_y[inside], y[inside]
    thin = max(1, t.size // _ENOUGH)
    t, target = t[::thin], target[::thin]
    if t.size < 3:
        return Match(0.0, 0.0)
    fast = Fast(t, max(20.0, 12.0 * slowest))
    target = fast.of(target)

    def fit(lag: float, window: float) -> float:
        seen = curve.at(t - lag, window)
        quick = fast.of(seen)
        size = float(np.sqrt(quick @ quick))
        stands = size <= _ROUNDING * float(np.sqrt(seen @ seen))
        return -np.inf if stands else sign * float(quick @ target) / size

    coarse = max(0.05, min(0.1, 0.5 * step_y, 0.5 * step_x))
    fine = coarse / 4
    best, answer = -np.inf, Match(0.0, 0.0)
    for window in (0.0, step_y) if step_y > 1.5 * step_x else (0.0,):
        # Zero is among them, and exact for readings of one instant.
        lags = coarse * np.arange(-int(reach / coarse), int(reach / coarse) + 1)
        rough = [fit(float(s), window) for s in lags]
        k = int(np.argmax(rough))
        lag = float(lags[k])
        # The coarse neighbours are tried; beyond either end there is none.
        steps = range(-4 if k == 0 else -3, 5 if k + 1 == lags.size else 4)
        scores = [fit(lag + fine * n, window) if n else rough[k] for n in steps]
        if max(scores) > best * _BETTER if best > 0 else max(scores) > best:
            best, answer = max(scores), Match(lag + fine * steps[int(np.argmax(scores))], window)
    return answer
