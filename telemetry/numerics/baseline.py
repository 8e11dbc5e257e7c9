"""Slow baselines: the sliding reference voltage with its dips, the running median of a current."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from telemetry.numerics.statistics.windows import windows

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# The sliding mean is summed in blocks this many time constants long, so that exp() stays small.
_BLOCK_TAUS = 5.0
MAD_TO_SIGMA = 1.482602218505602  # 1 / Phi^-1(0.75), for a normal distribution


class Dip(NamedTuple):
    """One dip: samples ``first`` to ``last`` (exclusive) of the series.

    Attributes
    ----------
    first, last : int
        Indices; ``last`` is the first sample at or above the end threshold, or where it was cut.
    end_s : float
        Time of the end, s.
    reference : float
        Reference from which it fell.
    truncated : bool
        Cut by a gap or the end of the series: the duration is a lower bound.
    shift : bool
        Still open after the limit and closed as a level shift.
    """

    first: int
    last: int
    end_s: float
    reference: float
    truncated: bool
    shift: bool


def sliding_reference(t: FloatArray, v: FloatArray, tau_s: float, start: float) -> FloatArray:
    """Low-pass of first order on uneven samples, before each sample is taken in.

    Parameters
    ----------
    t, v : ndarray, shape (n,)
    tau_s : float
        Time constant, s.
    start : float
        Reference before the first sample.

    Returns
    -------
    ndarray, shape (n,)
        ``out[k]`` is the reference against which sample k is judged; it has seen samples before
        k only. Between samples k-1 and k: ``r += (1 - exp(-dt / tau)) (v[k-1] - r)``, the sliding
        reference of IEC 61000-4-30 written for an uneven step.
    """
    out = np.empty(t.size)
    reference, first = start, 0
    while first < t.size:
        last = int(np.searchsorted(t, t[first] + _BLOCK_TAUS * tau_s, side="right"))
        x = (t[first:last] - t[first]) / tau_s
        # r_k e^{x_k} = r_0 + sum_{j<k} v_j (e^{x_{j+1}} - e^{x_j})
        grown = np.exp(x)
        gain = np.r_[0.0, np.cumsum(v[first : last - 1] * np.diff(grown))]
        out[first:last] = (reference + gain) / grown
        if last < t.size:
            alpha = -np.expm1(-(t[last] - t[last - 1]) / tau_s)
            reference = float(out[last - 1] + alpha * (v[last - 1] - out[last - 1]))
        first = last
    return out


def find_dips(
    t: FloatArray,
    v: FloatArray,
    *,
    pct: float,
    least: float,
    hysteresis_pct: float,
    resolution: float = 0.0,
    open_s: float = 10.0,
    hold_s: float = np.inf,
    fixed: float | None = None,
    tau_s: float = 60.0,
    settle_s: float = 5.0,
) -> tuple[list[Dip], FloatArray]:
    """Dips below a reference, with hysteresis (event definition after IEC 61000-4-30).

    A dip starts at a sample below the threshold and ends at the first sample at or above
    threshold plus hysteresis. The threshold is the reference less ``pct`` % of it, and less
    ``least`` at the least; the hysteresis is ``hysteresis_pct`` % of the reference and at least
    one resolution step. The reference is fixed, or slides with time constant ``tau_s`` and
    stands still during a dip. A dip still open after ``open_s`` is closed as a level shift and
    the reference starts anew at the level reached.

    Parameters
    ----------
    t, v : ndarray, shape (n,)
        Update samples, finite, in time order.
    pct, hysteresis_pct : float
        Percent of the reference.
    least, resolution : float
        In the unit of v.
    open_s, hold_s, tau_s, settle_s : float
        Seconds. Samples further apart than ``hold_s`` cut a dip (truncated). A sliding reference
        starts as the median of the first ``settle_s``.
    fixed : float, optional
        Fixed reference.

    Returns
    -------
    dips : list of Dip
    score : ndarray, shape (n,)
        Reference less value: the quantity that was judged.
    """
    n = t.size
    dips: list[Dip] = []
    score = np.zeros(n)
    if n == 0:
        return dips, score

    def start_level(i: int) -> float:
        until = int(np.searchsorted(t, t[i] + settle_s, side="right"))
        return float(np.median(v[i:until]))

    reference = fixed if fixed is not None else start_level(0)
    i = 0
    while i < n:
        # Take in the quiet stretch up to the next sample below the threshold, block by block.
        stop = min(n, i + 4096)
        if fixed is not None:
            slide = np.full(stop - i, fixed)
        else:
            slide = sliding_reference(t[i:stop], v[i:stop], tau_s, reference)
        below = v[i:stop] < slide - np.maximum(slide * pct / 100.0, least)
        hit = int(np.argmax(below)) if below.any() else stop - i
        score[i : i + hit] = slide[:hit] - v[i : i + hit]
        if hit == stop - i:
            if fixed is None and stop < n:
                alpha = -np.expm1(-(t[stop] - t[stop - 1]) / tau_s)
                reference = float(slide[-1] + alpha * (v[stop - 1] - slide[-1]))
            i = stop
            continue
        first = i + hit
        reference = float(slide[hit])
        end_level = (
            reference
            - max(reference * pct / 100.0, least)
            + max(reference * hysteresis_pct / 100.0, resolution)
        )
        dip = _follow(t, v, first, end_level, reference, open_s, hold_s)
        score[first : dip.last] = reference - v[first : dip.last]
        dips.append(dip)
        i = dip.last
        if dip.shift and fixed is None:
            recent = v[max(first, int(np.searchsorted(t, t[i - 1] - settle_s))) : i]
            reference = float(np.median(recent))
        elif dip.shift:
            # Against a fixed reference the level stays low: wait until it has come back.
            back = v[i:] >= end_level
            i = i + int(np.argmax(back)) if back.any() else n
        elif dip.truncated and fixed is None and i < n:
            reference = start_level(i)
    return dips, score


def _follow(
    t: FloatArray,
    v: FloatArray,
    first: int,
    end_level: float,
    reference: float,
    open_s: float,
    hold_s: float,
) -> Dip:
    limit = int(np.searchsorted(t, t[first] + open_s, side="right"))
    seen_t, seen_v = t[first : limit + 1], v[first : limit + 1]
    over = np.flatnonzero(seen_v >= end_level)
    cuts = np.flatnonzero(np.diff(seen_t) > hold_s) + 1
    end = int(over[0]) if over.size else seen_v.size
    if cuts.size and int(cuts[0]) <= end:
        last = first + int(cuts[0])
        return Dip(first, last, float(t[last - 1]), reference, True, False)
    if over.size:
        last = first + end
        return Dip(first, last, float(t[last]), reference, False, False)
    if limit < t.size:
        return Dip(first, limit, float(t[first] + open_s), reference, False, True)
    return Dip(first, t.size, float(t[-1]), reference, True, False)


def running_median(
    t: FloatArray, v: FloatArray, window_s: float, *, floor: float = 0.0
) -> tuple[FloatArray, FloatArray]:
    """Running median and scaled median absolute deviation over a centred window.

    Parameters
    ----------
    t, v : ndarray, shape (n,)
        Samples, finite, in time order.
    window_s : float
        Full width of the window, s.
    floor : float
        Least deviation, in the unit of v: on quantised data the MAD is often zero
        (resolution / sqrt(12) is the deviation that the rounding alone makes).

    Returns
    -------
    median, sigma : ndarray, shape (n,)
        Worked out at points a twelfth of a window apart and joined by straight lines.
    """
    if t.size == 0:
        return np.empty(0), np.empty(0)
    count = max(2, int(np.ceil((t[-1] - t[0]) / (window_s / 12.0))) + 1)
    centres = np.linspace(t[0], t[-1], count)
    # Only the points beside a sample are asked for: in a long pause there are none. (Before the
    # first sample, which lies on the first point, there is none either.)
    beside = np.searchsorted(centres, t)
    asked = np.zeros(count, dtype=bool)
    asked[beside], asked[beside[beside > 0] - 1] = True, True
    centres = centres[asked]
    lo = np.searchsorted(t, centres - window_s / 2, side="left")
    hi = np.searchsorted(t, centres + window_s / 2, side="right")
    median, sigma = np.empty(centres.size), np.empty(centres.size)
    for which, values in windows(v, lo, hi):
        median[which] = _medians(values)
        sigma[which] = MAD_TO_SIGMA * _medians(np.abs(values - median[which, None]))
    return np.interp(t, centres, median), np.maximum(np.interp(t, centres, sigma), floor)


def _medians(v: FloatArray) -> FloatArray:
    """Median of each row of finite values; many times as quick as numpy's on a few hundred."""
    v = np.sort(v, axis=1)
    return np.asarray(0.5 * (v[:, (v.shape[1] - 1) // 2] + v[:, v.shape[1] // 2]))
