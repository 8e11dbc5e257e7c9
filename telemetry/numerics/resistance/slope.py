"""The estimator behind the resistances: how far a voltage falls per ampere, with its interval.

``u = E - R i`` with E drifting slowly. Regressing reading on reading is biased low by what the
current's readings miss of a current that swings between them (errors in variables). An
*instrument* takes that out (instrumental variables; J. D. Angrist and A. B. Krueger, Journal of
Economic Perspectives 15(4), 2001, from memory): the mean current in a ring *around* each voltage
reading, from readings other than those beside it. What those miss is independent of what the
neighbours miss; both see the slower movement of the load. The instrument is taken relative to a
much wider ring, so that the drift of E drops out of it.

A cell relaxes, so its resistance depends on how long after a step of current it is read. Slower
responses (first-order low-passes of the current) stand as terms beside the immediate one, held by
a wide prior; the answer is the response at the time scale that the log determines best.

The interval comes from sums over blocks of time (see
:mod:`telemetry.numerics.resistance.moments`): a weak instrument gives a wide interval or none. It
holds the sensors' gain, and what their coarse steps can do.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from telemetry.numerics.linear import non_negative_least_squares
from telemetry.numerics.resistance.matching import Rings, smoothed, usual_step
from telemetry.numerics.resistance.moments import (
    Equations,
    MomentSolution,
    Prior,
    solve,
    span,
    spread,
)
from telemetry.numerics.resistance.signals import Signals, SlopeTrend

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]

# Readings of the current nearer than this many of its intervals give the current at the instant
# (the cubic reaches two to each side); those beyond may serve as instrument.
_DEAD = 2.0
_RINGS = (1, 2, 4, 8, 16)  # widths tried for the instrument, in intervals of the current
_WIDE_S = 20.0  # reach of the wide ring: many moves of the sticks, little drift of E
_LOCAL_S = 8.0  # reach of the local spread of the current, for the weights
_BLOCK_S = 5.0  # shortest block: moves of the sticks hang together for seconds
_LEAST_BLOCKS = 10
# Slower responses: time constants, s, and what each adds to the resistance (prior mean and
# standard deviation, as shares of it). Measured lithium cells gain some 10 to 30 % per decade.
_TAUS = (1.0, 6.0, 30.0)
_ADDS, _ADDS_SD = 0.10, 0.20
SCALES = (0.5, 1.0, 2.0, 4.0, 8.0)  # time scales that may be stated, s
# Gain error of one voltage sensor against another, half-width of 95 % (common practice, no source:
# voltages are told to better than 1 %).
_MISMATCH = 0.01
_SWING_ERROR = 0.4  # sqrt(2 / 12): two errors, each uniform over a step
_UNIFORM = 12.0**0.5  # an error anywhere within a step has a standard deviation of step / this


class SlopeInterval(NamedTuple):
    """A value with its 95 % interval, the time scale it holds at (None: at all), and the method."""

    value: float
    low: float
    high: float
    scale_s: float | None
    method: str = "instrumental variables"


def fall_per_ampere(signals: Signals, *, relaxes: bool, gain: float) -> SlopeInterval | None:
    """Resistance [Ohm] behind a voltage, with its 95 % interval.

    Parameters
    ----------
    signals : Signals
    relaxes : bool
        Whether slower responses are possible (a cell); False for copper.
    gain : float
        Half-width of the sensors' gain error together, as a share.

    Returns
    -------
    Interval or None
        None where the instrument is too weak for any interval.
    """
    s = signals
    at = s.t - s.match.lag_s
    step = s.amps.step_s
    dead = max(_DEAD * step, s.reach_s) + 0.5 * s.match.window_s
    length = float(s.t[-1] - s.t[0])
    wide = max(min(_WIDE_S, 0.25 * length), 10.0 * step, 3.0 * dead)
    rings = Rings(s.amps.t, at, dead)
    around = rings.mean(s.amps.v, dead + wide)
    trend = SlopeTrend(s.t)
    x = trend.without(s.current)
    y = trend.without(s.y)
    z, reach = find_instrument(s, rings, x, around, dead, step, wide)
    terms, instruments = [x], [z]
    taus = [k for k in _TAUS if relaxes and 1.5 * step <= k < length / 1.2]
    grid = max(0.05, min(step, 0.25))
    for tau in taus:
        slow = smoothed(s.amps.t, s.amps.v, tau, grid, np.concatenate((at, at - dead)))
        terms.append(trend.without(slow[: at.size]))
        instruments.append(np.nan_to_num(slow[at.size :] - around))
    weight = spread_weights(s, rings, y, x, z, dead, step)
    block_s = max(2.0 * (dead + reach), _BLOCK_S, 5.0 * max(step, usual_step(s.t)))
    block = ((s.t - s.t[0]) / min(block_s, length / _LEAST_BLOCKS)).astype(np.intp)
    equations = Equations(
        x=np.stack(terms, axis=1),
        z=np.stack(instruments, axis=1) * weight[:, None],
        y=-y,
        weight=weight,
        block=np.unique(block, return_inverse=True)[1],
    )
    slower = np.array(taus)
    found = [best_interval(equations, slower, s, trend, gain)]
    if s.common is None:
        found.append(regression_bounds(equations, slower, s, trend, gain))
    known = [f for f in found if f is not None and f.value > 0]
    return min(known, key=lambda f: (f.high - f.low) / f.value, default=None)


def find_instrument(
    s: Signals,
    rings: Rings,
    x: FloatArray,
    around: FloatArray,
    dead: float,
    step: float,
    wide: float,
) -> tuple[FloatArray, float]:
    """The ring mean, less the wide one, that follows the current best; and the ring's width, s."""
    best, answer = -np.inf, (np.zeros(x.size), step)
    for count in _RINGS:
        width = count * step
        if count > 1 and width > wide / 3.0:
            break
        z = np.nan_to_num(rings.mean(s.amps.v, dead + width) - around)
        size = float(np.sqrt(z @ z))
        if size > 0 and z @ x / size > best:
            best, answer = float(z @ x) / size, (z, width)
    return answer


def spread_weights(
    s: Signals,
    rings: Rings,
    y: FloatArray,
    x: FloatArray,
    z: FloatArray,
    dead: float,
    step: float,
) -> FloatArray:
    """Weights against the unequal spread of the residuals, mean 1.

    What the readings miss grows with how much the current swings just then. The local spread of
    the current comes from readings outside the dead zone, so that a weight knows nothing of the
    residual it weighs.
    """
    reach = max(_LOCAL_S, 6.0 * step)
    t, i = s.amps.t, s.amps.v
    local = i - Rings(t, t, 0.0).mean(i, reach)
    spread = rings.mean(local**2, dead + reach)
    if not np.isfinite(spread).any():
        return np.ones(y.size)
    spread = np.where(np.isfinite(spread), spread, np.nanmean(spread))
    edges = np.quantile(spread, np.linspace(0.0, 1.0, 9))[1:-1]
    kind = np.searchsorted(edges, spread)
    count = np.bincount(kind)
    used = count > 0
    level = np.bincount(kind, spread)[used] / count[used]
    weight = np.ones(y.size)
    for _ in range(2):
        down = z * weight
        if down @ x == 0:
            return np.ones(y.size)
        residual = y - (down @ y) / (down @ x) * x
        power = np.bincount(kind, residual**2)[used] / count[used]
        if not (power > 0).all():
            return np.ones(y.size)
        power /= power.mean()  # a solver's tolerances are for numbers about one
        design = np.stack((np.ones(level.size), level), axis=1) / power[:, None]
        floor, slope = non_negative_least_squares(design, np.ones(level.size))
        weight = 1.0 / np.maximum(floor + slope * spread, 1e-3)
        weight /= weight.mean()
    return weight


def solve_responses(e: Equations, taus: FloatArray) -> MomentSolution | None:
    """Immediate and slower responses; the prior of the slower ones is scaled by the resistance."""
    run = float(e.z[:, 0] @ e.x[:, 0])
    if run <= 0:
        return None
    theta = np.concatenate(([float(e.z[:, 0] @ e.y) / run], np.zeros(taus.size)))
    solution = None
    for _ in range(2):
        size = max(abs(float(theta @ answered_share(1.0, taus))), 1e-6)
        prior = Prior(
            mean=np.concatenate(([0.0], np.full(taus.size, _ADDS * size))),
            precision=np.concatenate(([0.0], np.full(taus.size, (_ADDS_SD * size) ** -2))),
        )
        solution = solve(e, theta, prior)
        if solution is None:
            return None
        theta = solution.theta
    return solution


def answered_share(after_s: float, taus: FloatArray) -> FloatArray:
    """Share of the immediate and of each slower response that has come so long after a step."""
    return np.concatenate(([1.0], 1.0 - np.exp(-after_s / taus)))


def best_interval(
    e: Equations, taus: FloatArray, s: Signals, trend: SlopeTrend, gain: float
) -> SlopeInterval | None:
    """The resistance at the scale that is told best."""
    solution = solve_responses(e, taus)
    if solution is None:
        return None
    scale = min(SCALES, key=lambda x: spread(solution, answered_share(x, taus)))
    found = span(e, solution, answered_share(scale, taus))
    if found is None:
        return None
    value, low, high = found.value, found.low, found.high
    beyond = np.hypot(gain * value, beyond_scatter(trend.without(found.mix), value, s))
    missed = float(e.weight @ (e.y - e.x @ solution.theta) ** 2 / e.weight.sum())
    beyond = np.hypot(beyond, 2.0 * few_steps_sd(s, value, missed))
    return SlopeInterval(
        value=value,
        low=value - float(np.hypot(value - low, beyond)),
        high=value + float(np.hypot(high - value, beyond)),
        scale_s=scale if taus.size else None,
    )


def regression_bounds(
    e: Equations, taus: FloatArray, s: Signals, trend: SlopeTrend, gain: float
) -> SlopeInterval | None:
    """The resistance between the regressions of voltage on current and of current on voltage.

    Whatever part of the residuals is the current's fault and whatever part the voltage's, the
    truth lies between the two (R. Frisch, Statistical Confluence Analysis, 1934, from memory); not
    so where the voltage's errors go with the current, as in the difference of two voltages.
    Where the residuals are small this tells more than an instrument that is weak. The geometric
    mean of the two is the value. A current that is read more slowly than the voltage is smoothed
    by being carried to the voltage's instants, which is no error of the kind; then both sides get
    half as much again.
    """
    direct = replace(e, z=e.x * e.weight[:, None])
    found, solution = best_interval(direct, taus, s, trend, gain), solve_responses(direct, taus)
    if found is None or solution is None or found.value <= 0:
        return None
    left = e.y - e.x @ solution.theta
    missed = float(e.weight @ left**2 / e.weight.sum())
    missed -= sum((x.step / _UNIFORM) ** 2 for x in s.steps_v)
    moved = float(e.weight @ e.x[:, 0] ** 2 / e.weight.sum())
    factor = 1.0 + max(missed, 0.0) / (found.value**2 * moved)
    slack = factor**0.25 if s.slow_current else 1.0
    return SlopeInterval(
        value=found.value * factor**0.5,
        low=found.low / slack,
        high=found.high * factor * slack,
        scale_s=found.scale_s,
        method="between both regressions",
    )


def beyond_scatter(mix: FloatArray, value: float, s: Signals) -> float:
    """Half-width from both sensors' steps and from unequal voltage sensors.

    ``mix`` is free of trend, so that what it is applied to need not be.
    """
    steps = [x.sd(mix) for x in s.steps_v] + [value * s.steps_i.sd(mix)]
    unequal = 0.0 if s.common is None else _MISMATCH * float(mix @ s.common)
    return float(np.hypot(2.0 * np.linalg.norm(steps), unequal))


def few_steps_sd(s: Signals, value: float, missed: float) -> float:
    """Standard deviation of the slope where a sensor swings over hardly any of its steps.

    A swing of k steps is told to about a step's share, 0.4 / k, of a step (difference of two
    uniform errors), and better the more positions within a step the level passes and the more what
    the model misses blurs the steps (a Gaussian blur attenuates a quantiser's error by
    exp(-2 pi^2 (sd / step)^2); B. Widrow, IRE Trans. Circuit Theory 3, 1956, from memory).
    """
    swing = max(s.steps_i.swing, 1e-9)
    power = (_SWING_ERROR * value * (s.steps_i.step / swing) ** 2) ** 2
    for x in s.steps_v:
        if x.step <= 0:
            continue
        count = max(x.swing / x.step, 0.5)
        passed = 1.0 + max(float(np.ptp(s.y)) - x.swing, 0.0) / x.step
        # What is missed varies by up to a quarter of a squared step by the steps alone.
        blur = np.exp(-2.0 * np.pi**2 * max(missed / x.step**2 - 0.25, 0.0))
        power += float(_SWING_ERROR * x.step / count / swing * blur) ** 2 / passed
    return float(np.sqrt(power))
