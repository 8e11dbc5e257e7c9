"""Many stretches of a series at once: put together by their length, and quantiles of each."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

MOST_VALUES = 500_000  # values at once: a few MB


def windows(v: FloatArray, first: IntArray, end: IntArray) -> Iterator[tuple[IntArray, FloatArray]]:
    """The stretches ``v[first:end]``, those of one length together.

    Parameters
    ----------
    v : ndarray, shape (n,)
    first, end : ndarray of int, shape (m,)

    Yields
    ------
    which : ndarray of int, shape (k,)
        Numbers of some stretches, each once in all; those without a value are left out.
    values : ndarray, shape (k, length)
        Their values.
    """
    lengths = end - first
    for length in np.unique(lengths[lengths > 0]):
        every = np.flatnonzero(lengths == length)
        for part in range(0, every.size, max(1, MOST_VALUES // int(length))):
            which = every[part : part + max(1, MOST_VALUES // int(length))]
            yield which, v.take(first[which][:, None] + np.arange(length))


def row_quantiles(rows: FloatArray, q: float) -> FloatArray:
    """The quantile q of each row of finite values, linear between two of them; shape (m,).

    Many times as quick as numpy's along an axis, which does not sort.
    """
    ordered = np.sort(rows, axis=1)
    at = q * (rows.shape[1] - 1)
    low, part = int(at), at - int(at)
    below, above = ordered[:, low], ordered[:, min(low + 1, rows.shape[1] - 1)]
    return np.asarray(below + part * (above - below))
