"""When a channel really brings news: update instants, intervals, resolution, gaps.

A transmitter writes rows faster than its sensors report and holds the last value (or leaves
blanks) in between. Only the update instants carry information; a held repeat is no independent
sample. A value that stays the same through several update instants is news all the same.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]

# Windows of this many successive changes average out the row grid (error of one row over RUN).
RUN = 8
# So many steps running that are alike are a pace (heuristic): chance gaps are not alike.
RUN_OF_ONE_PACE = 3


class Updates(NamedTuple):
    """Update samples of one channel.

    Attributes
    ----------
    t, v : ndarray, shape (n,)
        Instants [s] and values at them, in time order.
    update_s : float
        Usual interval between updates, s; NaN where the channel never changed.
    """

    t: FloatArray
    v: FloatArray
    update_s: float


def row_step(time_s: FloatArray) -> float:
    """Median step between rows, s; NaN with fewer than two rows."""
    steps = np.diff(time_s)
    steps = steps[steps > 0]
    return float(np.median(steps)) if steps.size else float("nan")


def is_sparse(values: FloatArray) -> bool:
    """True where the channel leaves blanks between its updates instead of holding the last value.

    Told by the runs of rows that have a value: with blanks in between, most runs are a single
    row. A held channel with some blank stretches (a lost link) has long runs.
    """
    present = np.isfinite(values)
    count = int(present.sum())
    if count < 3 or count > 0.7 * values.size:
        return False
    starts = int(np.count_nonzero(present & ~np.r_[False, present[:-1]]))
    return starts > 0.5 * count


def change_rows(values: FloatArray) -> IntArray:
    """Rows in which the value differs from the last one present (the first value included)."""
    rows = np.flatnonzero(np.isfinite(values))
    if rows.size == 0:
        return rows
    v = values[rows]
    return rows[np.r_[True, v[1:] != v[:-1]]]


def resolution(values: FloatArray) -> float | None:
    """Smallest step between distinct values; None where there are fewer than two.

    Steps below two millionths of the largest magnitude are rounding of the number format (six
    or seven digits of a single-precision export), not steps of the sensor.
    """
    v = values[np.isfinite(values)]
    if v.size == 0:
        return None
    ordered = np.sort(v)
    steps = np.diff(ordered)
    steps = steps[steps > 2e-6 * max(abs(float(ordered[0])), abs(float(ordered[-1])))]
    return float(f"{steps.min():.6g}") if steps.size else None


def update_interval(time_s: FloatArray, values: FloatArray) -> float | None:
    """Usual interval at which a channel brings news, s.

    Parameters
    ----------
    time_s, values : ndarray, shape (n,)
        Rows of the log; NaN where the row has no value.

    Returns
    -------
    float or None
        None where fewer than three changes were seen.

    Notes
    -----
    With blanks between updates: the median interval between rows with a value. With held values
    the interval is read from the changes. Where the signal moves, nearly every update changes
    the value, so the busiest stretches show the interval: the mean of RUN successive change
    intervals, at its lowest decile. A quiet channel never changes RUN times running; its single
    shortest intervals (5 % quantile ``m``) bound the answer, since on a row grid of step r an
    update interval T shows as steps of at least T - r, so that T lies in [m, m + r].
    """
    if is_sparse(values):
        t = time_s[np.isfinite(values)]
        return float(np.median(np.diff(t))) if t.size >= 3 else None
    t = time_s[change_rows(values)]
    if t.size < 4:
        return None
    steps = np.diff(t)
    steps = steps[steps > 0]
    if steps.size < 3:
        return None
    row = row_step(time_s)
    shortest = float(np.quantile(steps, 0.05))
    single = float(steps[steps <= shortest + 1.01 * row].mean())
    if steps.size < 3 * RUN:
        return max(shortest, single)
    runs = (t[RUN:] - t[:-RUN]) / RUN
    return max(shortest, min(single, float(np.quantile(runs, 0.10))))


def update_samples(
    time_s: FloatArray, values: FloatArray, update_s: float | None = None
) -> Updates:
    """Samples at the update instants of one channel.

    Parameters
    ----------
    time_s, values : ndarray, shape (n,)
        Rows of the log, time not decreasing; NaN where the row has no value.
    update_s : float, optional
        Update interval if already known (for instance from another column of the same sensor).

    Returns
    -------
    Updates
        Changes of the value, and between changes that lie several intervals apart the unchanged
        value once an interval: it was reported again. A row that comes well over an interval
        after the one before it is news, whatever it shows. Nothing is put where the log has no
        rows or the channel is blank.
    """
    present = np.isfinite(values)
    rows = np.flatnonzero(present)
    if update_s is None:
        update_s = update_interval(time_s, values)
    if is_sparse(values):
        return Updates(time_s[rows], values[rows], float("nan") if update_s is None else update_s)
    changes = change_rows(values)
    if rows.size == 0:
        return Updates(time_s[rows], values[rows], float("nan"))
    step = row_step(time_s)
    if update_s is None:  # never or hardly changed: one sample a row step carries it all
        return Updates(time_s[rows], values[rows], float("nan"))
    last = int(rows[-1])
    edges = np.r_[time_s[changes], time_s[last] + step]
    spans = np.diff(edges)
    count = np.maximum(np.floor(spans / update_s + 0.5), 1.0)
    # A row stands for the next instant wanted, where no later row lies before that instant too.
    row = np.arange(changes[0], time_s.size)
    owner = np.searchsorted(changes, row, side="right") - 1
    start, pitch = edges[owner], (spans / count)[owner]
    with np.errstate(invalid="ignore", divide="ignore"):
        rank = np.where(pitch > 0, np.ceil((time_s[row] - start - 1e-9) / pitch), 0.0)
    wanted = start + rank * pitch
    following = np.r_[time_s[row[1:]], np.inf]
    chosen = (wanted + 1e-9 < following) & (rank < count[owner])
    chosen &= wanted - time_s[row] <= max(1.5 * step, 0.5 * update_s)
    taken = np.diff(time_s, prepend=np.inf) >= 1.5 * update_s  # rows that come late
    taken[row[chosen]] = True
    keep = np.flatnonzero(taken & present)
    return Updates(time_s[keep], values[keep], update_s)


def shared_interval(
    own: float, changes: IntArray, others: IntArray, other_s: float, rows: int
) -> float:
    """Update interval of a quiet channel that travels in the same frame as a livelier one.

    Parameters
    ----------
    own, other_s : float
        Intervals found for the channel itself and for the other one, s.
    changes, others : ndarray of int
        Rows in which each changed, in order.
    rows : int
        Number of rows of the log.

    Returns
    -------
    float
        ``other_s`` where at least 90 % of the channel's changes fall into rows in which the other
        changed too, and chance would give less than 60 %; otherwise ``own``.
    """
    if changes.size < 5 or others.size < 5 or not other_s < own:
        return own
    other = np.zeros(int(max(changes[-1], others[-1])) + 1, dtype=bool)
    other[others] = True
    common = other[changes].mean()
    chance = others.size / max(rows, 1)
    return other_s if common >= 0.9 and chance < 0.6 else own


def longest_steps(
    t: FloatArray, interval_s: float, *, intervals: float, least_s: float
) -> FloatArray:
    """Longest step that is no gap, for each step between instants, s.

    Parameters
    ----------
    t : ndarray, shape (n,)
        Instants of rows or readings, s.
    interval_s : float
        Their usual interval, s.
    intervals : float
        A gap is longer than so many intervals,
    least_s : float
        and longer than this, s.

    Returns
    -------
    ndarray, shape (n - 1,)

    Notes
    -----
    Some loggers write slowly where little happens: what comes at an even pace, RUN_OF_ONE_PACE
    steps running alike within a tenth, is a slower pace and no row of gaps. There, and at the
    step beside it, the interval is that of this pace. A lost link has no pace.
    """
    steps = np.diff(t)
    longest = np.full(steps.size, max(intervals * interval_s, least_s))
    long = steps > longest
    if np.count_nonzero(long) < RUN_OF_ONE_PACE:
        return longest
    alike = long[1:] & long[:-1]
    alike &= np.abs(np.diff(steps)) <= 0.1 * np.minimum(steps[1:], steps[:-1])
    bounds = np.flatnonzero(np.diff(np.r_[False, alike, False].astype(np.int8)))
    for first, last in bounds.reshape(-1, 2):  # steps first to last are of one pace
        if last - first + 1 >= RUN_OF_ONE_PACE:
            near = slice(max(first - 1, 0), last + 2)
            pace = intervals * float(steps[first : last + 1].max())
            longest[near] = np.maximum(longest[near], pace)
    return longest


def gap_spans(
    time_s: FloatArray, interval_s: float, *, intervals: float, least_s: float
) -> list[tuple[float, float]]:
    """Stretches without rows: steps over ``intervals`` x ``interval_s`` and over ``least_s``.

    A slower pace is no gap, see :func:`longest_steps`.

    Returns
    -------
    list of (float, float)
        Last time before and first time after each gap, s.
    """
    if not np.isfinite(interval_s):
        return []
    longest = longest_steps(time_s, interval_s, intervals=intervals, least_s=least_s)
    at = np.flatnonzero(np.diff(time_s) > longest)
    return [(float(time_s[i]), float(time_s[i + 1])) for i in at]


def outside(t: FloatArray, spans: list[tuple[float, float]]) -> BoolArray:
    """True for instants that lie in none of the half-open spans."""
    free = np.ones(t.size, dtype=bool)
    for start, end in spans:
        free[np.searchsorted(t, start) : np.searchsorted(t, end)] = False
    return free


def held_at(t: FloatArray, v: FloatArray, at: FloatArray, max_age_s: float) -> FloatArray:
    """The last value known at each instant, NaN where it is older than ``max_age_s``.

    Parameters
    ----------
    t, v : ndarray, shape (n,)
        Update samples, in time order.
    at : ndarray, shape (m,)
        Instants asked for, s.
    max_age_s : float

    Returns
    -------
    ndarray, shape (m,)
    """
    out = np.full(at.size, np.nan)
    i = np.searchsorted(t, at + 1e-9, side="right") - 1
    known = i >= 0
    fresh = known.copy()
    fresh[known] = at[known] - t[i[known]] <= max_age_s
    out[fresh] = v[i[fresh]]
    return out
