"""The resistance of a lead from means over blocks of time.

A current that swings faster than it is read (hard aerobatics) has no neighbour that knows of it, so
that the instrument of :mod:`telemetry.numerics.resistance.slope` is weak. Its means over some
seconds still differ. What a mean misses, the means of its odd and even readings tell: a quarter of
the variance of their difference, or less where voltage and current are read closer together. The
truth lies between the slope and the slope over the share of the variance that is then left (errors
in variables with a known reliability; W. A. Fuller, Measurement Error Models, 1987, from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from telemetry.numerics.resistance.signals import Signals
from telemetry.numerics.resistance.slope import SlopeInterval
from telemetry.numerics.stretches import together

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]

_BLOCKS_S = (2.0, 4.0, 8.0)
_READINGS, _LEAST = 6, 25  # readings in a block, blocks
#: Part of its usual readings that a whole block has.
_WHOLE = 0.9
#: Least part of the variance of the means that is the current's own (heuristic: beyond, the
#: correction is as doubtful as the slope).
_RELIABLE = 0.8
_T95 = 2.1
_LAGS = 10
#: Gain error of one voltage sensor against another, half-width of 95 % (common practice, no source:
#: as for the slope).
_MISMATCH = 0.01


def slope_of_means(s: Signals, gain: float) -> SlopeInterval | None:
    """Resistance [Ohm] of copper behind a voltage difference, with its 95 % interval.

    Parameters
    ----------
    s : Signals
    gain : float
        Half-width of the sensors' gain error together, as a share.

    Returns
    -------
    SlopeInterval or None
        None where the means do not differ by more than what their readings miss.
    """
    found = [x for b in _BLOCKS_S if (x := _with_blocks(s, b, gain)) is not None]
    return min(found, key=lambda x: (x.high - x.low) / x.value, default=None)


def _with_blocks(s: Signals, block_s: float, gain: float) -> SlopeInterval | None:
    at = s.t - s.match.lag_s
    start, end = max(at[0], s.amps.t[0]), min(at[-1], s.amps.t[-1])
    size = int((end - start) / block_s)
    if size < _LEAST:
        return None
    row, row_i = (((x - start) // block_s).astype(np.intp) for x in (at, s.amps.t))
    inside, inside_i = (row >= 0) & (row < size), (row_i >= 0) & (row_i < size)
    count = np.bincount(row[inside], minlength=size)
    count_i = np.bincount(row_i[inside_i], minlength=size)
    # Where voltages were left out the mean current is of another time.
    keep = (count >= max(_READINGS, _WHOLE * float(np.quantile(count, 0.9)))) & (
        count_i >= _READINGS
    )
    if keep.sum() < _LEAST:
        return None
    amps = _means(row_i, s.amps.v, inside_i, count_i)[keep]
    odd = np.arange(s.amps.t.size) % 2 == 1
    halves = [
        _means(row_i, s.amps.v, k, np.bincount(row_i[k], minlength=size))[keep]
        for k in (inside_i & odd, inside_i & ~odd)
    ]
    y = _means(row, s.y, inside, count)[keep]
    own = float(np.var(amps))
    reliable = 1.0 - 0.25 * float(np.var(halves[0] - halves[1])) / own if own > 0 else 0.0
    if reliable < _RELIABLE:
        return None
    time = np.flatnonzero(keep) / size
    base = np.stack((np.ones(time.size), time), axis=1)
    free = amps - base @ np.linalg.lstsq(base, amps, rcond=None)[0]
    power = float(free @ free)
    value = -float(free @ y) / power
    if value <= 0:
        return None
    left = y - base @ np.linalg.lstsq(base, y, rcond=None)[0] + value * free
    pull = free * left
    se = float(np.sqrt(np.sum(pull**2) * together(pull, _LAGS))) / power
    mix = np.zeros(size)
    mix[keep] = free / power
    each = np.where(inside, mix[np.clip(row, 0, size - 1)], 0.0)
    each = each / np.maximum(count[np.clip(row, 0, size - 1)], 1)
    steps = [2.0 * x.sd(each) for x in s.steps_v]
    unequal = 0.0 if s.common is None else _MISMATCH * float(each @ s.common)
    # Read closer together than odd and even readings are, they miss less: the truth lies between.
    high = value / reliable
    half = float(np.linalg.norm([_T95 * se / reliable, gain * high, unequal, *steps]))
    return SlopeInterval(
        value=float(np.sqrt(value * high)),
        low=value - half,
        high=high + half,
        scale_s=None,
        method="means over blocks",
    )


def _means(row: IntArray, v: FloatArray, inside: BoolArray, count: IntArray) -> FloatArray:
    sums = np.bincount(row[inside], v[inside], minlength=count.size)
    return np.asarray(sums / np.maximum(count, 1))
