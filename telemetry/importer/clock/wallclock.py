"""Time stamps of text: dates, times of day, elapsed times; the day and the month told apart."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
from numpy.typing import NDArray

from telemetry.importer.clock.packed import packed_stamps, split_stamps
from telemetry.importer.clock.stamps import (
    ORDERS,
    Stamps,
    as_clock,
    days,
    parse_stamps,
    seconds,
)
from telemetry.importer.clock.timesource import Stamped, TimeBase, TimeSource
from telemetry.model.unsettled import set_option

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
_DAY = 86400.0
_HALF_DAY = 43200.0


def stamped_sources(usable: Sequence[TimeSource]) -> list[Stamped]:
    """Columns that hold time stamps, as text or as numbers.

    Parameters
    ----------
    usable : sequence of TimeSource
    """
    split = split_stamps(usable)
    found = [] if split is None else [split]
    for source in usable:
        if source.text is None:
            packed = packed_stamps(source)
            if packed is not None and source.index not in (split.columns if split else ()):
                found.append(packed)
            continue
        head = source.text.slice(0, 200)
        probe = parse_stamps(head)
        filled = int((~probe.blank).sum())
        if filled == 0 and len(source.text) > 200:
            probe = parse_stamps(source.text)
            filled = int((~probe.blank).sum())
        if filled == 0 or probe.bad.sum() > 0.5 * filled:
            continue
        whole = parse_stamps(source.text)
        whole = as_clock(whole) or whole
        ok = int((~whole.blank & ~whole.bad).sum())
        if ok and whole.bad.sum() <= 0.5 * ok and (whole.has_date or whole.has_clock):
            found.append(Stamped(source, whole))
    return found


def day_order(stamps: Stamps, *, forced: str, european: bool) -> tuple[str, str]:
    """Where day, month and year stand in a date of three numbers, and why; ("", why) if open.

    Parameters
    ----------
    stamps : Stamps
    forced : str
        One of ORDERS from the user, "" otherwise.
    european : bool
        The day stands before the month where the data cannot tell.
    """
    if forced in ORDERS:
        return forced, "as you set it"
    open_ = stamps.first >= 0
    if not open_.any():
        return "dmy", ""
    three = tuple(n[open_] for n in (stamps.first, stamps.second, stamps.third))
    mark = chr(max(0, int(stamps.mark[open_][0])))
    possible = [o for o in ORDERS if _is_possible(o, three, mark)]
    reason = {"dmy": "day before month", "mdy": "month before day", "ymd": "year first"}
    moves = [len(np.unique(n)) > 1 for n in three]
    moved = [o for o in possible if sum(moves) == 1 and moves[ORDERS[o][0]]]
    if len(moved) == 1:
        which = ("first", "second", "third")[ORDERS[moved[0]][0]]
        return moved[0], f"{reason[moved[0]]}: the {which} number moves on within the log"
    if len(possible) == 1:
        order = possible[0]
        if order == "ymd":
            return order, f"{reason[order]}: no other order gives a day of the calendar"
        large = int(three[ORDERS[order][0]].max())
        why = f"{reason[order]}: {large} can be no month" if large > 12 else ""
        return order, why
    if "ymd" in possible:
        return "", ""
    if np.array_equal(three[0], three[1]):
        return "dmy", ""
    if (stamps.afternoon[open_] >= 0).any():
        return "mdy", "month before day: the times have AM and PM"
    if mark == ".":
        return "dmy", "day before month: dates with dots"
    if european:
        return "dmy", "day before month: decimal commas or the language of the header speak for it"
    return "", ""


def _is_possible(order: str, three: Sequence[IntArray], mark: str) -> bool:
    """Whether all dates are days of a calendar in an order.

    The year is first only in dates of two digits each, with dashes or nothing between.
    """
    day, month, year = (three[i] for i in ORDERS[order])
    if order == "ymd" and (mark not in "-\0" or year.max() > 99):
        return False
    return bool(month.max() <= 12 and month.min() >= 1 and day.max() <= 31 and day.min() >= 1)


def _dated_days(part: Stamped, european: bool, notes: list[str]) -> tuple[FloatArray, bool]:
    """Days of a date column, and whether the order of day and month is settled."""
    setting, stamps, title = part.source.setting, part.stamps, part.source.title
    form = setting.time_form if setting is not None else ""
    order, why = day_order(stamps, forced=form, european=european)
    if why:
        notes.append(f"dates in column '{title}' are read {why}")
    if order:
        return days(stamps, order), True
    first = int(np.flatnonzero(stamps.first >= 0)[0])
    mark = chr(max(0, int(stamps.mark[first]))).strip("\0")
    three = (stamps.first[first], stamps.second[first], stamps.third[first])
    shown = mark.join(f"{n:02d}" for n in three)
    numbers = tuple(np.array([n]) for n in three)
    forms = [f"time[{o}]" for o in ORDERS if _is_possible(o, numbers, mark or "\0")]
    line = set_option(title, *(forms or ["time[dmy]"]), number=part.source.index + 1)
    which = "day, month or year" if "time[ymd]" in forms else "day or month"
    notes.append(
        f"the date {shown} in column '{title}' may be {which} first, so the log has no certain "
        f"date; settle it with {line}"
    )
    return days(stamps, "dmy"), False


def moment(day: float, second: float, zone_s: float) -> datetime | None:
    """The moment of a day since 1970 and a second of it, in its zone where it has one."""
    if not (math.isfinite(day) and math.isfinite(second)):
        return None
    zone = timezone(timedelta(seconds=zone_s)) if math.isfinite(zone_s) else None
    if zone is not None and zone_s == 0:
        zone = UTC
    try:
        return datetime(1970, 1, 1, tzinfo=zone) + timedelta(days=day, seconds=round(second, 6))
    except OverflowError:
        return None


def from_stamps(part: Stamped, date: Stamped | None, european: bool, notes: list[str]) -> TimeBase:
    """Times from stamps of a time of day or an elapsed time, with the day from beside it or within.

    Parameters
    ----------
    part : Stamped
        Has a clock.
    date : Stamped or None
        Has the days, where ``part`` does not.
    european : bool
        The day stands before the month where the data cannot tell.
    notes : list of str
        How the date was read is added to it.
    """
    stamps = part.stamps
    minutes = _minutes_first(part)
    second = seconds(stamps, minutes_first=minutes)
    base = TimeBase(
        raw_s=second,
        columns=dict(part.columns) or {part.source.index: "time"},
        form=f"{_clock_form(stamps, minutes)} in {_named(part)}",
        period_s=_period(stamps, second, minutes),
        wall=not (stamps.two_part and minutes) and not stamps.elapsed.any(),
    )
    date = part if part.has_date else date
    if date is None:
        return base
    if date is part:
        base.form = f"date and time in {_named(part)}"
    else:
        base.columns |= date.columns or {date.source.index: "date"}
        base.form += f", date in {_named(date)}"
    day, settled = _dated_days(date, european, notes)
    good = np.flatnonzero(np.isfinite(day) & np.isfinite(second))
    # Where the order of the date is open so is the distance of two days: the clock alone counts.
    if not len(good) or not settled:
        return base
    first, zone_s = good[0], stamps.zone_s
    several = len(np.unique(day[good])) > 1
    if date is part or several:
        known = day if date is part else np.where(np.isfinite(day), day, day[first])
        base.raw_s = (known - day[first]) * _DAY + second
        base.period_s = _HALF_DAY if (stamps.afternoon == 2).any() else math.nan
    if np.isfinite(zone_s[first]):
        base.raw_s = base.raw_s - np.where(np.isfinite(zone_s), zone_s - zone_s[first], 0.0)
        base.wall = False
    both = f"columns '{date.source.title}' and '{part.source.title}'"
    if (stamps.afternoon == 2).any():
        base.start, base.day_only = moment(day[first], 0.0, math.nan), True
        base.start_source = f"{_named(date)} (the day only)"
    else:
        base.start = moment(day[first], second[first], zone_s[first])
        base.start_source = _named(part) if date is part else both
    return base


def _named(part: Stamped) -> str:
    return f"column{'s' if len(part.columns) > 1 else ''} '{part.source.title}'"


def _period(stamps: Stamps, second: FloatArray, minutes: bool) -> float:
    """After how long a clock starts again by itself, s; NaN where it never does."""
    finite = second[np.isfinite(second)]
    top = float(finite.max()) if len(finite) else math.inf
    if stamps.two_part and minutes:
        return 3600.0 if top < 3600 else math.nan
    if top < _HALF_DAY + 3600.0:
        steps = np.diff(finite)
        usual = float(np.median(np.abs(steps))) if len(steps) else 0.0
        # Twelve hours on the dial, and no word for the half of the day, or one nobody knows.
        noon = np.abs(steps + _HALF_DAY) <= max(5.0, 20 * usual)
        if (stamps.afternoon == 2).any() or noon.any():
            return _HALF_DAY
    return _DAY if top < _DAY else math.nan


def _minutes_first(part: Stamped) -> bool:
    """True where "12:34" is minutes and seconds."""
    stamps = part.stamps
    if not stamps.two_part:
        return False
    setting = part.source.setting
    form = (setting.time_form if setting is not None else "") or part.source.name.time_form
    if form.casefold().startswith(("mm:ss", "m:s")):
        return True
    if form.casefold().startswith(("hh:mm", "h:m")):
        return False
    filled = ~stamps.blank & ~stamps.bad
    hours, minutes = stamps.hour[filled], stamps.minute[filled]
    if (stamps.fraction[filled] > 0).any() or hours.max() > 23:
        return True
    # A clock of hours and minutes stands still for a minute: many rows share each stamp.
    changes = 1 + int(np.count_nonzero(np.diff(hours * 60 + minutes)))
    return bool(len(hours) / changes <= 25)


def _clock_form(stamps: Stamps, minutes: bool) -> str:
    parts = "mm:ss" if minutes else ("hh:mm" if stamps.two_part else "hh:mm:ss")
    if (stamps.fraction > 0).any():
        parts += ".fff"
    if (stamps.afternoon == 2).any():
        parts += " (the half of the day in a word that is not known)"
    elif (stamps.afternoon >= 0).any():
        parts += " AM/PM"
    return parts


def start_of_day(base: TimeBase, date: Stamped, european: bool) -> None:
    """A date column beside an elapsed time: the day is known, the time of day is not."""
    notes: list[str] = []
    day, settled = _dated_days(date, european, notes)
    good = day[np.isfinite(day)]
    base.columns.setdefault(date.source.index, "date")
    if settled and len(good):
        base.start = moment(float(good[0]), 0.0, math.nan)
        base.day_only = True
        base.start_source = f"column '{date.source.title}' (the day only)"
    base.notes.extend(notes)
