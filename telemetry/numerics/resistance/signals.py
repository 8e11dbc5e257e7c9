"""What the estimator of a resistance works on: readings, the steps they come in, their trend."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from telemetry.numerics.resistance.matching import Match, usual_step

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


@dataclass(frozen=True, slots=True)
class Signals:
    """What the estimator works on.

    Attributes
    ----------
    t, y : ndarray, shape (n,)
        Instants [s] and readings of the voltage [V].
    t_i, i : ndarray, shape (m,)
        Instants and readings of the current [A].
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
    t_i: FloatArray
    i: FloatArray
    match: Match
    steps_v: tuple[ResponseSteps, ...]
    steps_i: ResponseSteps
    common: FloatArray | None = None
    reach_s: float = 0.0
    usable: BoolArray | None = None

    @property
    def slow_current(self) -> bool:
        """Whether the current is read more slowly than the voltage."""
        return usual_step(self.t_i) > _AS_FAST * usual_step(self.t)

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


def steps_behind(t: FloatArray, v: FloatArray, step: float | None, at: FloatArray) -> ResponseSteps:
    """Steps of a sensor with readings v at t, for rows at other instants: the nearest reading's."""
    size = step or 0.0
    run = np.concatenate(([0], np.cumsum(np.abs(np.diff(v)) > 0.25 * size)))
    after = np.clip(np.searchsorted(t, at), 1, t.size - 1)
    nearest = after - (at - t[after - 1] < t[after] - at)
    low, high = np.quantile(SlopeTrend(t).without(v), [0.02, 0.98])
    return ResponseSteps(step=size, run=run[nearest], swing=float(high - low))


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
