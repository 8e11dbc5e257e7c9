"""Which columns tell the time, in what form, and the raw seconds they give.

Numbers are judged by their size and their steps (a count of milliseconds, seconds since 1970, a
spreadsheet's days), stamps of text by their shape. The day and the month of a date are told
apart by the data; where they cannot be, the date is left out and said so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import timedelta

import numpy as np

from telemetry.importer.clock.counters import counters, from_counter, named_factor
from telemetry.importer.clock.dates import preamble_date
from telemetry.importer.clock.scale import UNIT_NAMES
from telemetry.importer.clock.stamps import ORDERS
from telemetry.importer.clock.timesource import TimeBase, TimeSource
from telemetry.importer.clock.wallclock import (
    from_stamps,
    stamped_sources,
    start_of_day,
)
from telemetry.model.channels import Quantity
from telemetry.model.errors import UnreadableLog

#: A column with a name that tells nothing is a clock only where this part of its steps is about
#: the usual one (heuristic).
_REGULAR = 0.6


def find_time(sources: Sequence[TimeSource], *, european: bool) -> TimeBase | None:
    """Find the time of the rows.

    Parameters
    ----------
    sources : sequence of TimeSource
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
    # Of a date the order alone may be set; the clock is then where it was.
    ordered = all(s.setting is not None and s.setting.time_form in ORDERS for s in forced)
    usable = [s for s in sources if any(s is f for f in forced) or (ordered and s.setting is None)]
    stamps = stamped_sources(usable)
    date = next((p for p in stamps if p.has_date and not p.has_clock), None)
    full = [p for p in stamps if p.has_date and p.has_clock]
    clocks = [p for p in stamps if p.has_clock and not p.has_date]
    counted = counters(usable, named_only=ordered)
    order_notes: list[str] = []
    choices: list[TimeBase] = []
    for part in [*full, *clocks]:
        choices.append(from_stamps(part, date, european, order_notes))
    taken = {i for p in stamps for i in (p.columns or {p.source.index: ""})}
    open_: UnreadableLog | None = None
    # Those whose unit is named first: they tell what the others count.
    for source in sorted(counted, key=lambda s: named_factor(s) is None):
        if source.index in taken:
            continue
        try:
            found = from_counter(source, sources, [c.raw_s for c in choices])
        except UnreadableLog as error:
            open_ = open_ or error
            continue
        if found is not None:
            choices.append(found)
    if open_ is not None and not choices:
        raise open_
    if not choices and ordered:
        choices = _unnamed(usable, sources)
    if not choices and forced:
        raise UnreadableLog(
            "this column is set as the time, but does not read as one",
            column=forced[0].title,
            hint="check it with 'busbook columns', or set another one",
        )
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
            start_of_day(best, date, european)
    best.notes.extend(n for n in order_notes if n not in best.notes)
    return best


def start_from_preamble(
    base: TimeBase, preamble: Sequence[tuple[str, str]], *, european: bool
) -> None:
    """Complete the start of a log whose columns have no date from the lines before the header.

    Parameters
    ----------
    base : TimeBase
        Changed in place.
    preamble : sequence of (str, str)
    european : bool
    """
    found = preamble_date(preamble, european=european)
    if found is None:
        return
    dated, source = found
    if dated.why:
        base.notes.append(f"the date {dated.why} ({source})")
    finite = base.raw_s[np.isfinite(base.raw_s)]
    first = float(finite[0]) if len(finite) else math.nan
    midnight = dated.moment.replace(hour=0, minute=0, second=0, microsecond=0)
    # A clock that does not begin near zero shows the time of day.
    of_day = base.wall and first >= 300.0
    if of_day:
        base.start, base.day_only = midnight + timedelta(seconds=round(first, 6)), False
        base.start_source = f"{source} and the clock"
    elif dated.has_time:
        base.start, base.day_only, base.start_source = dated.moment, False, source
    elif base.start is None:
        base.start, base.day_only = midnight, True
        base.start_source = f"{source} (the day only)"


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


def _unnamed(usable: Sequence[TimeSource], sources: Sequence[TimeSource]) -> list[TimeBase]:
    """The first column, without a telling name, that counts up from row to row like a clock."""
    for source in usable:
        values = source.numbers
        if values is None or (source.name.words and any(w.meanings for w in source.name.words)):
            continue
        steps = np.diff(values[np.isfinite(values)])
        counts_rows = source.name.unit is None and np.all(steps == 1.0)
        if len(steps) < 3 or counts_rows or np.all(steps == 0.0):
            continue  # a row number, or nothing that moves
        forward = steps[steps > 0]
        if np.any(steps < 0) or len(forward) < 0.03 * len(steps):
            return []
        usual = float(np.median(forward))
        regular = np.mean((forward > 0.5 * usual) & (forward < 1.5 * usual)) >= _REGULAR
        if source.name.words and not regular:
            return []
        base = from_counter(source, sources, sure=True)
        if base is None:
            return []
        base.form += "; the first column, and it grows from row to row"
        base.notes.append(f"no column is named as time; {base.form}")
        return [base]
    return []


def _add_fraction(base: TimeBase, usable: Sequence[TimeSource]) -> None:
    """A column of milliseconds, 0 to 999, beside a clock of whole seconds."""
    raw = base.raw_s
    finite = raw[np.isfinite(raw)]
    if not len(finite) or np.any(finite[:5000] != np.round(finite[:5000])):
        return
    for source in usable:
        values = source.numbers
        if values is None or source.index in base.columns:
            continue
        named = named_factor(source)
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
            base.form += f" and {UNIT_NAMES.get(named[1], named[1])} in column '{source.title}'"
            if base.start is not None:
                first = float(values[np.isfinite(values)][0]) * named[0]
                base.start = base.start + timedelta(seconds=round(first, 6))
            return
