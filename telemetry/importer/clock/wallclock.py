"""Time stamps of text: dates, times of day, elapsed times; the day and the month told apart."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pyarrow.compute as pc
from numpy.typing import NDArray

from telemetry.importer.clock.stamps import Stamps, days, parse_stamps, seconds
from telemetry.importer.clock.timesource import TimeBase, TimeSource, speaks_of_time
from telemetry.model.unsettled import set_option

FloatArray = NDArray[np.float64]
_DAY = 86400.0


@dataclass(slots=True)
class Stamped:
    """A column and its time stamps."""

    source: TimeSource
    stamps: Stamps

    @property
    def has_date(self) -> bool:
        """True where the stamps carry a date."""
        return self.stamps.has_date

    @property
    def has_clock(self) -> bool:
        """True where the stamps carry a time."""
        return self.stamps.has_clock


def stamped_sources(usable: Sequence[TimeSource]) -> list[Stamped]:
    """Columns of text that hold time stamps.

    Parameters
    ----------
    usable : sequence of TimeSource
    """
    found = []
    for source in usable:
        if source.text is None:
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
        if _dotted_clock(whole):
            # "09.58.31": dots between hours, minutes and seconds.
            colons = pc.replace_substring_regex(
                source.text, r"^(\s*\d{1,2})\.(\d{2})\.(\d{2})", r"\1:\2:\3"
            )
            whole = parse_stamps(colons)
        ok = int((~whole.blank & ~whole.bad).sum())
        if ok and whole.bad.sum() <= 0.5 * ok and (whole.has_date or whole.has_clock):
            found.append(Stamped(source, whole))
    return found


def _dotted_clock(stamps: Stamps) -> bool:
    """True where what looks like day, month and year can only be hours, minutes and seconds."""
    open_ = stamps.first >= 0
    if not open_.any() or (stamps.hour >= 0).any():
        return False
    short = (stamps.year[open_] % 100 < 60).all()
    # No month beyond 12, and no log over many years.
    no_date = stamps.second[open_].max() > 12 or len(np.unique(stamps.year[open_])) > 3
    return bool(short and stamps.first[open_].max() <= 23 and no_date)


def day_order(
    stamps: Stamps, *, forced: str, european: bool, dotted: bool = False
) -> tuple[str, str]:
    """Whether the day or the month comes first, and why; ("", why) where nothing tells.

    Parameters
    ----------
    stamps : Stamps
    forced : str
        "dmy" or "mdy" from the user, "" otherwise.
    european : bool
        The day stands before the month where the data cannot tell.
    dotted : bool
        The dates are written with dots, which says the same.
    """
    if forced in ("dmy", "mdy"):
        return forced, "as you set it"
    open_ = stamps.first >= 0
    if not open_.any():
        return "dmy", ""
    a, b = stamps.first[open_], stamps.second[open_]
    if a.max() > 12 >= b.max():
        return "dmy", f"day before month: {a.max()} can be no month"
    if b.max() > 12 >= a.max():
        return "mdy", f"month before day: {b.max()} can be no month"
    if len(np.unique(a)) > 1 and len(np.unique(b)) == 1:
        return "dmy", "day before month: the first number moves on within the log"
    if len(np.unique(b)) > 1 and len(np.unique(a)) == 1:
        return "mdy", "month before day: the second number moves on within the log"
    if np.array_equal(a, b):
        return "dmy", ""
    if (stamps.afternoon[open_] >= 0).any():
        return "mdy", "month before day: the times have AM and PM"
    if dotted:
        return "dmy", "day before month: dates with dots"
    if european:
        return "dmy", "day before month: decimal commas or the language of the header speak for it"
    return "", ""


def _dated_days(part: Stamped, european: bool, notes: list[str]) -> tuple[FloatArray, bool]:
    """Days of a date column, and whether the order of day and month is settled."""
    setting = part.source.setting
    order, why = day_order(
        part.stamps,
        forced=setting.time_form if setting is not None else "",
        european=european,
        dotted=_dotted(part),
    )
    if why:
        notes.append(f"dates in column '{part.source.title}' are read {why}")
    if order:
        return days(part.stamps, order), True
    shown = _first_date(part.stamps)
    notes.append(
        f"the date {shown} in column '{part.source.title}' may be day or month first, so the log "
        f"has no certain date; settle it with "
        f"{set_option(part.source.title, 'time[dmy]', 'time[mdy]')}"
    )
    return days(part.stamps, "dmy"), False


def _dotted(part: Stamped) -> bool:
    text = part.source.text
    assert text is not None
    filled = np.flatnonzero(~part.stamps.blank & ~part.stamps.bad)
    sample = str(text[int(filled[0])].as_py()) if len(filled) else ""
    return sample[:6].count(".") >= 1


def _first_date(stamps: Stamps) -> str:
    i = int(np.flatnonzero(stamps.first >= 0)[0])
    return f"{stamps.first[i]:02d}/{stamps.second[i]:02d}/{stamps.year[i]}"


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


def from_full(part: Stamped, european: bool, notes: list[str]) -> TimeBase:
    """Times from stamps of date and time.

    Parameters
    ----------
    part : Stamped
    european : bool
        The day stands before the month where the data cannot tell.
    notes : list of str
        How the date was read is added to it.
    """
    stamps = part.stamps
    day, settled = _dated_days(part, european, notes)
    minutes = _minutes_first(part)
    second = seconds(stamps, minutes_first=minutes)
    good = np.flatnonzero(np.isfinite(day) & np.isfinite(second))
    if not len(good):
        return TimeBase(raw_s=np.full(len(day), np.nan), columns={}, form="")
    first = good[0]
    zone = np.where(np.isfinite(stamps.zone_s), stamps.zone_s, stamps.zone_s[first])
    raw = (day - day[first]) * _DAY + second
    if np.isfinite(zone[first]):
        raw = raw - (zone - zone[first])
    start = moment(day[first], second[first], stamps.zone_s[first]) if settled else None
    if not settled and len(np.unique(day[good])) > 1:
        # The distance in days depends on the order: count on from the time of day alone.
        raw = second
    return TimeBase(
        raw_s=raw,
        columns={part.source.index: "time"},
        form=f"date and time in column '{part.source.title}'",
        wall=not np.isfinite(stamps.zone_s[first]),
        period_s=math.nan if settled else _DAY,
        start=start,
        start_source=f"column '{part.source.title}'" if start else "",
    )


def from_clock(
    part: Stamped,
    date: Stamped | None,
    number_dates: tuple[TimeSource, FloatArray] | None,
    european: bool,
    notes: list[str],
) -> TimeBase:
    """Times from stamps of a time of day or an elapsed time, with the day from elsewhere.

    Parameters
    ----------
    part : Stamped
    date : Stamped or None
        A column of dates.
    number_dates : (Source, ndarray) or None
        A column of dates printed as numbers, and its days.
    european : bool
        The day stands before the month where the data cannot tell.
    notes : list of str
        How the date was read is added to it.
    """
    stamps, title = part.stamps, part.source.title
    minutes = _minutes_first(part)
    second = seconds(stamps, minutes_first=minutes)
    form = _clock_form(stamps, minutes)
    columns = {part.source.index: "time"}
    finite = second[np.isfinite(second)]
    rolls = stamps.two_part and minutes and len(finite) > 0 and float(finite.max()) < 3600
    period = 3600.0 if rolls else _DAY
    base = TimeBase(
        raw_s=second,
        columns=columns,
        form=f"{form} in column '{title}'",
        period_s=period if len(finite) and float(finite.max()) < period else math.nan,
        wall=not rolls,
    )
    day: FloatArray | None = None
    if date is not None:
        day, settled = _dated_days(date, european, notes)
        source_index, source_title = date.source.index, date.source.title
    elif number_dates is not None:
        day, settled = number_dates[1], True
        source_index, source_title = number_dates[0].index, number_dates[0].title
    if day is None:
        return base
    good = np.flatnonzero(np.isfinite(day) & np.isfinite(second))
    if not len(good):
        return base
    columns[source_index] = "date"
    first = good[0]
    known = np.where(np.isfinite(day), day, day[first])
    if settled:
        base.start = moment(day[first], second[first], math.nan)
        base.start_source = f"columns '{source_title}' and '{title}'"
        if len(np.unique(known)) > 1:
            base.raw_s = (known - day[first]) * _DAY + second
            base.period_s = math.nan
    base.form = f"{form} in column '{title}', date in column '{source_title}'"
    return base


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
    if (stamps.afternoon >= 0).any():
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


def number_dates(usable: Sequence[TimeSource]) -> tuple[TimeSource, FloatArray] | None:
    """A date printed as one number, 20240501, under a name that speaks of time."""
    for source in usable:
        values = source.numbers
        if values is None or not speaks_of_time(source):
            continue
        finite = values[np.isfinite(values)]
        if not len(finite) or not np.all((finite >= 19_700_101) & (finite <= 22_001_231)):
            continue
        if not np.all(finite == np.round(finite)):
            continue
        whole = np.where(np.isfinite(values), values, 0).astype(np.int64)
        year, month, day = whole // 10_000, whole // 100 % 100, whole % 100
        if not np.all((month[np.isfinite(values)] >= 1) & (month[np.isfinite(values)] <= 12)):
            continue
        out = np.full(len(values), np.nan)
        ok = np.isfinite(values) & (day >= 1) & (day <= 31)
        date = (year[ok] - 1970).astype("datetime64[Y]") + (month[ok] - 1).astype("timedelta64[M]")
        stamp = date.astype("datetime64[D]") + (day[ok] - 1).astype("timedelta64[D]")
        out[ok] = stamp.astype(np.int64)
        return source, out
    return None
