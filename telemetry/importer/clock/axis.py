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
#: No pause within one recording is longer; beyond it another one begins, s (heuristic).
LONGEST_PAUSE_S = 86_400.0
#: A clock that jumps by more was set: it had stood at the day its counting begins, s (heuristic).
_SET_S = 180 * 86_400.0
#: A time of day that begins this near midnight, s, and then jumps by more than the second, s, was
#: no time of day before (heuristic).
_NOT_YET_SET_S, _SET_LATE_S = 600.0, 3600.0
#: Up to so many rows in a row whose time is off are wrong cells of a sound clock (heuristic).
_WRONG_ROWS = 5
#: Only in a log of so many rows is a lone first or last one told from the others (heuristic).
_FEW_ROWS = 20
#: Times are rounded to this many decimals of a second: below what any logger resolves, and above
#: what differences of its clock lose in a double.
_DECIMALS = 9


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
    _replace_wrong(time, period_s, out)
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
    out.time_s = np.round(time, _DECIMALS)
    out.rows = rows if changed else None
    out.starts = tuple(begins)
    ends = [*begins[1:], len(time)]
    out.recordings = tuple(
        (float(out.time_s[a]), float(out.time_s[b - 1])) for a, b in zip(begins, ends, strict=True)
    )
    return out


def _typical(steps: FloatArray) -> float:
    forward = steps[steps > 0]
    return float(np.median(forward)) if len(forward) else 1.0


def _replace_wrong(time: FloatArray, period_s: float, out: Unrolled) -> None:
    """Put single wrong times between their neighbours: the clock goes on behind as before."""
    steps = np.diff(time)
    typical = _typical(steps)
    far = 5.0 * typical
    wrong = np.zeros(len(time), dtype=bool)
    near = max(5.0, 20.0 * typical)
    for i in (np.flatnonzero((steps < 0) | (steps > near)) + 1).tolist():
        for length in range(1, min(_WRONG_ROWS, len(time) - i - 1) + 1):
            before, run, after = time[i - 1], time[i : i + length], time[i + length]
            off = (run > after + far) | (run < before - far)
            if off.all() and 0 <= after - before <= near and not wrong[i - 1]:
                wrong[i : i + length] = True
                break
    if len(time) >= _FEW_ROWS:
        steps = np.diff(time[~wrong]) if wrong.any() else steps
        rolls = math.isfinite(period_s) and abs(steps[0] + period_s) <= near
        lone = (steps[0] < -far and not rolls) or steps[0] > max(_SET_LATE_S, 100 * near)
        if lone and 0 <= steps[1] <= near:
            wrong[0] = True
        rolls = math.isfinite(period_s) and abs(steps[-1] + period_s) <= near
        lone = (steps[-1] < -far and not rolls) or steps[-1] > max(_SET_LATE_S, 100 * near)
        if lone and 0 <= steps[-2] <= near:
            wrong[-1] = True
    if not wrong.any():
        return
    rows, good = np.arange(len(time)), np.flatnonzero(~wrong)
    time[wrong] = np.interp(rows[wrong], good, time[good])
    if wrong[0]:
        time[0] = time[good[0]] - typical
    if wrong[-1]:
        time[-1] = time[good[-1]] + typical
    number = int(wrong.sum())
    out.notes.append(
        f"{count(number, 'row')} with an impossible time {verb(number, 'was', 'were')} placed "
        f"between the neighbours"
    )


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
    """Deal with every step that no running clock makes; small disorders are left to sorting."""
    typical = _typical(np.diff(time))
    if wall:
        _summer_begins(time, np.diff(time), typical, out)
    steps = np.diff(time)
    wanted = {b for b in breaks if 0 < b < len(time)}
    odd = (np.flatnonzero((steps < 0) | (steps > _SET_LATE_S)) + 1).tolist()
    if not odd and not wanted:
        return time, [0]
    moved = np.zeros(len(time))
    done: dict[str, list[int]] = {}
    begins = [0]
    gap = max(RECORDING_GAP_S, 10 * typical)
    for i in sorted({*odd, *wanted}):
        step = float(steps[i - 1])
        what = _what_happened(time, i, typical, period_s, wall, begins)
        if i in wanted:
            # A header repeated on every page leaves no gap, and the clock runs on.
            what = "again" if step < 0 else "header" if step > gap else ""
        done.setdefault(what, []).append(i)
        if what in ("again", "header", "jump"):
            begins.append(i)
        moved[i] = {
            "period": period_s,
            "summer": 3600.0,
            "back": typical - step,
            "set": typical - step,
            "again": gap - step,
            "jump": gap - step,
        }.get(what, 0.0)
    shift = np.cumsum(moved)
    if "set" in done:
        last = done["set"][-1]
        shift -= shift[last]  # the clock is right once it has been set
        if time[0] == time[last - 1]:  # before that it stood
            shift[:last] = time[last] - time[0] - typical * np.arange(last, 0, -1)
    _say(done, period_s, steps, gap, out)
    return time + shift, begins


def _what_happened(
    time: FloatArray, i: int, typical: float, period_s: float, wall: bool, begins: list[int]
) -> str:
    """Why time makes an odd step to a row: "period", "order", "summer", "back", "set", "jump" (on
    by more than a pause), "again" (another recording), or "" for a pause.
    """
    step = float(time[i] - time[i - 1])
    start = float(time[begins[-1]])
    if abs(step) > _SET_S:
        return "set"
    if step > 0:
        stood = i > 1 and time[begins[-1]] == time[i - 1]
        late = wall and begins[-1] == 0 and 0 <= start <= _NOT_YET_SET_S
        if late and stood and time[i - 1] - start <= typical:
            return "set"
        return "jump" if late or step > LONGEST_PAUSE_S else ""
    if math.isfinite(period_s) and -step > 0.5 * period_s:
        return "period"
    if _out_of_order(time, i, typical):
        return "order"
    if wall and abs(step + 3600.0) <= max(5.0, 20 * typical):
        return "summer"
    near_start = time[i] <= start + max(2.0, 5 * typical)
    return "back" if -step <= 5.0 and not near_start else "again"


def _say(
    done: dict[str, list[int]], period_s: float, steps: FloatArray, gap: float, out: Unrolled
) -> None:
    """Notes of what was done to the time."""

    def number(what: str) -> int:
        return len(done.get(what, ()))

    if n := number("period"):
        what = "past midnight" if period_s == 86400.0 else f"after {period_s:,.6g} s"
        times = "once" if n == 1 else f"{n} times"
        out.notes.append(f"the clock starts again {what} {times}; time goes on")
    if number("summer"):
        out.notes.append("the clock was set back one hour (daylight saving); time goes on")
    if n := number("back"):
        out.notes.append(
            f"the clock was set back by less than 5 s at {count(n, 'place')}; time goes on"
        )
    for i in done.get("set", ()):
        out.notes.append(
            f"the clock was set at row {i + 1:,} (it jumps by {_long(steps[i - 1])}); time goes on"
        )
    for i in done.get("jump", ()):
        out.notes.append(
            f"the clock jumps by {_long(steps[i - 1])} at row {i + 1:,}: set, or another recording"
        )
    laid = number("again") + number("jump")
    if laid or number("header"):
        why = "the header is repeated, the clock runs on"
        if laid:
            why = "the clock jumps" if not number("again") else "the clock starts again"
        out.notes.append(f"the file holds {laid + number('header') + 1} recordings: {why}")
    if laid:
        out.notes.append(
            f"{count(laid, 'recording')} {verb(laid, 'is', 'are')} laid behind the one before, at "
            f"a distance of {gap:g} s that is not in the file"
        )


def _long(step_s: float) -> str:
    """A long time in words: "56.4 years", "-3 days", "10.2 hours"."""
    for size, noun in ((365.25 * 86_400.0, "years"), (86_400.0, "days")):
        if abs(step_s) >= size:
            return f"{step_s / size:,.3g} {noun}"
    return f"{step_s / 3600:,.3g} hours"


def _summer_begins(time: FloatArray, steps: FloatArray, typical: float, out: Unrolled) -> None:
    """Take out the hour that a local clock leaps over from 2 to 3 in the night."""
    slack = max(5.0, 20 * typical)
    for i in np.flatnonzero(np.abs(steps - 3600.0) <= slack) + 1:
        before, after = time[i - 1] % 86400.0, time[i] % 86400.0
        if 7200.0 - slack <= before < 7200.0 and 10800.0 <= after <= 10800.0 + slack:
            time[i:] -= 3600.0
            out.notes.append("the clock was set forward one hour (daylight saving); time goes on")


def _out_of_order(time: FloatArray, i: int, typical: float) -> bool:
    """True where one or two rows stand in the wrong place, and then time goes on as before."""
    reach = time[max(0, i - 3) : i]
    ahead = time[i : i + 4]
    if len(ahead) < 2:
        return False
    top = float(np.max(reach))
    # Rows in the wrong order leave a hole where they belong; a clock set back leaves none.
    jumps = np.diff(np.concatenate((reach, ahead)))
    hole = bool(np.any(jumps > 1.2 * typical))
    return hole and float(ahead[-1]) >= top and top - float(np.min(ahead)) <= 5 * typical


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
