"""Thinning long traces for drawing so that no lowest and no highest point is lost.

A screen has some hundred columns, a log many thousand rows. Each column of the picture keeps its
lowest and its highest sample, as samples (time and value), so that a drawn minimum is a reading
of the log and stands at its own instant. (The idea is the peak-preserving display of sampling
instruments; common practice, no source.)
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
IndexArray = NDArray[np.intp]


class Band(NamedTuple):
    """An unbroken stretch of a trace: its lowest and its highest samples, column by column."""

    low_t: FloatArray
    low_v: FloatArray
    high_t: FloatArray
    high_v: FloatArray


def bands(time_s: ArrayLike, values: ArrayLike, columns: int, gap_s: float) -> tuple[Band, ...]:
    """The min-max envelope of a trace, one band for each stretch without a gap.

    Parameters
    ----------
    time_s, values : array, shape (n,)
        Time never decreasing, s; samples whose value is NaN are left out.
    columns : int
        Number of equal stretches of time from first to last sample; at least 1.
    gap_s : float
        A step longer than this parts two bands, s.

    Returns
    -------
    tuple of Band
        Both edges hold samples of the trace: in each column (and band) the first lowest and the
        first highest one. Where n <= 2 * columns both edges hold all samples.

    Raises
    ------
    ValueError
        Where ``columns`` is under 1 or the shapes differ.
    """
    time, value = _checked(time_s, values, columns)
    there = ~np.isnan(value)
    time, value = time[there], value[there]
    if time.size == 0:
        return ()
    parted = np.r_[True, np.diff(time) > gap_s]
    if time.size <= 2 * columns:
        low = high = np.arange(time.size)
    else:
        low, high = _extremes(value, parted | _new_column(time, columns))
    found = []
    edges = [*np.flatnonzero(parted), time.size]
    for a, b in pairwise(edges):
        lows = low[np.searchsorted(low, a) : np.searchsorted(low, b)]
        highs = high[np.searchsorted(high, a) : np.searchsorted(high, b)]
        found.append(Band(time[lows], value[lows], time[highs], value[highs]))
    return tuple(found)


def min_max_indices(time_s: ArrayLike, values: ArrayLike, columns: int) -> IndexArray:
    """Which samples to keep so that every column keeps its lowest and its highest one.

    Parameters
    ----------
    time_s, values : array, shape (n,)
        Time never decreasing, s; values finite.
    columns : int
        Number of equal stretches of time; at least 1.

    Returns
    -------
    array of int, shape (k,), k <= 2 * columns + 2
        Increasing. Holds the first and the last sample, and for every column the first sample
        that has its lowest value and the first that has its highest. All n samples where
        n <= 2 * columns.

    Raises
    ------
    ValueError
        Where ``columns`` is under 1 or the shapes differ.
    """
    time, value = _checked(time_s, values, columns)
    if time.size <= 2 * columns:
        return np.arange(time.size, dtype=np.intp)
    low, high = _extremes(value, _new_column(time, columns))
    return np.unique(np.r_[0, low, high, time.size - 1])


def _checked(time_s: ArrayLike, values: ArrayLike, columns: int) -> tuple[FloatArray, FloatArray]:
    time = np.asarray(time_s, dtype=np.float64)
    value = np.asarray(values, dtype=np.float64)
    if columns < 1:
        raise ValueError(f"columns must be at least 1, got {columns}")
    if time.shape != value.shape or time.ndim != 1:
        raise ValueError(f"shapes differ: {time.shape} and {value.shape}")
    return time, value


def _new_column(time: FloatArray, columns: int) -> NDArray[np.bool_]:
    """True where a sample is the first of its column."""
    span = time[-1] - time[0]
    scale = columns / span if span > 0 else 0.0
    column = np.minimum(((time - time[0]) * scale).astype(np.intp), columns - 1)
    first = np.ones(time.size, dtype=bool)
    first[1:] = np.diff(column) > 0
    return first


def _extremes(value: FloatArray, begins: NDArray[np.bool_]) -> tuple[IndexArray, IndexArray]:
    """Index of the first lowest and of the first highest sample of each group."""
    starts = np.flatnonzero(begins)
    group = np.cumsum(begins) - 1
    found = []
    for edge in (np.minimum, np.maximum):
        at = np.flatnonzero(value == edge.reduceat(value, starts)[group])
        found.append(at[np.r_[True, np.diff(group[at]) > 0]])
    return found[0], found[1]


def block_means(time_s: ArrayLike, values: ArrayLike, block_s: float) -> FloatArray:
    """Means over blocks of time, in order; blocks without a sample are left out.

    Parameters
    ----------
    time_s, values : array, shape (n,)
        Time in order, s; values finite.
    block_s : float
        Length of a block, s; blocks begin at multiples of it.
    """
    time = np.asarray(time_s, dtype=np.float64)
    value = np.asarray(values, dtype=np.float64)
    if time.size == 0:
        return np.empty(0)
    starts = np.flatnonzero(np.r_[True, np.diff(np.floor(time / block_s)) > 0])
    counts = np.diff(np.r_[starts, time.size])
    return np.asarray(np.add.reduceat(value, starts) / counts, dtype=np.float64)


def spread_out(values: ArrayLike, most: int) -> IndexArray:
    """At most ``most`` samples spread evenly over the ranks of ``values``, both ends kept.

    For clouds of points: thinning by time would lose the few samples at high values.

    Parameters
    ----------
    values : array, shape (n,)
        Finite.
    most : int
        At least 2.
    """
    order = np.argsort(np.asarray(values, dtype=np.float64), kind="stable")
    if order.size <= most:
        return np.arange(order.size, dtype=np.intp)
    wanted = np.round(np.linspace(0, order.size - 1, most)).astype(np.intp)
    return np.sort(order[wanted])
