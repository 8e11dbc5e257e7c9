"""What tells the voltage and the current of one place, or of two, by their numbers alone.

A supply has a resistance: its voltage falls as more is drawn. Nothing here knows a unit or a name.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

#: Volts of a model's radio power (common practice, no source).
_LEAST_V, _MOST_V = 2.5, 75.0
#: Spread (5th to 95th percentile) of a supply voltage at most, as a part of its median, and of a
#: current at least, as a part of its 95th percentile (heuristic: servos rest and stir).
_VOLTAGE_SPREAD, _CURRENT_SPREAD = 0.35, 0.3
#: How a voltage must fall with the current at least: correlation of their larger steps (heuristic).
COUPLED = -0.3
#: A step is larger than this part of a current's range, over so many rows; as many are needed.
_STEP, _OVER_ROWS, _STEPS = 0.1, (1, 4), 8
#: Correlation of a counter with the sum of the current that it counts, at least (heuristic).
_COUNTED = 0.999
#: Spread of a power in the product of its voltage and current, at most (heuristic).
_PRODUCT = 0.1
#: How near to a power of ten a power must be to that product, as its decimal logarithm (heuristic).
_DECADE = 0.03
#: So many rows tell enough, among the first so many.
_ROWS, _SEEN = 20_000, 200_000
#: Steps that tell how two series go together; readings of one block, and blocks (heuristic).
_FEW_STEPS, _READINGS, _FEW_BLOCKS = 4, 4, 30


def like_a_voltage(values: FloatArray) -> bool:
    """Whether numbers look like the volts of a supply: near their median, and not whole.

    Parameters
    ----------
    values : ndarray
    """
    filled = _filled(values)[0]
    if len(filled) < 10 * _STEPS or np.all(filled == np.round(filled)):
        return False
    low, middle, high = np.percentile(filled, [5, 50, 95])
    return bool(_LEAST_V <= middle <= _MOST_V and 0 < high - low <= _VOLTAGE_SPREAD * middle)


def like_a_current(values: FloatArray) -> bool:
    """Whether numbers look like a current: much above their rest now and then.

    Parameters
    ----------
    values : ndarray
    """
    filled = _filled(values)[0]
    if len(filled) < 10 * _STEPS:
        return False
    low, high = np.percentile(filled, [5, 95])
    return bool(high - low >= _CURRENT_SPREAD * max(abs(low), abs(high)) > 0)


def supply_like(values: FloatArray, volts: list[FloatArray], amps: list[FloatArray]) -> str:
    """Whether a column goes with the voltages or currents of its log as a supply does.

    Parameters
    ----------
    values : ndarray, shape (rows,)
        In any unit.
    volts, amps : list of ndarray, shape (rows,)

    Returns
    -------
    str
        "voltage" where it is nearly steady and falls with a current, "current" where a voltage
        falls with it, "" where neither.
    """
    filled = _filled(values)[0]
    if len(filled) < 10 * _STEPS:
        return ""
    low, middle, high = np.percentile(filled, [5, 50, 95])
    if low > 0 and 0 < high - low <= _VOLTAGE_SPREAD * middle:
        return "voltage" if any(falls_with(values, a) <= COUPLED for a in amps) else ""
    if like_a_current(values) and any(falls_with(v, values) <= COUPLED for v in volts):
        return "current"
    return ""


def falls_with(volts: FloatArray, amps: FloatArray) -> float:
    """How one column falls as another rises: the correlation of their larger steps, -1 to 1.

    Parameters
    ----------
    volts, amps : ndarray, shape (rows,)
        A current that counts negative when drawn is turned round. 0 where too little moves.
    """
    u, i = _filled(volts, amps)
    if len(i) < 10 * _STEPS:
        return 0.0
    i = -i if np.median(i) < 0 else i
    low, high = np.percentile(np.sort(i), [1, 99])
    best = 0.0
    for rows in _OVER_ROWS:
        di, du = i[rows:] - i[:-rows], u[rows:] - u[:-rows]
        moved = np.abs(di) > _STEP * (high - low)
        di, du = di[moved], du[moved]
        spread = float(np.sqrt(np.sum(di**2) * np.sum(du**2)))
        if len(di) >= _STEPS and spread > 0:
            best = min(best, float(np.sum(di * du)) / spread)
    return best


def is_power(power: FloatArray, volts: FloatArray, amps: FloatArray) -> bool:
    """Whether a column is the product of a voltage and a current, in any decimal unit.

    Parameters
    ----------
    power, volts, amps : ndarray, shape (rows,)
    """
    p, u, i = _filled(power, volts, amps)
    product = np.abs(u * i)
    drawn = product > np.sum(product) / max(2 * len(product), 1)
    if np.count_nonzero(drawn) < _STEPS:
        return False
    low, middle, high = np.percentile(np.abs(p)[drawn] / product[drawn], [10, 50, 90])
    decades = np.log10(middle) if middle > 0 else np.nan
    return bool(high - low <= _PRODUCT * middle and abs(decades - np.round(decades)) < _DECADE)


def counts(counter: FloatArray, amps: FloatArray) -> bool:
    """Whether a counter counts a current, and not the rows.

    Parameters
    ----------
    counter, amps : ndarray, shape (rows,)
    """
    q, drawn = _filled(counter, amps)
    if len(q) < 10 * _STEPS or not like_a_current(amps):
        return False
    summed = np.cumsum(drawn)
    like = abs(float(np.corrcoef(q, summed)[0, 1]))
    plain = abs(float(np.corrcoef(q, np.arange(len(q)))[0, 1]))
    return like >= _COUNTED and like > plain


def _filled(*columns: FloatArray) -> tuple[FloatArray, ...]:
    """The first rows in which every column has a value."""
    heads = [c[:_ROWS] for c in columns]
    if all(np.isfinite(h).all() for h in heads):
        return tuple(heads)
    heads = [c[:_SEEN] for c in columns]
    both = np.all([np.isfinite(h) for h in heads], axis=0)
    return tuple(h[both][:_ROWS] for h in heads)


def moves_with(mine: FloatArray, other: FloatArray) -> float:
    """How the larger steps of a series go with those of another, -1 to 1; 0 if not told.

    Parameters
    ----------
    mine, other : ndarray, shape (n,)
        At the same instants; NaN where one is not known.
    """
    both = np.isfinite(mine) & np.isfinite(other)
    i, u = mine[both], other[both]
    if i.size < 2:
        return 0.0
    di, du = np.diff(i), np.diff(u)
    moved = np.abs(di) > 0.1 * float(np.max(i) - np.min(i))
    if np.count_nonzero(moved) < _FEW_STEPS:
        # A slow change of many amperes has no large step: then the largest few.
        moved = (np.abs(di) > float(np.quantile(np.abs(di), 0.97))) & (di != 0)
    if np.count_nonzero(moved) < _FEW_STEPS:
        return 0.0
    di, du = di[moved], du[moved]
    spread = math.sqrt(float(np.sum(di**2)) * float(np.sum(du**2)))
    return float(np.sum(di * du)) / spread if spread > 0 else 0.0


def sways_with(mine: FloatArray, other: FloatArray) -> float:
    """How a series that hardly steps goes with another one, -1 to 1; 0 if not told.

    By the bends of means over some readings of both: read at different instants they hide one
    another's steps, and what charges one pack by another falls slowly in both.

    Parameters
    ----------
    mine, other : ndarray, shape (n,)
        As of :func:`moves_with`; a value that was not read anew may be repeated.
    """
    changes = [np.count_nonzero(np.diff(x[np.isfinite(x)])) for x in (mine, other)]
    size = _READINGS * mine.size // max(min(int(c) for c in changes), 1)
    count = mine.size // max(size, 1)
    if size < 1 or count < _FEW_BLOCKS:
        return 0.0
    both = np.stack((mine, other))[:, : count * size].reshape(2, count, size)
    known = np.isfinite(both)
    readings = known.sum(axis=2)
    full = (readings > 0).all(axis=0)
    if np.count_nonzero(full) < _FEW_BLOCKS:
        return 0.0
    means = np.where(known, both, 0.0).sum(axis=2)[:, full] / readings[:, full]
    bends = np.diff(means, n=2, axis=1)
    spread = math.sqrt(float(np.prod(np.sum(bends**2, axis=1))))
    return float(bends[0] @ bends[1]) / spread if spread > 0 else 0.0
