"""Times that are numbers: seconds, milliseconds, a date since 1970, a spreadsheet's days."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from telemetry.importer.clock.scale import UNIT_NAMES, find_scale, open_scale
from telemetry.importer.clock.timesource import TimeBase, TimeSource, speaks_of_time
from telemetry.importer.names.settings import TIME_SCALES
from telemetry.importer.names.words import fold
from telemetry.model.unsettled import set_option

FloatArray = NDArray[np.float64]
_DAY = 86400.0


def counters(usable: Sequence[TimeSource], *, named_only: bool) -> list[TimeSource]:
    """Columns of numbers that may count the time.

    Parameters
    ----------
    usable : sequence of TimeSource
    named_only : bool
        True: only those whose name speaks of time.
    """
    return [
        s
        for s in usable
        if s.numbers is not None
        and (not named_only or speaks_of_time(s) or _is_bare_t(s))
        and np.isfinite(s.numbers).any()
    ]


def _is_bare_t(source: TimeSource) -> bool:
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


def named_factor(source: TimeSource) -> tuple[float, str] | None:
    """Seconds per count as the setting, the unit or the name says, and its symbol."""
    form = source.setting.time_form if source.setting is not None else ""
    if form in TIME_SCALES:
        return TIME_SCALES[form], form
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


def from_counter(
    source: TimeSource,
    beside: Sequence[TimeSource] = (),
    clocks: Sequence[FloatArray] = (),
    *,
    sure: bool = False,
) -> TimeBase | None:
    """Times from a column of numbers, None where it does not run like a clock.

    Parameters
    ----------
    source : TimeSource
    beside : sequence of TimeSource
        All columns of the file, which may tell what a count is worth.
    clocks : sequence of ndarray
        Seconds of the rows by other columns.
    sure : bool
        Ask also where a usual unit fits and a rarer one too.

    Raises
    ------
    UnreadableLog
        Nothing tells what a count is worth.
    """
    values = source.numbers
    assert values is not None
    finite = values[np.isfinite(values)]
    steps = np.diff(finite)
    forward = steps[steps > 0]
    if len(finite) > 1 and not len(forward):
        return None
    if np.count_nonzero(steps < 0) > max(3, 0.05 * len(steps)):
        return None
    typical = float(np.median(forward)) if len(forward) else 1.0
    title = source.title
    form = source.setting.time_form if source.setting is not None else ""
    middle = float(np.median(finite))
    epoch = _epoch_factor(middle, typical)
    if form == "epoch" or (form == "" and epoch is not None and _plain_epoch(source, typical)):
        return _epoch(source, values, epoch or 1.0)
    if form == "serial" or (
        form == ""
        and 30_000 < middle < 60_000
        and typical < 0.002
        and speaks_of_time(source)
        and source.name.unit is None
    ):
        return _serial(source, values)
    named = named_factor(source)
    notes: list[str] = []
    why = ""
    if named is not None:
        factor, symbol = named
    else:
        scale = find_scale(source, beside, clocks)
        factor, symbol, why = TIME_SCALES[scale.symbol], scale.symbol, f" ({scale.why})"
        if scale.rivals and sure and typical > 1.0:  # one a row is most likely one a second
            raise open_scale(source, (scale.symbol, *scale.rivals))
        if scale.rivals:
            settled = set_option(
                title,
                *(f"time[{s}]" for s in (scale.symbol, *scale.rivals)),
                number=source.index + 1,
            )
            notes.append(
                f"the time column '{title}' names no unit and is read as {UNIT_NAMES[symbol]}; "
                f"check the length of the log, and settle it with {settled}"
            )
    return TimeBase(
        raw_s=_scale(values, factor),
        columns={source.index: "time"},
        form=f"{UNIT_NAMES.get(symbol, symbol)} in column '{title}'{why}",
        period_s=_counter_period(finite, factor),
        notes=notes,
    )


def _scale(values: FloatArray, factor: float) -> FloatArray:
    if factor == 1.0:
        return values
    inverse = round(1.0 / factor)
    if factor < 1.0 and abs(inverse * factor - 1.0) < 1e-12:
        return values / inverse
    return values * factor


def _counter_period(finite: FloatArray, factor: float) -> float:
    """Range of a counter of 16 or 32 bits that rolls over within the log, s; NaN for none."""
    if len(finite) < 2 or not np.any(finite[1:] < finite[:-1]):
        return math.nan
    top = float(finite.max())
    for bits in (16, 32):
        size = 2.0**bits
        steps = np.diff(finite)
        at = int(np.argmin(steps))
        over, usual = size + float(steps[at]), float(np.median(steps[steps > 0]))
        near = 10.0 * usual  # it counted up to its end, and goes on from there
        if 0.9 * size < top < size and 0 < over <= near and at > 0 and 0 <= steps[at - 1] <= near:
            return size * factor
    return math.nan


def _epoch_factor(middle: float, typical: float) -> float | None:
    for factor in (1.0, 1e-3, 1e-6, 1e-9):
        if 9e8 <= middle * factor < 4.2e9 and typical * factor <= 3600.0:
            return factor
    return None


def _plain_epoch(source: TimeSource, typical: float) -> bool:
    """False where the unit named says that a big number only counts up."""
    named = named_factor(source)
    values = source.numbers
    assert values is not None
    middle = float(np.nanmedian(values))
    epoch = _epoch_factor(middle, typical)
    if named is None or epoch is None:
        return True
    # "us" with 1.7e9 is a counter at 28 minutes; "s" or "ms" with 1.7e12 can only be a date.
    return abs(named[0] / epoch - 1.0) < 1e-9 or middle * named[0] > 9e8


def _epoch(source: TimeSource, values: FloatArray, factor: float) -> TimeBase:
    first = float(values[np.flatnonzero(np.isfinite(values))[0]])
    moment = _later(datetime(1970, 1, 1, tzinfo=UTC), first * factor)
    unit = {1.0: "seconds", 1e-3: "milliseconds", 1e-6: "microseconds"}.get(factor, "nanoseconds")
    return TimeBase(
        raw_s=_scale(values - first, factor),
        columns={source.index: "time"},
        form=f"{unit} since 1970 in column '{source.title}'",
        start=moment,
        start_source=f"column '{source.title}'" if moment is not None else "",
    )


def _later(origin: datetime, seconds: float) -> datetime | None:
    """A moment so many seconds after another, None where no calendar reaches."""
    try:
        return origin + timedelta(seconds=round(seconds, 6))
    except OverflowError:
        return None


def _serial(source: TimeSource, values: FloatArray) -> TimeBase:
    first = float(values[np.flatnonzero(np.isfinite(values))[0]])
    # To the millisecond: a double holds days of this century to about a microsecond.
    moment = _later(datetime(1899, 12, 30), round(first * _DAY, 3))
    return TimeBase(
        raw_s=np.round((values - first) * _DAY, 4),
        columns={source.index: "time"},
        form=f"days of a spreadsheet in column '{source.title}'",
        start=moment,
        start_source=f"column '{source.title}'" if moment is not None else "",
    )
