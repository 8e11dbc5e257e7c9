"""Which columns tell the time, in what form, and the raw seconds they give.

Numbers are judged by their size and their steps (a count of milliseconds, seconds since 1970, a
spreadsheet's days), stamps of text by their shape. The day and the month of a date are told
apart by the data; where they cannot be, the date is left out and said so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from telemetry.channels import Quantity
from telemetry.errors import UnreadableLog
from telemetry.importer.header import Reading
from telemetry.importer.names import Name
from telemetry.importer.settings import Setting
from telemetry.importer.stamps import Stamps, days, parse_stamps, seconds
from telemetry.importer.words import fold

FloatArray = NDArray[np.float64]
_DAY = 86400.0


@dataclass(slots=True, kw_only=True)
class Source:
    """One column as the time finder sees it.

    Attributes
    ----------
    index : int
    title : str
    name : Name
    readings : tuple of Reading
    numbers : ndarray or None
    text : pyarrow strings or None
    setting : Setting or None
    """

    index: int
    title: str
    name: Name
    readings: tuple[Reading, ...]
    numbers: FloatArray | None
    text: pa.ChunkedArray | None
    setting: Setting | None = None


@dataclass(slots=True, kw_only=True)
class TimeBase:
    """Raw times of the rows.

    Attributes
    ----------
    raw_s : ndarray
        Seconds on the file's clock, NaN where a row has none.
    columns : dict
        Index of each column used to what it gave ("time", "date", "fraction").
    form : str
        How time was read, in words.
    period_s : float
        After which the clock starts again by itself, NaN for never.
    wall : bool
        A local time of day.
    start : datetime or None
        Of the first row with a time; naive where the file names no zone.
    start_source : str
    notes : list of str
    """

    raw_s: FloatArray
    columns: dict[int, str]
    form: str
    period_s: float = math.nan
    wall: bool = False
    start: datetime | None = None
    start_source: str = ""
    notes: list[str] = field(default_factory=list)


def find_time(sources: Sequence[Source], *, european: bool) -> TimeBase | None:
    """Find the time of the rows.

    Parameters
    ----------
    sources : sequence of Source
        All columns of the file.
    european : bool
        True where decimal commas or the language speak for day before month.

    Returns
    -------
    TimeBase or None
        None where no column tells the time.

    Raises
    ------
    UnreadableLog
        Two columns would do and nothing tells which, or the unit of the time is open.
    """
    forced = [s for s in sources if s.setting is not None and s.setting.quantity is Quantity.TIME]
    usable = forced or [s for s in sources if s.setting is None]
    stamps = _stamp_sources(usable)
    date = next((p for p in stamps if p.has_date and not p.has_clock), None)
    full = [p for p in stamps if p.has_date and p.has_clock]
    clocks = [p for p in stamps if p.has_clock and not p.has_date]
    counters = _counters(usable, named_only=not forced)
    dates_of_numbers = _number_dates(usable) if date is None and not full else None
    order_notes: list[str] = []
    choices: list[TimeBase] = []
    for part in full:
        choices.append(_from_full(part, european, order_notes))
    for part in clocks:
        choices.append(_from_clock(part, date, dates_of_numbers, european, order_notes))
    for source in counters:
        found = _from_counter(source)
        if found is not None:
            choices.append(found)
    if not choices and not forced:
        choices = _unnamed(usable)
    if not choices:
        return None
    best = _best(choices)
    _add_fraction(best, usable)
    if best.start is None:
        dated = next((c for c in choices if c.start is not None), None)
        if dated is not None:
            best.start, best.start_source = dated.start, dated.start_source
            best.columns = {**dated.columns, **best.columns}
            best.notes.extend(n for n in dated.notes if n not in best.notes)
        elif date is not None:
            _start_of_day(best, date, european)
    best.notes.extend(n for n in order_notes if n not in best.notes)
    return best


@dataclass(slots=True)
class _Stamped:
    source: Source
    stamps: Stamps

    @property
    def has_date(self) -> bool:
        return self.stamps.has_date

    @property
    def has_clock(self) -> bool:
        return self.stamps.has_clock


def _stamp_sources(usable: Sequence[Source]) -> list[_Stamped]:
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
        ok = int((~whole.blank & ~whole.bad).sum())
        if ok and whole.bad.sum() <= 0.5 * ok and (whole.has_date or whole.has_clock):
            found.append(_Stamped(source, whole))
    return found


def day_order(stamps: Stamps, *, forced: str, european: bool) -> tuple[str, str]:
    """Whether the day or the month comes first, and why; ("", why) where nothing tells.

    Parameters
    ----------
    stamps : Stamps
    forced : str
        "dmy" or "mdy" from the user, "" otherwise.
    european : bool
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
    if european:
        return "dmy", "day before month: decimal commas or the language of the header speak for it"
    return "", ""


def _dated_days(part: _Stamped, european: bool, notes: list[str]) -> tuple[FloatArray, bool]:
    """Days of a date column, and whether the order of day and month is settled."""
    setting = part.source.setting
    dotted = _dotted(part)
    order, why = day_order(
        part.stamps,
        forced=setting.time_form if setting is not None else "",
        european=european or dotted,
    )
    if dotted and why.startswith("day before month: decimal"):
        why = "day before month: dates with dots"
    if why:
        notes.append(f"dates in column '{part.source.title}' are read {why}")
    if order:
        return days(part.stamps, order), True
    shown = _first_date(part.stamps)
    notes.append(
        f"the date {shown} in column '{part.source.title}' may be day or month first, so the log "
        f"has no certain date; settle it with --set '{part.source.title}=time[dmy]' or "
        f"'{part.source.title}=time[mdy]'"
    )
    return days(part.stamps, "dmy"), False


def _dotted(part: _Stamped) -> bool:
    text = part.source.text
    assert text is not None
    filled = np.flatnonzero(~part.stamps.blank & ~part.stamps.bad)
    sample = str(text[int(filled[0])].as_py()) if len(filled) else ""
    return sample[:6].count(".") >= 1


def _first_date(stamps: Stamps) -> str:
    i = int(np.flatnonzero(stamps.first >= 0)[0])
    return f"{stamps.first[i]:02d}/{stamps.second[i]:02d}/{stamps.year[i]}"


def _moment(day: float, second: float, zone_s: float) -> datetime | None:
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


def _from_full(part: _Stamped, european: bool, notes: list[str]) -> TimeBase:
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
    start = _moment(day[first], second[first], stamps.zone_s[first]) if settled else None
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


def _from_clock(
    part: _Stamped,
    date: _Stamped | None,
    number_dates: tuple[Source, FloatArray] | None,
    european: bool,
    notes: list[str],
) -> TimeBase:
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
        base.start = _moment(day[first], second[first], math.nan)
        base.start_source = f"columns '{source_title}' and '{title}'"
        if len(np.unique(known)) > 1:
            base.raw_s = (known - day[first]) * _DAY + second
            base.period_s = math.nan
    base.form = f"{form} in column '{title}', date in column '{source_title}'"
    return base


def _minutes_first(part: _Stamped) -> bool:
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


def _start_of_day(base: TimeBase, date: _Stamped, european: bool) -> None:
    """A date column beside an elapsed time: the day is known, the time of day is not."""
    notes: list[str] = []
    day, settled = _dated_days(date, european, notes)
    good = day[np.isfinite(day)]
    base.columns.setdefault(date.source.index, "date")
    if settled and len(good):
        moment = _moment(float(good[0]), 0.0, math.nan)
        base.start = moment
        base.start_source = f"column '{date.source.title}' (the day only)"
    base.notes.extend(notes)


def _number_dates(usable: Sequence[Source]) -> tuple[Source, FloatArray] | None:
    """A date printed as one number, 20240501, under a name that speaks of time."""
    for source in usable:
        values = source.numbers
        if values is None or not _speaks_of_time(source):
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


def _speaks_of_time(source: Source) -> bool:
    if source.setting is not None:
        return source.setting.quantity is Quantity.TIME
    if any(r.quantity is Quantity.TIME for r in source.readings[:1]):
        return True
    words = source.name.words
    unit = source.name.unit
    seconds_unit = unit is not None and unit.canonical == "s"
    symbol = len(words) == 1 and words[0].text.casefold() == "t"
    return seconds_unit and (symbol or not words)


def _counters(usable: Sequence[Source], *, named_only: bool) -> list[Source]:
    return [
        s
        for s in usable
        if s.numbers is not None
        and (not named_only or _speaks_of_time(s) or _is_bare_t(s))
        and np.isfinite(s.numbers).any()
    ]


def _is_bare_t(source: Source) -> bool:
    """A column called "t" whose values only grow."""
    words = source.name.words
    if not (len(words) == 1 and words[0].text.casefold() == "t" and source.name.unit is None):
        return False
    assert source.numbers is not None
    steps = np.diff(source.numbers[np.isfinite(source.numbers)])
    return len(steps) == 0 or float(np.mean(steps < 0)) <= 0.01


_UNIT_WORDS = {
    "milli": 1e-3, "msec": 1e-3, "ms": 1e-3, "micro": 1e-6, "mikro": 1e-6, "us": 1e-6,
    "usec": 1e-6, "nano": 1e-9,
}  # fmt: skip


def _named_factor(source: Source) -> tuple[float, str] | None:
    """Seconds per count as the setting, the unit or the name says, and its symbol."""
    form = source.setting.time_form if source.setting is not None else ""
    table = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "min": 60.0, "h": 3600.0}
    if form in table:
        return table[form], form
    unit = source.name.unit
    if unit is not None and unit.canonical in ("s", "us"):
        return (unit.factor if unit.canonical == "s" else 1e-6), unit.symbol
    for word in source.name.words:
        text = fold(word.text)
        for stem, factor in _UNIT_WORDS.items():
            if text.startswith(stem) and (len(stem) > 2 or text == stem):
                return factor, {1e-3: "ms", 1e-6: "us", 1e-9: "ns"}[factor]
        if text in ("ns",):
            return 1e-9, "ns"
    return None


def _from_counter(source: Source) -> TimeBase | None:
    values = source.numbers
    assert values is not None
    finite = values[np.isfinite(values)]
    steps = np.diff(finite)
    forward = steps[steps > 0]
    if len(finite) > 1 and not len(forward):
        return None
    if len(steps) and float(np.mean(steps < 0)) > 0.05:
        return None
    typical = float(np.median(forward)) if len(forward) else 1.0
    title = source.title
    form = source.setting.time_form if source.setting is not None else ""
    epoch = _epoch_factor(float(np.median(finite)), typical)
    if form == "epoch" or (form == "" and epoch is not None and _plain_epoch(source, typical)):
        return _epoch(source, values, epoch or 1.0)
    middle = float(np.median(finite))
    if form == "serial" or (
        form == ""
        and 30_000 < middle < 60_000
        and typical < 0.002
        and _speaks_of_time(source)
        and source.name.unit is None
    ):
        return _serial(source, values)
    named = _named_factor(source)
    notes: list[str] = []
    if named is not None:
        factor, symbol = named
        why = ""
    else:
        factor, symbol, why = _guess_factor(finite, typical, title)
    raw = _scale(values, factor)
    period = _counter_period(finite, factor)
    return TimeBase(
        raw_s=raw,
        columns={source.index: "time"},
        form=f"{_UNIT_NAMES[symbol]} in column '{title}'" + (f" ({why})" if why else ""),
        period_s=period,
        notes=notes,
    )


_UNIT_NAMES = {
    "s": "seconds", "ms": "milliseconds", "us": "microseconds", "ns": "nanoseconds",
    "min": "minutes", "h": "hours",
}  # fmt: skip


def _scale(values: FloatArray, factor: float) -> FloatArray:
    if factor == 1.0:
        return values
    inverse = round(1.0 / factor)
    if factor < 1.0 and abs(inverse * factor - 1.0) < 1e-12:
        return values / inverse
    return values * factor


def _guess_factor(finite: FloatArray, typical: float, title: str) -> tuple[float, str, str]:
    """Seconds per count of a time without a unit, judged by its steps.

    Telemetry rows come between a hundred a second and one in some ten seconds: whole counts that
    step by ten or more are milliseconds, by thousands microseconds.
    """
    whole = bool(np.all(finite[:5000] == np.round(finite[:5000])))
    shown = f"{typical:.6g}"
    if whole and typical >= 5000:
        return 1e-6, "us", f"no unit named; steps of {shown} speak for microseconds"
    if typical >= 10 and (whole or typical < 5000):
        return 1e-3, "ms", f"no unit named; steps of {shown} speak for milliseconds"
    if typical < 0.0005:
        raise UnreadableLog(
            f"the time column has no unit, and steps of {shown} may be minutes, hours or seconds",
            column=title,
            hint=f"settle it with --set '{title}=time[s]', time[min] or time[h]",
        )
    return 1.0, "s", f"no unit named; steps of {shown} speak for seconds"


def _counter_period(finite: FloatArray, factor: float) -> float:
    """Range of a counter of 16 or 32 bits that rolls over within the log, s; NaN for none."""
    if len(finite) < 2 or not np.any(np.diff(finite) < 0):
        return math.nan
    top = float(finite.max())
    for bits in (16, 32):
        size = 2.0**bits
        at = int(np.argmin(np.diff(finite)))
        if 0.9 * size < top < size and finite[at] > 0.9 * size and finite[at + 1] < 0.1 * size:
            return size * factor
    return math.nan


def _epoch_factor(middle: float, typical: float) -> float | None:
    for factor in (1.0, 1e-3, 1e-6, 1e-9):
        if 9e8 <= middle * factor < 4.2e9 and typical * factor <= 3600.0:
            return factor
    return None


def _plain_epoch(source: Source, typical: float) -> bool:
    """False where the unit named says that a big number only counts up."""
    named = _named_factor(source)
    values = source.numbers
    assert values is not None
    middle = float(np.nanmedian(values))
    epoch = _epoch_factor(middle, typical)
    if named is None or epoch is None:
        return True
    # "us" with 1.7e9 is a counter at 28 minutes; "s" or "ms" with 1.7e12 can only be a date.
    return abs(named[0] / epoch - 1.0) < 1e-9 or middle * named[0] > 9e8


def _epoch(source: Source, values: FloatArray, factor: float) -> TimeBase:
    first = float(values[np.flatnonzero(np.isfinite(values))[0]])
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=round(first * factor, 6))
    unit = {1.0: "seconds", 1e-3: "milliseconds", 1e-6: "microseconds"}.get(factor, "nanoseconds")
    return TimeBase(
        raw_s=_scale(values - first, factor),
        columns={source.index: "time"},
        form=f"{unit} since 1970 in column '{source.title}'",
        start=moment,
        start_source=f"column '{source.title}'",
    )


def _serial(source: Source, values: FloatArray) -> TimeBase:
    first = float(values[np.flatnonzero(np.isfinite(values))[0]])
    moment = datetime(1899, 12, 30) + timedelta(days=first)
    moment = moment.replace(microsecond=round(moment.microsecond, -3) % 1_000_000)
    return TimeBase(
        raw_s=np.round((values - first) * _DAY, 4),
        columns={source.index: "time"},
        form=f"days of a spreadsheet in column '{source.title}'",
        start=moment,
        start_source=f"column '{source.title}'",
    )


def _best(choices: list[TimeBase]) -> TimeBase:
    """The choice that runs back least and tells the rows apart best; in doubt the first."""

    def rank(base: TimeBase) -> tuple[float, float]:
        finite = base.raw_s[np.isfinite(base.raw_s)]
        steps = np.diff(finite)
        if not len(steps):
            return (0.0, -float(len(finite)))
        period = base.period_s
        back = steps < 0
        if math.isfinite(period):
            back &= ~(steps < -0.5 * period)
        distinct = float(np.mean(steps != 0))
        missing = 1.0 - len(finite) / len(base.raw_s)
        return (round(float(np.sum(back)) / len(steps) + missing, 3), -round(distinct, 1))

    return min(choices, key=rank)


def _unnamed(usable: Sequence[Source]) -> list[TimeBase]:
    """A column without a telling name that counts up from row to row like a clock."""
    found = []
    for source in usable:
        values = source.numbers
        if values is None or (source.name.words and any(w.meanings for w in source.name.words)):
            continue
        finite = values[np.isfinite(values)]
        steps = np.diff(finite)
        if len(steps) < 3 or np.any(steps < 0) or float(np.mean(steps > 0)) < 0.03:
            continue
        if np.all(steps == 1.0):
            continue  # a row number
        found.append((int(np.count_nonzero(steps)), source))
    found.sort(key=lambda item: -item[0])
    if not found or (len(found) > 1 and found[1][0] > 0.3 * found[0][0]):
        return []
    base = _from_counter(found[0][1])
    if base is None:
        return []
    base.form += "; the only column that grows from row to row"
    base.notes.append(f"no column is named as time; {base.form}")
    return [base]


def _add_fraction(base: TimeBase, usable: Sequence[Source]) -> None:
    """A column of milliseconds, 0 to 999, beside a clock of whole seconds."""
    raw = base.raw_s
    finite = raw[np.isfinite(raw)]
    if not len(finite) or np.any(finite[:5000] != np.round(finite[:5000])):
        return
    for source in usable:
        values = source.numbers
        if values is None or source.index in base.columns:
            continue
        named = _named_factor(source)
        inside = values[np.isfinite(values)]
        if named is None or named[0] >= 1.0 or not len(inside):
            continue
        if inside.min() < 0 or inside.max() * named[0] >= 1.0 or len(np.unique(inside)) < 3:
            continue
        finer = raw + np.where(np.isfinite(values), values, 0.0) * named[0]
        good = finer[np.isfinite(finer)]
        if float(np.mean(np.diff(good) < 0)) <= 0.01:
            base.raw_s = finer
            base.columns[source.index] = "fraction"
            base.form += f" and {_UNIT_NAMES[named[1]]} in column '{source.title}'"
            if base.start is not None:
                first = float(values[np.isfinite(values)][0]) * named[0]
                base.start = base.start + timedelta(seconds=round(first, 6))
            return
