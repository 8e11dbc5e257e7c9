"""Moments at which a voltage fell further than its current can explain.

A contact that opens for moments adds falls that have nothing to do with the resistance the rest of
the time. Taken into a fit they raise it, and the raised resistance then explains them. Here they
are told from what sampling does: voltage and current are read at different instants, so that a
voltage misses a peak of the current as often as the current misses one that the voltage shows.
Strays of that kind go to both sides alike; those of a contact only ever go down.
"""

from __future__ import annotations

import numpy as np
import scipy
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# Pairs of readings this far apart show the fall per ampere without the slow fall of the source (s).
_APART_S = (0.5, 1.0, 2.0, 4.0, 8.0)
# Only pairs whose currents differ by this many standard deviations of the current tell anything;
# those that differ by more than one tell no more (heuristic: a contact may open at every high
# load).
_APART, _ENOUGH = 0.5, 1.0
# The commonest value is where this part of the pairs lies closest together (heuristic: a contact
# that is bad for most of the time under load is a resistance, and is measured as one).
_CLOSEST = 0.35
_FEW = 20
_EVENLY = 0.5 * (5.0**0.5 - 1.0)  # multiples of the golden section fill the unit interval evenly
# The usual level is taken from so far around, s: longer than a run of moves, so that most of it is
# sound, and short against the fall of the source. Opposite strays are taken from nearer by.
_LEVEL_S, _NEAR_S = 60.0, 20.0
# So many times the greatest stray to the other side is no accident of sampling (heuristic: with
# exponential tails and 100 readings near by, one in 30 000 passes it by chance). Once a contact is
# known to open, lesser strays are more likely its doing than chance.
_BEYOND, _THEN = 2.5, 1.2
# Falls below this, and below so many steps, are noise (heuristic).
_FAINT_V, _FAINT_STEPS = 0.02, 3.0
# Headroom over the highest reading of the current, for a peak between two readings (heuristic).
_MISSED = 1.2


def commonest_fall(t: FloatArray, y: FloatArray, x: FloatArray, *, step_v: float) -> float | None:
    """Commonest fall of y per unit of x, from pairs of readings seconds apart.

    The mode of the ratios, not their mean, so that falls of another cause do not enter: the middle
    of the shortest interval that holds a given part of their weight (the shorth; D. F. Andrews et
    al., Robust Estimates of Location, 1972, from memory). Biased low by a few to some ten per cent
    where x is read at other instants: a start, no result.

    Parameters
    ----------
    t, y, x : ndarray, shape (n,)
        Instants [s], voltage [V] and current [A] there.
    step_v : float
        Resolution of the voltage, V; 0 where not known.

    Returns
    -------
    float or None
        Ohm; None where the current moved too seldom, or moved the voltage by less than a step.
    """
    if t.size < _FEW:
        return None
    # Spread evenly over its step, a voltage that hardly leaves it has no mode at no fall.
    y = y + step_v * ((np.arange(t.size) * _EVENLY) % 1.0)
    swing = float(np.std(x))
    rows = np.arange(t.size)
    ratios, weights = [], []
    for apart in _APART_S:
        other = np.searchsorted(t, t + apart)
        known = other < t.size
        first, second = rows[known], other[known]
        rise = x.take(second) - x.take(first)
        told = np.abs(rise) > max(_APART * swing, 1e-9)
        told &= t.take(second) - t.take(first) < 2.0 * apart
        first, second, rise = first[told], second[told], rise[told]
        ratios.append((y.take(first) - y.take(second)) / rise)
        weights.append(np.minimum(np.abs(rise), _ENOUGH * swing))
    ratio, weight = np.concatenate(ratios), np.concatenate(weights)
    if ratio.size < _FEW:
        return None
    order = np.argsort(ratio)
    ratio, below = ratio[order], np.cumsum(weight[order])
    last = np.searchsorted(below, below + _CLOSEST * below[-1])
    inside = last < ratio.size
    first = np.flatnonzero(inside)
    if first.size == 0:
        return None
    start = int(first[np.argmin(ratio[last[inside]] - ratio[first])])
    found = float(np.median(ratio[start : last[start] + 1]))
    return found if found * swing > step_v else None


def fell_too_far(
    t: FloatArray,
    y: FloatArray,
    x: FloatArray,
    ohm: float,
    *,
    step_v: float,
    highest_x: float | None,
) -> BoolArray:
    """Readings at which the voltage fell further than the current and its sampling explain.

    Parameters
    ----------
    t, y, x : ndarray, shape (n,)
        Instants [s], voltage [V] and current [A] there.
    ohm : float
        Resistance, Ohm.
    step_v : float
        Resolution of the voltage, V; 0 where not known.
    highest_x : float or None
        Highest current that may have passed unseen: given where it is read more slowly than the
        voltage, so that peaks show in the voltage alone. Else the highest reading near by is taken.
        A fall is only too far if this current, with some headroom, does not make it.

    Returns
    -------
    ndarray of bool, shape (n,)
        True where it fell too far, the readings around it that are out of the usual included.
    """
    if t.size < _FEW:
        return np.zeros(t.size, dtype=bool)
    left = _left(t, y, x, ohm)
    above = scipy.ndimage.maximum_filter1d(left, odd_width(t, _NEAR_S), mode="nearest")
    faint = max(_FAINT_V, _FAINT_STEPS * step_v)
    near = scipy.ndimage.maximum_filter1d(x, odd_width(t, _NEAR_S), mode="nearest")
    highest = near if highest_x is None else np.full(t.size, highest_x)
    by_load = ohm * (_MISSED * highest - x) + faint
    if not (left < -np.maximum(np.maximum(_BEYOND * above, faint), by_load)).any():
        return np.zeros(t.size, dtype=bool)
    out = left < -np.maximum(np.maximum(_THEN * above, faint), by_load)
    # What a sensor that averages makes of a fall reaches into the readings beside it.
    return np.asarray(scipy.ndimage.binary_dilation(out))


def closeness(t: FloatArray, y: FloatArray, x: FloatArray, ohm: float, *, step_v: float) -> float:
    """How near the nearer readings under load lie to a resistance, V, at least half a step.

    Arguments as for :func:`fell_too_far`.
    """
    loaded = np.abs(x - x.mean()) > _APART * np.std(x)
    far = np.abs(_left(t, y, x, ohm))[loaded]
    return 0.5 * step_v + (float(np.quantile(far, _CLOSEST)) if far.size else 0.0)


def _left(t: FloatArray, y: FloatArray, x: FloatArray, ohm: float) -> FloatArray:
    """What the resistance does not explain, about its slow level."""
    left = y + ohm * x
    return np.asarray(
        left - scipy.ndimage.median_filter(left, odd_width(t, _LEVEL_S), mode="nearest")
    )


def odd_width(t: FloatArray, over_s: float) -> int:
    """Odd number of readings that lie within so much time, not more than there are."""
    half = int(0.5 * over_s / float(np.median(np.diff(t))))
    return 2 * min(half, (t.size - 1) // 2) + 1
