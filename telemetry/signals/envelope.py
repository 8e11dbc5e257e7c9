"""Thinning long traces for drawing so that no lowest and no highest point is lost.

A screen has some hundred columns, a log many thousand rows. Each column of the picture keeps its
lowest and its highest sample, as samples (time and value), so that a drawn minimum is a reading
of the log and stands at its own instant. (The idea is the peak-preserving display of sampling
instruments; common practice, no source.)
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
IndexArray = NDArray[np.intp]


def min_max_indices(time_s: ArrayLike, values: ArrayLike, columns: int) -> IndexArray:
    """Which samples to keep so that every column keeps its lowest and highest one.

    Parameters
    ----------
    time_s : array, shape (n,)
        Never decreasing, s.
    values : array, shape (n,)
        NaN breaks the trace.
    columns : int
        Number of equal stretches of time; at least 1.

    Returns
    -------
    array of int, shape (k,), k <= 3 * columns + 2
        Increasing. Holds the first and the last sample, and for every column the first sample
        that has its lowest value, the first that has its highest, and the first NaN if there is
        one. All n samples where n <= 2 * columns.

    Raises
    ------
    ValueError
        Where ``columns`` is under 1 or the shapes differ.
    """
    time = np.asarray(time_s, dtype=np.float64)
    value = np.asarray(values, dtype=np.float64)
    if columns < 1:
        raise ValueError(f"columns must be at least 1, got {columns}")
    if time.shape != value.shape or time.ndim != 1:
        raise ValueError(f"shapes differ: {time.shape} and {value.shape}")
    n = time.size
    if n <= 2 * columns:
        return np.arange(n, dtype=np.intp)
    span = time[-1] - time[0]
    if span <= 0:
        column = np.zeros(n, dtype=np.intp)
    else:
        column = np.minimum(((time - time[0]) / span * columns).astype(np.intp), columns - 1)
    starts = np.flatnonzero(np.r_[True, np.diff(column) > 0])
    group = np.cumsum(np.r_[False, np.diff(column) > 0])
    missing = np.isnan(value)
    keep = np.zeros(n, dtype=bool)
    keep[[0, -1]] = True
    lowest = np.minimum.reduceat(np.where(missing, np.inf, value), starts)
    highest = np.maximum.reduceat(np.where(missing, -np.inf, value), starts)
    for hit in (value == lowest[group], value == highest[group], missing):
        at = np.flatnonzero(hit)
        first = np.r_[True, np.diff(group[at]) > 0] if at.size else np.zeros(0, dtype=bool)
        keep[at[first]] = True
    return np.flatnonzero(keep)


def broken_at_gaps(
    time_s: ArrayLike, values: ArrayLike, gap_s: float
) -> tuple[FloatArray, FloatArray]:
    """The samples that hold a value, with a NaN put in wherever the next is too far away.

    Parameters
    ----------
    time_s, values : array, shape (n,)
    gap_s : float
        A step longer than this breaks the trace, s.

    Returns
    -------
    time_s, values : arrays, shape (m,)
        The NaN stands half-way through the gap.
    """
    time = np.asarray(time_s, dtype=np.float64)
    value = np.asarray(values, dtype=np.float64)
    there = ~np.isnan(value)
    time, value = time[there], value[there]
    wide = np.flatnonzero(np.diff(time) > gap_s)
    middle = (time[wide] + time[wide + 1]) / 2
    return np.insert(time, wide + 1, middle), np.insert(value, wide + 1, np.nan)


def thinned(
    time_s: ArrayLike, values: ArrayLike, columns: int, gap_s: float
) -> tuple[FloatArray, FloatArray]:
    """A trace ready to draw: broken at gaps, then thinned to its min-max envelope.

    Parameters and returns as in :func:`broken_at_gaps` and :func:`min_max_indices`.
    """
    time, value = broken_at_gaps(time_s, values, gap_s)
    keep = min_max_indices(time, value, columns)
    return time[keep], value[keep]
