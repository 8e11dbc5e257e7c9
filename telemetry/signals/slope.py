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

The interval inverts a test on sums over blocks of time (after T. W. Anderson and H. Rubin, Annals
of Mathematical Statistics 20, 1949, from memory): a weak instrument gives a wide interval or none,
not a wrong narrow one. It holds the sensors' gain, and what their coarse steps can do.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats

from telemetry.signals.matching import Curve, Match, ring_mean, smoothed, usual_step

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

# Readings of the current nearer than this many of its intervals give the current at the instant
# (the cubic reaches two to each side); those beyond may serve as instrument.
_DEAD = 2.0
_RINGS = (1, 2, 4, 8, 16)  # widths tried for the instrument, in intervals of the current
_WIDE_S = 20.0  # reach of the wide ring: many moves of the sticks, little drift of E
_TREND_S = 150.0  # one more order of the polynomial trend per this much time,
_HIGHEST_ORDER = 16  # up to this one
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
PHASES = 16  # positions of a sensor's steps that are tried


class Interval(NamedTuple):
    """A value with its 95 % interval, the time scale it holds at (None: at all), and the method."""

    value: float
    low: float
    high: float
    scale_s: float | None
    method: str = "instrumental variables"


@dataclass(frozen=True, slots=True)
class Signals:
    """What the estimator works on.

    Attributes
    ----------
    t, y : ndarray, shape (n,)
        Instants [s] and readings of the voltage [V].
    y_steps : ndarray, shape (n, PHASES)
        What the steps of the voltage sensor may have done to each reading.
    t_i, i : ndarray, shape (m,)
        Instants and readings of the current [A].
    i_steps : ndarray, shape (m, PHASES)
    match : Match
        Lag of the voltage behind the current, and its window of averaging.
    common : ndarray, shape (n,), or None
        A voltage that two sensors have in common where y is their difference: a gain error of one
        against the other brings a part of it into y.
    reach_s : float
        y at an instant also depends on readings up to this far from it.
    """

    t: FloatArray
    y: FloatArray
    y_steps: FloatArray
    t_i: FloatArray
    i: FloatArray
    i_steps: FloatArray
    match: Match
    common: FloatArray | None = None
    reach_s: float = 0.0


def step_errors(values: FloatArray, step: float | None) -> FloatArray:
    """What a sensor's steps do to readings, for each of PHASES positions of the steps.

    The readings, slightly smoothed, stand for the true signal and are put on the steps again,
    shifted by fractions of one. Where the signal swings over several steps the errors average
    out; where it stays within one they do not, and the slope is off by as much.

    Returns
    -------
    ndarray, shape (n, PHASES)
    """
    if step is None or values.size < 3:
        return np.zeros((values.size, PHASES))
    inner = 0.25 * values[:-2] + 0.5 * values[1:-1] + 0.25 * values[2:]
    true = np.concatenate((values[:1], inner, values[-1:]))[:, None]
    shift = (np.arange(PHASES) + 0.5) / PHASES * step
    return np.asarray(np.round((true + shift) / step) * step - shift - true)


class Trend:
    """Polynomial trend in time, of an order that grows with the length: E as the charge falls."""

    def __init__(self, t: FloatArray) -> None:
        order = min(2 + int((t[-1] - t[0]) / _TREND_S), _HIGHEST_ORDER)
        at = 2.0 * (t - t[0]) / (t[-1] - t[0]) - 1.0
        self._basis = np.polynomial.legendre.legvander(at, order)
        self._inverse = np.linalg.pinv(self._basis.T @ self._basis)

    def without(self, column: FloatArray) -> FloatArray:
        """The column less its trend by least squares, shape (n,)."""
        return np.asarray(column - self._basis @ (self._inverse @ (self._basis.T @ column)))


def fall_per_ampere(signals: Signals, *, relaxes: bool, gain: float) -> Interval | None:
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
    step = usual_step(s.t_i)
    dead = max(_DEAD * step, s.reach_s) + 0.5 * s.match.window_s
    length = float(s.t[-1] - s.t[0])
    wide = max(min(_WIDE_S, 0.25 * length), 10.0 * step, 3.0 * dead)
    around = ring_mean(s.t_i, s.i, at, dead, dead + wide)
    trend = Trend(s.t)
    x = trend.without(Curve(s.t_i, s.i).at(at, s.match.window_s))
    y = trend.without(s.y)
    z, reach = _instrument(s, at, x, around, dead, step, wide)
    terms, instruments = [x], [z]
    taus = [k for k in _TAUS if relaxes and 1.5 * step <= k < length / 1.2]
    grid = max(0.05, min(step, 0.25))
    for tau in taus:
        slow = smoothed(s.t_i, s.i, tau, grid, np.concatenate((at, at - dead)))
        terms.append(trend.without(slow[: at.size]))
        instruments.append(np.nan_to_num(slow[at.size :] - around))
    weight = _weights(s, at, y, x, z, dead, step)
    block_s = max(2.0 * (dead + reach), _BLOCK_S, 5.0 * max(step, usual_step(s.t)))
    block = ((s.t - s.t[0]) / min(block_s, length / _LEAST_BLOCKS)).astype(np.intp)
    system = _System(
        x=np.stack(terms, axis=1),
        z=np.stack(instruments, axis=1) * weight[:, None],
        y=-y,
        weight=weight,
        block=np.unique(block, return_inverse=True)[1],
        taus=np.array(taus),
    )
    found = [_interval(system, s, trend, gain)]
    if s.common is None:
        found.append(_bounds(system, s, trend, gain))
    known = [f for f in found if f is not None and f.value > 0]
    return min(known, key=lambda f: (f.high - f.low) / f.value, default=None)


def _instrument(
    s: Signals,
    at: FloatArray,
    x: FloatArray,
    around: FloatArray,
    dead: float,
    step: float,
    wide: float,
) -> tuple[FloatArray, float]:
    """The ring mean, less the wide one, that follows the current best; and the ring's width, s."""
    best, answer = -np.inf, (np.zeros(at.size), step)
    for count in _RINGS:
        width = count * step
        if count > 1 and width > wide / 3.0:
            break
        z = np.nan_to_num(ring_mean(s.t_i, s.i, at, dead, dead + width) - around)
        size = float(np.sqrt(z @ z))
        if size > 0 and z @ x / size > best:
            best, answer = float(z @ x) / size, (z, width)
    return answer


def _weights(
    s: Signals,
    at: FloatArray,
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
    local = s.i - ring_mean(s.t_i, s.i, s.t_i, 0.0, reach)
    spread = ring_mean(s.t_i, local**2, at, dead, dead + reach)
    if not np.isfinite(spread).any():
        return np.ones(at.size)
    spread = np.where(np.isfinite(spread), spread, np.nanmean(spread))
    edges = np.quantile(spread, np.linspace(0.0, 1.0, 9))[1:-1]
    kind = np.searchsorted(edges, spread)
    count = np.bincount(kind)
    used = count > 0
    level = np.bincount(kind, spread)[used] / count[used]
    weight = np.ones(at.size)
    for _ in range(2):
        down = z * weight
        if down @ x == 0:
            return np.ones(at.size)
        residual = y - (down @ y) / (down @ x) * x
        power = np.bincount(kind, residual**2)[used] / count[used]
        if not (power > 0).all():
            return np.ones(at.size)
        design = np.stack((np.ones(level.size), level), axis=1) / power[:, None]
        (floor, slope), _ = optimize.nnls(design, np.ones(level.size))
        weight = 1.0 / np.maximum(floor + slope * spread, 1e-3 * float(power.mean()))
        weight /= weight.mean()
    return weight


@dataclass(frozen=True, slots=True)
class _System:
    """Moment equations ``z' (y - x theta) = 0`` by blocks; weights are in z."""

    x: FloatArray
    z: FloatArray
    y: FloatArray
    weight: FloatArray
    block: IntArray
    taus: FloatArray

    def sums(self, values: FloatArray) -> FloatArray:
        """Sums by block, shape (blocks,)."""
        return np.bincount(self.block, values).astype(np.float64)

    def moments(self, target: FloatArray) -> FloatArray:
        """``z' target`` by block, shape (blocks, instruments)."""
        return np.stack([self.sums(column * target) for column in self.z.T], axis=1)


def _solve(m: _System) -> tuple[FloatArray, FloatArray, FloatArray] | None:
    """Coefficients, their covariance, and the moments' weights: generalised method of moments.

    Weights are the inverse covariance of the moments (by blocks, drawn towards that of equal
    independent residuals where there are few); the slower responses have a normal prior.
    """
    slower = m.taus.size
    gram = m.z.T @ m.x
    rise = m.z.T @ m.y
    if gram[0, 0] <= 0:
        return None
    theta = np.concatenate(([rise[0] / gram[0, 0]], np.zeros(slower)))
    size = max(abs(theta[0]), 1e-6)
    plain = m.z.T @ (m.z / m.weight[:, None])
    for _ in range(2):
        by_block = m.moments(m.y - m.x @ theta)
        blocks = by_block.shape[0]
        scatter = by_block.T @ by_block * blocks / (blocks - 1)
        level = float(np.mean(np.diag(scatter) / np.diag(plain)))
        share = min(1.0, 8.0 / blocks)
        inner = np.linalg.inv((1.0 - share) * scatter + share * level * plain)
        prior = np.diag(np.concatenate(([0.0], np.full(slower, (_ADDS_SD * size) ** -2))))
        mean = np.concatenate(([0.0], np.full(slower, _ADDS * size)))
        covariance = np.linalg.inv(gram.T @ inner @ gram + prior)
        theta = covariance @ (gram.T @ inner @ rise + prior @ mean)
        size = max(abs(float(theta[0] + theta[1:] @ _answered(1.0, m.taus))), 1e-6)
    return theta, covariance, inner


def _answered(after_s: float, taus: FloatArray) -> FloatArray:
    """Share of each slower response that has come this long after a step."""
    return np.asarray(1.0 - np.exp(-after_s / taus), dtype=np.float64)


def _interval(m: _System, s: Signals, trend: Trend, gain: float) -> Interval | None:
    """The resistance at the best scale, by inverting a test on block sums (see the module)."""
    solved = _solve(m)
    if solved is None:
        return None
    theta, covariance, inner = solved
    pick = [np.concatenate(([1.0], _answered(scale, m.taus))) for scale in SCALES]
    relative = [np.sqrt(c @ covariance @ c) / max(float(c @ theta), 1e-6) for c in pick]
    best = int(np.argmin(relative))
    c = pick[best]
    value = float(c @ theta)
    # One combined moment for the wanted sum of coefficients, the others held at their best.
    along = covariance @ c / (c @ covariance @ c)
    mix = m.z @ (inner @ (m.z.T @ m.x) @ covariance @ c)
    own = mix / m.weight
    left, slope = m.y - m.x @ (theta - along * value), m.x @ along
    power = float(mix @ own)
    if power <= 0:
        return None
    rest_y = left - own * float(mix @ left) / power
    rest_x = slope - own * float(mix @ slope) / power
    leverage = np.minimum(m.sums(mix * own) / power, 0.5)
    block_y = m.sums(mix * rest_y) / (1.0 - leverage)
    block_x = m.sums(mix * rest_x) / (1.0 - leverage)
    residual = block_y - value * block_x
    # Effective degrees of freedom: few blocks that dominate count as few (Satterthwaite 1946).
    heavy = float(np.sum(residual**2) ** 2 / max(float(np.sum(residual**4)), 1e-300))
    free = max(3.0, min(residual.size - 2.0, 3.0 * heavy - 1.0))
    q2 = float(stats.t.ppf(0.975, free)) ** 2
    slower = m.taus.size
    size = max(abs(value), 1e-6)
    prior = np.diag(np.concatenate(([0.0], np.full(slower, (_ADDS_SD * size) ** -2))))
    mean = np.concatenate(([0.0], np.full(slower, _ADDS * size)))
    pull = covariance @ c @ prior
    rise = float(mix @ left) + float(pull @ (mean - (theta - along * value)))
    run = float(mix @ slope) + float(pull @ along)
    loose = float(pull @ covariance @ c)
    # (rise - R run)^2 <= q2 (sum (block_y - R block_x)^2 + loose), a quadratic in R.
    a = run**2 - q2 * float(block_x @ block_x)
    b = -2.0 * (rise * run - q2 * float(block_y @ block_x))
    d = rise**2 - q2 * (float(block_y @ block_y) + loose)
    root = b * b - 4.0 * a * d
    if a <= 0 or root < 0:
        return None
    low, high = ((-b - np.sqrt(root)) / (2 * a), (-b + np.sqrt(root)) / (2 * a))
    beyond = np.hypot(gain * value, _beyond(trend.without(mix), run, value, s))
    return Interval(
        value=value,
        low=value - float(np.hypot(value - low, beyond)),
        high=value + float(np.hypot(high - value, beyond)),
        scale_s=SCALES[best] if slower else None,
    )


def _bounds(m: _System, s: Signals, trend: Trend, gain: float) -> Interval | None:
    """The resistance between the regressions of voltage on current and of current on voltage.

    Whatever part of the residuals is the current's fault and whatever part the voltage's, the
    truth lies between the two (R. Frisch, Statistical Confluence Analysis, 1934, from memory); not
    so where the voltage's errors go with the current, as in the difference of two voltages.
    Where the residuals are small this tells more than an instrument that is weak. The geometric
    mean of the two is the value.
    """
    direct = replace(m, z=m.x * m.weight[:, None])
    found, solved = _interval(direct, s, trend, gain), _solve(direct)
    if found is None or solved is None or found.value <= 0:
        return None
    left = m.y - m.x @ solved[0]
    missed = float(m.weight @ left**2) / m.weight.sum() - float(np.mean(s.y_steps**2))
    moved = float(m.weight @ m.x[:, 0] ** 2) / m.weight.sum()
    factor = 1.0 + max(float(missed), 0.0) / (found.value**2 * float(moved))
    return Interval(
        value=found.value * factor**0.5,
        low=found.low,
        high=found.high * factor,
        scale_s=found.scale_s,
        method="between both regressions",
    )


def _beyond(mix: FloatArray, run: float, value: float, s: Signals) -> float:
    """Half-width from both sensors' steps and from unequal voltage sensors.

    The steps: two standard deviations over their positions. ``mix`` is free of trend, so that
    what it is applied to need not be.
    """
    in_v = mix @ s.y_steps
    in_i = value * (_to_readings(mix, s) @ s.i_steps)
    steps = 2.0 * float(np.sqrt(np.mean(in_v**2) + np.mean(in_i**2)))
    unequal = 0.0 if s.common is None else _MISMATCH * float(mix @ s.common)
    return float(np.hypot(steps, unequal)) / abs(run)


def _to_readings(mix: FloatArray, s: Signals) -> FloatArray:
    """Weights on the current's readings that equal ``mix`` on it at the voltage's instants."""
    at = s.t - s.match.lag_s
    after = np.clip(np.searchsorted(s.t_i, at), 1, s.t_i.size - 1)
    part = (at - s.t_i[after - 1]) / (s.t_i[after] - s.t_i[after - 1])
    size = s.t_i.size
    return np.asarray(
        np.bincount(after, mix * part, size) + np.bincount(after - 1, mix * (1.0 - part), size)
    )
