"""Whether a voltage fell over many readings and not at once: a charge that comes to its end."""

from __future__ import annotations

import numpy as np

from telemetry.model.log import FloatArray
from telemetry.numerics.statistics.windows import row_quantiles, windows
from telemetry.results import Event

#: Readings are taken together over so many s, by an upper quantile, so that single moves of the
#: load do not count; and looked at so long before the event and after its start (heuristic).
_TOGETHER_S, _UPPER, _AROUND_S = 1.0, 0.75, 60.0
#: The fall goes on over so many of these at least between a tenth and nine tenths of it; they fell
#: by the first part of the event's depth, and by no more than the second from one to the next
#: (heuristic).
_FEWEST, FELL, _AT_ONCE = 4, 0.6, 0.5
#: A load that rose by this factor may have pulled the voltage down (heuristic).
_ROSE, _SOON_S = 1.4, 15.0


def slow_fall(t: FloatArray, v: FloatArray, e: Event, part: float = FELL) -> bool:
    """Whether a voltage ran down to the lowest of an event in many small steps.

    Parameters
    ----------
    t, v : ndarray, shape (n,)
        Readings, s and V, of the event's place or of what feeds it.
    e : Event
    part : float
        Of the event's depth, by which it fell at the least.
    """
    lo, hi = np.searchsorted(t, [e.start_s - _AROUND_S, e.start_s + _AROUND_S])
    depth = e.depth_v or 0.0
    if hi - lo < 2 * _FEWEST or depth <= 0.0:
        return False
    t, v = t[lo:hi], v[lo:hi]
    _, first, count = np.unique((t - t[0]) // _TOGETHER_S, return_index=True, return_counts=True)
    upper = np.empty(first.size)
    for which, values in windows(v, first, first + count):
        upper[which] = row_quantiles(values, _UPPER)
    before = t[first] < e.start_s
    if not before.any() or before.all():
        return False
    lowest = int(np.argmin(np.where(before, np.inf, upper)))
    high = float(np.median(upper[before]))
    fall = high - float(upper[lowest])
    if fall < part * depth:
        return False
    above = np.flatnonzero(upper[:lowest] >= high - 0.1 * fall)
    begin = int(above[-1]) if above.size else 0
    deep = begin + int(np.argmax(upper[begin : lowest + 1] <= high - 0.9 * fall))
    steps = -np.diff(upper[begin : deep + 1])
    return bool(steps.size >= _FEWEST and steps.max() <= _AT_ONCE * fall)


def load_rose(t: FloatArray, amps: FloatArray, e: Event) -> bool:
    """Whether the mean current about an event lies well above that of the minute before it.

    Parameters
    ----------
    t, amps : ndarray, shape (n,)
        Readings of the whole current, s and A.
    e : Event
    """
    a, b, c = np.searchsorted(t, [e.start_s - _AROUND_S, e.start_s - _SOON_S, e.start_s + _SOON_S])
    if b - a < 1 or c - b < 1:
        return False
    return float(amps[b:c].mean()) > _ROSE * float(amps[a:b].mean())
