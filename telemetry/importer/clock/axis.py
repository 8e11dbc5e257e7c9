"""The time column: which it is, what it counts, and seconds that never run back.

Row times come out as seconds from the first row. Past midnight, rolled-over counters, clock
corrections, rows that share a coarse stamp, rows without a stamp, and recordings that begin anew
are each recognised by what they look like and said so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from telemetry.importer.wording import count, verb

FloatArray = NDArray[np.float64]

#: Where a clock starts again, the later recording is laid this long behind the end of the
#: earlier one: more than any gap rule lets pass, so that nothing is joined across.
RECORDING_GAP_S = 10.0
# No clock shows more: three thousand years.
_LONGEST_S = 1e11


@dataclass(slots=True, kw_only=True)
class Unrolled:
    """Times of the rows, in the order of the rows that are kept.

    Attributes
    ----------
    time_s : ndarray
        Seconds from the first kept row, never decreasing, shape (kept rows,).
    rows : ndarray of int or None
        Rows of the table in the order of ``time_s``; None where it is all of them as they stand.
    refused : list of (int, str)
        Row and reason.
    recordings : tuple of (float, float)
        Start and end of each recording, s.
    starts : tuple of int
        First row (of the kept ones) of each recording.
    clock_s : float
        What the file's own clock showed at the first row; NaN without rows.
    notes : list of str
    """

    time_s: FloatArray
    rows: NDArray[np.int64] | None = None
    refused: list[tuple[int, str]] = field(default_factory=list)
    recordings: tuple[tuple[float, float], ...] = ()
    starts: tuple[int, ...] = (0,)
    clock_s: float = math.nan
    notes: list[str] = field(default_factory=list)


def unroll(
    raw_s: FloatArray,
    *,
    period_s: float = math.nan,
    wall: bool = False,
    breaks: tuple[int, ...] = (),
    empty: NDArray[np.bool_] | None = None,
    spread_rows: bool = True,
) -> Unrolled:
    """Raw times of the rows to seconds from the first that never run back.

    Parameters
    ----------
    raw_s : ndarray, shape (rows,)
        Seconds on the file's own clock, NaN where a row has no time.
    period_s : float
        After which the clock starts again by itself (a day, an hour, a counter's range); NaN for
        never.
    wall : bool
        True for a time of day: a step of exactly an hour back may be daylight saving.
    breaks : tuple of int
        Rows at which a recording certainly begins.
    empty : ndarray of bool or None
        Rows without any value; without a time as well they are refused.
    spread_rows : bool
        Spread rows that share a time.

    Returns
    -------
    Unrolled
    """
    out = Unrolled(time_s=raw_s)
    rows = np.arange(len(raw_s))
    time = raw_s.astype(np.float64, copy=True)
    time[np.abs(time) > _LONGEST_S] = np.nan
    missing = ~np.isfinite(time)
    if missing.any():
        time, rows, breaks = _fill(time, missing, breaks, empty, out)
    if not len(time):
        return Unrolled(time_s=time, rows=rows, refused=out.refused, notes=out.notes)
    time, begins = _forward(time, period_s, wall, breaks, out)
    disorder = np.flatnonzero(np.diff(time) < 0)
    changed = len(rows) != len(raw_s)
    if len(disorder):
        order = np.argsort(time, kind="stable")
        moved = count(len(disorder), "row")
        were = verb(len(disorder), "was", "were")
        out.notes.append(f"{moved} stood out of order and {were} sorted by time")
        time, rows, changed = time[order], rows[order], True
    out.clock_s = float(time[0])
    time = time - time[0]
    if spread_rows:
        time = spread(time, out)
    out.time_s = time
    out.rows = rows if changed else None
    out.starts = tuple(begins)
    ends = [*begins[1:], len(time)]
    out.recordings = tuple(
        (float(time[a]), float(time[b - 1])) for a, b in zip(begins, ends, strict=True)
    )
    return out


def _fill(
    time: FloatArray,
    missing: NDArray[np.bool_],
    breaks: tuple[int, ...],
    empty: NDArray[np.bool_] | None,
    out: Unrolled,
) -> tuple[FloatArray, NDArray[np.int64], tuple[int, ...]]:
    """Rows without a time between two with one are placed evenly between them."""
    rows = np.arange(len(time))
    have = np.flatnonzero(~missing)
    drop = np.zeros(len(time), dtype=bool)
    if empty is not None:
        drop |= missing & empty
        out.refused.extend((int(i), "no time and no value") for i in np.flatnonzero(drop))
    if len(have):
        outside = missing & ((rows < have[0]) | (rows > have[-1])) & ~drop
    else:
        outside = missing & ~drop
    drop |= outside
    out.refused.extend((int(i), "no time") for i in np.flatnonzero(outside))
    inside = missing & ~drop
    if inside.any():
        filled = np.interp(rows[inside], have, time[have])
        time[inside] = filled
        number = int(inside.sum())
        out.notes.append(
            f"{count(number, 'row')} without a readable time {verb(number, 'was', 'were')} placed "
            f"between the neighbours"
        )
    kept = np.flatnonzero(~drop)
    shift = np.cumsum(drop)
    breaks = tuple(int(b - (shift[b - 1] if b else 0)) for b in breaks)
    return time[kept], kept, breaks


def _forward(
    time: FloatArray,
    period_s: float,
    wall: bool,
    breaks: tuple[int, ...],
    out: Unrolled,
) -> tuple[FloatArray, list[int]]:
    """Deal with every step back; what is left are small disorders that sorting settles."""
    steps = np.diff(time)
    forward = steps[steps > 0]
    typical = float(np.median(forward)) if len(forward) else 1.0
    back = np.flatnonzero(steps < 0) + 1
    begins = [0]
    if wall:
        _summer_begins(time, steps, typical, out)
    if not len(back) and not breaks:
        return time, begins
    wanted = {b for b in breaks if 0 < b < len(time)}
    midnight = shifted = summer = wild = laid = 0
    recording_start = time[0]
    for i in sorted({*back.tolist(), *wanted}):
        step = time[i] - time[i - 1]
        if i in wanted and 0 <= step <= max(RECORDING_GAP_S, 10 * typical):
            continue  # the header is repeated on every page, the clock runs on
        if i in wanted and step >= 0:
            begins.append(i)
            recording_start = time[i]
            continue
        if step >= 0:
            continue  # an earlier shift has settled it
        if math.isfinite(period_s) and -step > 0.5 * period_s and i not in wanted:
            time[i:] += period_s
            midnight += 1
            continue
        passing = "" if i in wanted else _passing(time, i, typical)
        if passing:
            wild += passing == "wild"
            continue
        if wall and i not in wanted and abs(step + 3600.0) <= max(5.0, 20 * typical):
            time[i:] += 3600.0
            summer += 1
            continue
        near_start = time[i] <= recording_start + max(2.0, 5 * typical)
        if i not in wanted and -step <= 5.0 and not near_start:
            time[i:] += typical - step
            shifted += 1
            continue
        gap = max(RECORDING_GAP_S, 10 * typical)
        time[i:] += (time[i - 1] + gap) - time[i]
        begins.append(i)
        laid += 1
        recording_start = time[i]
    if wild:
        out.notes.append(
            f"{count(wild, 'row')} with an impossible time {verb(wild, 'was', 'were')} placed "
            f"between the neighbours"
        )
    if midnight:
        what = "past midnight" if period_s == 86400.0 else f"after {period_s:,.6g} s"
        times = "once" if midnight == 1 else f"{midnight} times"
        out.notes.append(f"the clock starts again {what} {times}; time goes on")
    if summer:
        out.notes.append("the clock was set back one hour (daylight saving); time goes on")
    if shifted:
        out.notes.append(
            f"the clock was set back by less than 5 s at {count(shifted, 'place')}; time goes on"
        )
    if len(begins) > 1:
        out.notes.append(
            f"the file holds {len(begins)} recordings: "
            + ("the clock starts again" if laid else "the header is repeated, the clock runs on")
        )
    if laid:
        out.notes.append(
            f"{count(laid, 'recording')} {verb(laid, 'is', 'are')} laid behind the one before, at "
            f"a distance of {max(RECORDING_GAP_S, 10 * typical):g} s that is not in the file"
        )
    return time, begins


def _summer_begins(time: FloatArray, steps: FloatArray, typical: float, out: Unrolled) -> None:
    """Take out the hour that a local clock leaps over from 2 to 3 in the night."""
    slack = max(5.0, 20 * typical)
    for i in np.flatnonzero(np.abs(steps - 3600.0) <= slack) + 1:
        before, after = time[i - 1] % 86400.0, time[i] % 86400.0
        if 7200.0 - slack <= before < 7200.0 and 10800.0 <= after <= 10800.0 + slack:
            time[i:] -= 3600.0
            out.notes.append("the clock was set forward one hour (daylight saving); time goes on")


def _passing(time: FloatArray, i: int, typical: float) -> str:
    """What is wrong where time steps back and then goes on as before.

    "order": one or two rows are out of order; "wild": one row's time is far off, and is put
    between its neighbours; "": something else.
    """
    reach = time[max(0, i - 3) : i]
    ahead = time[i : i + 4]
    if len(ahead) < 2:
        return ""
    top = float(np.max(reach))
    # Rows in the wrong order leave a hole where they belong; a clock set back leaves none.
    jumps = np.diff(np.concatenate((reach, ahead)))
    hole = bool(np.any(jumps > 1.2 * typical))
    if hole and float(ahead[-1]) >= top and top - float(np.min(ahead)) <= 5 * typical:
        return "order"
    # The row before was the odd one: far ahead of both neighbours.
    if i >= 2 and time[i] >= time[i - 2] and time[i - 1] - time[i] > 0:
        time[i - 1] = 0.5 * (time[i - 2] + time[i])
        return "wild"
    # This row is the odd one: far behind both neighbours.
    if time[i + 1] >= time[i - 1] and time[i + 1] - time[i - 1] <= max(5.0, 20 * typical):
        time[i] = 0.5 * (time[i - 1] + time[i + 1])
        return "wild"
    return ""


def spread(time: FloatArray, out: Unrolled) -> FloatArray:
    """Rows with the same stamp are spread evenly over the time until the next stamp.

    Parameters
    ----------
    time : ndarray
        Never decreasing, s from the first row.
    out : Unrolled
        A note is added to it where rows were moved.
    """
    fresh = np.concatenate(([True], np.diff(time) > 0))
    if fresh.all():
        return time
    first = np.flatnonzero(fresh)
    number = np.diff(np.append(first, len(time)))
    stamp = time[first]
    gaps = np.diff(stamp)
    several = number > 1
    usual = float(np.median(gaps)) if len(gaps) else 0.0
    if usual <= 0:
        return time
    # Not the first and the last stamp: they may hold only part of their rows.
    inner = number[1:-1][several[1:-1]]
    usual_count = float(np.median(inner if len(inner) else number[several]))
    room = np.append(np.minimum(gaps, usual), usual)
    # The last stamp of the file, and the first of a recording, may hold only part of their rows.
    room[-1] = usual * min(1.0, number[-1] / usual_count)
    within = np.arange(len(time)) - np.repeat(first, number)
    spread_s = np.repeat(stamp, number) + np.repeat(room / number, number) * within
    if number[0] < usual_count and len(gaps):
        step = usual / usual_count
        spread_s[: number[0]] = stamp[1] - step * np.arange(number[0], 0, -1)
    rows = int(number[several].sum())
    out.notes.append(
        f"{count(rows, 'row')} share a time stamp with others (the clock steps by "
        f"{usual:g} s); they were spread evenly"
    )
    out_s: FloatArray = spread_s - spread_s[0]
    return out_s
