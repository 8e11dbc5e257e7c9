"""Wild cells: single numbers of a column that no sensor of a model measured.

A flipped bit, a line half written, an error code. One of them is enough to turn a scale, a sum or
a smallest value, so they are set aside before anything is measured of a column. What happened to
the aircraft stays: a supply gone for some rows, the peak of a stalled servo.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from telemetry.model.channels import NO_NUMBER, Quantity, bounds_of

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# So many cells at either end of a column, or this part of it, do not tell its usual range
# (heuristic).
_CELLS, _PART = 5, 1e-3
# So many times its own size lies a cell beyond its column that has nothing to do with it
# (heuristic).
_TIMES = 3.0
# What moves about a middle has a travel: its middle is so many times half of the usual one (a
# servo's pulse of 1,500 us +- 500, common practice, no source); a cell lies so many times the
# travel beyond its end that has nothing to do with it (heuristic).
_HALVES, _TRAVELS = 3.0, 0.75
# Below so many cells a column has no usual range; wild ones stand at most so many in a row
# (heuristic).
_FEW, _ROWS = 20, 5
# So many times the cells that do not tell the usual range mostly show that none is far (heuristic).
_SAMPLE = 40
# A column that measures to the end of what is possible may pass it by this part of its size
# (heuristic).
_PAST = 0.1
# A counter that jumped by this part of what it holds, or by so many of its largest usual steps, and
# at once back, did not count (heuristic).
_JUMP, _STEPS = 0.25, 5.0


def wild(
    values: FloatArray,
    low: float,
    high: float,
    size: float | None,
    counter: bool,
    one_way: bool,
    about_middle: bool = False,
) -> dict[str, BoolArray]:
    """Cells that no sensor measured, by the reason why not.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Row by row, NaN where there is no value.
    low, high : float
        What is possible, in the unit of the values.
    size : float or None
        What the quantity may well come to; without it no cell is too far from the others.
    counter : bool
        True for a number that only grows, or begins anew.
    one_way : bool
        True for what seldom has two signs.
    about_middle : bool
        True for what moves about a middle, whose distance from zero tells nothing of its travel;
        ``size`` is half of that.

    Returns
    -------
    dict of str to ndarray of bool, shape (n,)
        Only reasons that hold for some cell. No cell has two.
    """
    found: dict[str, BoolArray] = {}

    def take(reason: str, mask: BoolArray) -> FloatArray:
        if not mask.any():
            return values
        found[reason] = mask
        return np.where(mask, np.nan, values)

    values = take("outside of what is possible", beyond(values, low, high))
    if size is not None:
        far = off_its_travel(values, size) if about_middle else remote(values, _TIMES, size)
        values = take("far from all other values of its column", far)
    if one_way:
        values = take("the other sign than all others of its column", turned(values))
    if counter:
        take("a counter does not jump and come back", uncounted(values))
    return found


def sound(values: FloatArray, quantity: Quantity, hold: str = "") -> FloatArray:
    """Values with the wild ones blank, for what is told of a column by its numbers.

    Parameters
    ----------
    values : ndarray
        In the canonical unit.
    quantity : Quantity
    hold : str
        Of the channel.
    """
    for mask in wild(values, *bounds_of(quantity, hold)).values():
        values = np.where(mask, np.nan, values)
    return values


def beyond(values: FloatArray, low: float, high: float) -> BoolArray:
    """Cells outside what is possible, in a column that is otherwise inside or near it.

    Parameters
    ----------
    values : ndarray, shape (n,)
        NaN where there is no value.
    low, high : float
        What is possible, in the unit of the values.

    Returns
    -------
    ndarray of bool, shape (n,)
        None of them but those that are no number of any sensor where the middle four fifths of the
        column are outside too: then the unit is wrong, and not the cells.
    """
    with np.errstate(invalid="ignore"):
        out = (values < low) | (values > high)
    if not out.any():
        return out
    filled = values[np.abs(values) <= NO_NUMBER]
    if not filled.size:
        return out
    bottom, top = (float(q) for q in np.quantile(filled, [0.1, 0.9], method="nearest"))
    past = _PAST * max(abs(bottom), abs(top))
    with np.errstate(invalid="ignore", over="ignore"):
        return np.asarray((values < min(low, bottom) - past) | (values > max(high, top) + past))


def remote(values: FloatArray, times: float, least: float = 0.0) -> BoolArray:
    """Cells far from all others of a column, alone or a few in a row.

    Parameters
    ----------
    values : ndarray, shape (n,)
        NaN where there is no value.
    times : float
        How many times its size a cell lies beyond the usual range of the column.
    least : float
        Least size that is taken, in the unit of the values: a column that stayed at zero all the
        time may still move.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    out = np.zeros(values.size, dtype=bool)
    filled = np.isfinite(values)
    v = values if filled.all() else values[filled]
    if v.size < _FEW:
        return out
    k = few(v.size)
    least_v, most_v = float(v.min()), float(v.max())
    with np.errstate(over="ignore"):
        # The k-th number from an end stands in a part of them no further out than in all of them.
        # Where that part already reaches to both ends no cell is far.
        part = v[:: max(1, v.size // (_SAMPLE * k))]
        bottom, top = _from_below(part, k), -_from_below(-part, k)
        far = times * max(top - bottom, -bottom, top, least)
        if least_v >= bottom - far and most_v <= top + far:
            return out
        bottom, top = _from_below(v[v <= bottom], k), -_from_below(-v[v >= top], k)
        far = times * max(top - bottom, abs(bottom), abs(top), least)
        if far == 0.0 or (least_v >= bottom - far and most_v <= top + far):
            return out
        out[filled] = _short_runs((v < bottom - far) | (v > top + far))
    return out


def off_its_travel(values: FloatArray, half: float) -> BoolArray:
    """Cells far beyond the travel of what moves about a middle, alone or a few in a row.

    Parameters
    ----------
    values : ndarray, shape (n,)
        NaN where there is no value.
    half : float
        Half of the usual travel about a middle of zero; about another it may be a third of that.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    known = values[np.isfinite(values)]
    if known.size < _FEW:
        return np.zeros(values.size, dtype=bool)
    middle = float(np.median(known))
    with np.errstate(over="ignore"):
        return remote(values - middle, _TRAVELS, 2.0 * max(half, abs(middle) / _HALVES))


def _from_below(v: FloatArray, k: int) -> float:
    """The k-th smallest number, counted from 0."""
    return float(np.partition(v, k)[k])


def turned(values: FloatArray) -> BoolArray:
    """Cells with the other sign than all others, alone, of a size that the others have.

    Parameters
    ----------
    values : ndarray, shape (n,)
        NaN where there is no value.

    Returns
    -------
    ndarray of bool, shape (n,)
        Cells between half the usual and the largest size of the others. None of them in a column
        of which more cells than a few have that sign: then it is one that has both.
    """
    out = np.zeros(values.size, dtype=bool)
    below, above = np.count_nonzero(values < 0.0), np.count_nonzero(values > 0.0)
    if not 0 < min(below, above) <= few(int(below + above)):
        return out
    rows = np.flatnonzero(np.isfinite(values))
    v = values[rows] if below < above else -values[rows]
    usual = v[v > 0.0]
    other = (-v >= 0.5 * float(np.median(usual))) & (-v <= float(usual.max()))
    out[rows[1:-1]] = other[1:-1] & (v[:-2] >= 0.0) & (v[2:] >= 0.0)
    return out


def uncounted(values: FloatArray) -> BoolArray:
    """Cells of a counter that left its way and came back: no counter falls and goes on.

    Parameters
    ----------
    values : ndarray, shape (n,)
        A counter that only grows; NaN where there is no value.

    Returns
    -------
    ndarray of bool, shape (n,)
        True for up to five cells in a row that lie above or below both their neighbours, where
        the later neighbour is not below the earlier one, and for a jump up at the very end or
        down at the very beginning. A counter that begins anew and stays low is not marked, nor
        are its zeros, which are a unit not heard.
    """
    out = np.zeros(values.size, dtype=bool)
    filled = np.isfinite(values)
    v = values[filled]
    with np.errstate(over="ignore"):
        grows = v.size < 2 or not np.any(np.diff(v) < 0)
        if v.size < _FEW or (grows and v[-1] - v[-2] <= v[-2] - v[0]):
            return out
        rows = np.flatnonzero(filled)
        at_first = _before_counting(v)
        out[rows[:at_first]] = True
        rows, v = rows[at_first:], v[at_first:]
        for length in range(1, _ROWS + 1):
            while v.size > length + 1:
                marked = _off_the_way(v, length)
                if not marked.any():
                    break
                out[rows[marked]] = True
                rows, v = rows[~marked], v[~marked]
    return out


def _before_counting(v: FloatArray) -> int:
    """How many first cells lie above all that a counter then counts, and far above its growth."""
    for length in range(_ROWS, 0, -1):
        counted = v[length:]
        excess = v[:length].min() - counted.max()
        if excess > 2.0 * np.ptp(counted) > 0.0:
            return length
    return 0


def _off_the_way(v: FloatArray, length: int) -> BoolArray:
    """Blocks of so many cells that lie off what stands before and after them."""
    before = v[:-length]
    after = np.r_[v[length + 1 :], v[-length - 1]]
    far = np.minimum(_JUMP * np.maximum(np.abs(before), np.abs(after)), _STEPS * _usual_step(v))
    inside = np.lib.stride_tricks.sliding_window_view(v[1:], length)
    above = inside.min(axis=1) > after + far
    below = (inside.max(axis=1) < before - far) & np.all(inside != 0.0, axis=1)
    below[-1] = False  # it may have begun anew
    counted = v[:-length]
    above[-1] &= inside[-1].min() - counted.max() > 2.0 * np.ptp(counted) > 0.0
    off = (after >= before) & (above | below)
    marked = np.zeros(v.size, dtype=bool)
    for i in range(length):
        marked[1 + i : v.size - length + 1 + i] |= off
    return marked


def _usual_step(v: FloatArray) -> float:
    """The largest step up of a counter but for the few that wild cells may have made."""
    steps = np.sort(np.diff(v))
    aside = few(steps.size)
    return float(steps[-1 - aside]) if aside and steps[-1 - aside] > 0.0 else np.inf


def _short_runs(apart: BoolArray) -> BoolArray:
    """The cells of runs that are not longer than wild ones come; changes what it is given."""
    edges = np.flatnonzero(np.diff(apart, prepend=False, append=False))
    first, end = edges[::2], edges[1::2]
    long = end - first > _ROWS
    for a, b in zip(first[long], end[long], strict=True):
        apart[a:b] = False
    return apart


def few(cells: int) -> int:
    """How many cells of so many may be wild without telling anything of the column."""
    return min(max(_CELLS, int(_PART * cells)), cells // 4) if cells >= _FEW else 0


def calm(filled: FloatArray) -> FloatArray:
    """A column's numbers without the few that are far from all others, to tell its unit by.

    Parameters
    ----------
    filled : ndarray
        Finite numbers in any unit.
    """
    far = remote(filled, 0.5)
    return filled[~far] if far.any() else filled
