"""A stretch in which a series lies higher than in all the rest of it, with an honest error.

The difference of two currents that do alike work is no white noise: it hangs together for
seconds, and its tails are long. So a stretch has to stand out twice: by its standard error, with
the series' own autocorrelation in it, and against the largest departure that the rest of the
series shows over the same length of time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

_MAD_TO_SIGMA = 1.4826
# Lengths looked at for short stretches, in blocks; long ones are sought between any two of so many
# points.
_SHORT = (3, 4, 6, 9, 13, 20, 30, 45)
_POINTS = 150
# What lies this many blocks beside a stretch belongs to neither side; the rest has so many, and
# so much of the whole.
_EDGE, _LEAST_OUTSIDE, _PART_OUTSIDE = 2, 12, 0.12
_ALIKE = 0.5  # part of the load of a stretch that counts as like it


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Blocks first <= k < end, by how much they lie higher, and what to judge that by.

    Attributes
    ----------
    first, end : int
    excess : float
        Median inside less median outside, in the unit of the series.
    se : float
        Standard error of it.
    rival : float
        Largest departure from the median, to either side, of a mean over the same length outside.
    """

    first: int
    end: int
    excess: float
    se: float
    rival: float


def candidates(d: FloatArray) -> list[tuple[int, int]]:
    """Stretches worth a look: the highest of each length, and the likeliest level shift.

    Parameters
    ----------
    d : ndarray, shape (n,)
        Without NaN.

    Returns
    -------
    list of (first, end)
        The long ones first.
    """
    sums = np.concatenate(([0.0], np.cumsum(d)))
    found: list[tuple[int, int]] = []
    low, high = np.quantile(d, [0.02, 0.98])
    clipped = np.concatenate(([0.0], np.cumsum(np.clip(d, low, high))))
    at = np.unique(np.linspace(0, d.size, min(_POINTS, d.size) + 1).round().astype(np.intp))
    inside = at[None, :] - at[:, None]
    fits = (inside >= min(10, d.size // 4)) & (d.size - inside >= _LEAST_OUTSIDE)
    if fits.any():
        part = clipped[at][None, :] - clipped[at][:, None]
        with np.errstate(divide="ignore", invalid="ignore"):
            step = part / inside - (clipped[-1] - part) / (d.size - inside)
            score = np.where(fits, step * np.sqrt(inside * (d.size - inside) / d.size), 0.0)
        a, b = (int(at[k]) for k in np.unravel_index(int(np.argmax(score)), score.shape))
        found.append((a, b))
        # One level up to an instant and a lower one from it on is a stretch that reaches an end.
        k = int(np.argmax(np.abs(score[0])))
        found.append((0, int(at[k])) if score[0, k] > 0 else (int(at[k]), d.size))
    for length in reversed(_SHORT):
        if length + _LEAST_OUTSIDE <= d.size:
            means = sums[length:] - sums[:-length]
            a = int(np.argmax(means))
            found.append((a, a + length))
    return list(dict.fromkeys(found))


def judged(d: FloatArray, first: int, end: int, load: FloatArray | None = None) -> Stretch | None:
    """A stretch of a series against the rest of it; None where there is too little rest.

    Parameters
    ----------
    d : ndarray, shape (n,)
        The series, without NaN.
    first, end : int
        Blocks first <= k < end.
    load : ndarray, shape (n,), optional
        What the scatter of the series grows with: blocks outside under at least half of the load of
        the stretch then tell its error.
    """
    outside = np.ones(d.size, dtype=bool)
    outside[max(0, first - _EDGE) : end + _EDGE] = False
    rest = d[outside]
    if rest.size < max(_LEAST_OUTSIDE, _PART_OUTSIDE * d.size) or end <= first:
        return None
    base = float(np.median(rest))
    away = rest - base
    sigma = _MAD_TO_SIGMA * float(np.median(np.abs(away)))
    hang = together(np.clip(away, -3.0 * sigma, 3.0 * sigma))
    if load is not None:
        alike = away[load[outside] >= _ALIKE * float(np.median(load[first:end]))]
        if alike.size >= _LEAST_OUTSIDE:
            sigma = max(sigma, float(np.sqrt(np.mean(alike**2))))
    se = sigma * np.sqrt(hang * (1.0 / (end - first) + 1.0 / rest.size))
    rival = 0.0
    length = min(end - first, max(rest.size // 3, 3))
    for part in (d[: max(0, first - _EDGE)], d[end + _EDGE :]):
        if part.size >= length:
            sums = np.concatenate(([0.0], np.cumsum(part - base)))
            rival = max(rival, float(np.abs(sums[length:] - sums[:-length]).max()) / length)
    excess = float(np.median(d[first:end])) - base
    return Stretch(first=first, end=end, excess=excess, se=float(se), rival=rival)


def together(x: FloatArray, lags: int = 30) -> float:
    """How many blocks of a series hang together: the sum of its autocorrelations, at least 1.

    Parameters
    ----------
    x : ndarray, shape (n,)
        About zero.
    lags : int
        Blocks over which it may hang together; the sum ends before the first below 0.05.
    """
    power = float(x @ x)
    if power <= 0:
        return 1.0
    total = 1.0
    for lag in range(1, min(lags, x.size // 3)):
        r = float(x[lag:] @ x[:-lag]) / power
        if r < 0.05:
            break
        total += 2.0 * r
    return total


def each_together(rows: FloatArray, sizes: IntArray, lags: int) -> FloatArray:
    """The same of several short series at once, shape (m,).

    Parameters
    ----------
    rows : ndarray, shape (m, n)
        Each without a gap, and zero where it has no block.
    sizes : ndarray of int, shape (m,)
        How many blocks each has.
    lags : int
    """
    power = np.einsum("ij,ij->i", rows, rows)
    total, goes_on = np.ones(sizes.size), power > 0
    for lag in range(1, min(lags, int(sizes.max(initial=0)) // 3)):
        product = np.einsum("ij,ij->i", rows[:, lag:], rows[:, :-lag])
        goes_on &= (lag < sizes // 3) & (product >= 0.05 * power)
        if not goes_on.any():
            break
        total[goes_on] += 2.0 * product[goes_on] / power[goes_on]
    return total
