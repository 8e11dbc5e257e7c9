"""What the estimator of a resistance works on: readings, the steps they come in, their trend."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from telemetry.numerics.resistance.matching import Curve, Match, usual_step

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]

_TREND_S = 150.0  # one more order of the polynomial trend per this much time,
_HIGHEST_ORDER = 16  # up to this one
# Up to this many intervals of the voltage, the current counts as read as often (heuristic).
_AS_FAST = 1.2
_UNIFORM = 12.0**0.5  # an error anywhere within a step has a standard deviation of step / this


@dataclass(frozen=True, slots=True)
class ResponseSteps:
    """The steps of one sensor, as far as they matter to readings of the voltage.

    Attributes
    ----------
    step : float
        V or A; 0 where not known.
    run : ndarray of int, shape (n,)
        Number of the run of equal readings that stands behind each row. A run shares one error,
        anywhere within a step; different runs have errors of their own.
    swing : float
        Usual swing of the readings about their trend, V or A.
    """

    step: float
    run: IntArray
    swing: float

    def of_rows(self, rows: BoolArray) -> ResponseSteps:
        """The same for a part of the rows."""
        return replace(self, run=self.run[rows])

    def sd(self, mix: FloatArray) -> float:
        """Standard deviation that the errors bring into ``mix @ readings``."""
        return self.step / _UNIFORM * float(np.sqrt(np.sum(np.bincount(self.run, mix) ** 2)))


@dataclass(frozen=True)
class Signals:
    """What the estimator works on.

    Attributes
    ----------
    t, y : ndarray, shape (n,)
        Instants [s] and readings of the voltage [V].
    amps : Curve
        Readings of the current [A], at instants of their own.
    match : Match
        Lag of the voltage behind the current, and its window of averaging.
    steps_v : tuple of ResponseSteps
        Of each voltage sensor in y.
    steps_i : ResponseSteps
    common : ndarray, shape (n,), or None
        A voltage that two sensors have in common where y is their difference: a gain error of one
        against the other brings a part of it into y.
    reach_s : float
        y at an instant also depends on readings up to this far from it.
    usable : ndarray of bool, shape (n,), or None
        Rows that lie in no gap of another sensor; None: all.
    """

    t: FloatArray
    y: FloatArray
    amps: Curve
    match: Match
    steps_v: tuple[ResponseSteps, ...]
    steps_i: ResponseSteps
    common: FloatArray | None = None
    reach_s: float = 0.0
    usable: BoolArray | None = None

    @cached_property
    def current(self) -> FloatArray:
        """Current at the voltage's instants, A, shape (n,)."""
        return self.amps.at(self.t - self.match.lag_s, self.match.window_s)

    @property
    def slow_current(self) -> bool:
        """Whether the current is read more slowly than the voltage."""
        return self.amps.step_s > _AS_FAST * usual_step(self.t)

    def of_rows(self, rows: BoolArray) -> Signals:
        """A part of the voltage's readings."""
        return replace(
            self,
            t=self.t[rows],
            y=self.y[rows],
            steps_v=tuple(x.of_rows(rows) for x in self.steps_v),
            steps_i=self.steps_i.of_rows(rows),
            common=None if self.common is None else self.common[rows],
            usable=None if self.usable is None else self.usable[rows],
        )


class SlopeTrend:
    """Polynomial trend in time, of an order that grows with the length: E as the charge falls."""

    def __init__(self, t: FloatArray) -> None:
        order = min(2 + int((t[-1] - t[0]) / _TREND_S), _HIGHEST_ORDER)
        at = 2.0 * (t - t[0]) / (t[-1] - t[0]) - 1.0
        self._basis = np.polynomial.legendre.legvander(at, order)
        self._inverse = np.linalg.pinv(self._basis.T @ self._basis)

    def without(self, column: FloatArray) -> FloatArray:
        """The column less its trend by least squares, shape (n,)."""
        return np.asarray(column - self._basis @ (self._inverse @ (self._basis.T @ column)))


class Sensed:
    """What a sensor told; what a fit asks of it is worked out once, for all fits.

    Parameters
    ----------
    t, v : ndarray, shape (n,)
        Update instants, s, and readings. Those whose instant does not lie after the one before are
        left out.
    step : float, optional
        Resolution.

    Attributes
    ----------
    t, v : ndarray, shape (m,)
    step : float
        0 where it is not known.
    """

    def __init__(self, t: FloatArray, v: FloatArray, step: float | None = None) -> None:
        rises = np.ones(t.size, dtype=bool)
        rises[1:] = np.diff(np.maximum.accumulate(t)) > 0
        self.t, self.v, self.step = t[rises], v[rises], step or 0.0

    @cached_property
    def plausible(self) -> Sensed:
        """Without the readings that no load explains: five times beyond the usual range."""
        low, middle, high = np.quantile(self.v, [0.02, 0.5, 0.98])
        keep = np.abs(self.v - middle) <= 5.0 * max(high - middle, middle - low) + 1e-9
        return self if keep.all() else Sensed(self.t[keep], self.v[keep], self.step)

    @cached_property
    def curve(self) -> Curve:
        """The signal between its readings."""
        return Curve(self.t, self.v)

    @cached_property
    def _run(self) -> IntArray:
        return np.concatenate(([0], np.cumsum(np.abs(np.diff(self.v)) > 0.25 * self.step)))

    @cached_property
    def _swing(self) -> float:
        low, high = np.quantile(SlopeTrend(self.t).without(self.v), [0.02, 0.98])
        return float(high - low)

    def steps_behind(self, at: FloatArray) -> ResponseSteps:
        """Its steps for rows at other instants: those of the nearest reading."""
        after = np.clip(np.searchsorted(self.t, at), 1, self.t.size - 1)
        nearest = after - (at - self.t.take(after - 1) < self.t.take(after) - at)
        return ResponseSteps(step=self.step, run=self._run.take(nearest), swing=self._swing)
