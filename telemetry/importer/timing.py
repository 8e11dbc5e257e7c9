"""When the rows of a sheet were written: by a column, by several together, or as the user says."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from telemetry.importer.clock.timebase import find_time, start_from_preamble
from telemetry.importer.clock.timesource import TimeBase, TimeSource
from telemetry.importer.names.columns import LogColumn
from telemetry.importer.sheet import Sheet, turn_round
from telemetry.model.channels import Quantity
from telemetry.model.errors import UnreadableLog
from telemetry.model.unsettled import set_option


def time_base(sheet: Sheet, row_interval_s: float | None) -> TimeBase:
    """The raw times of a sheet's rows.

    Parameters
    ----------
    sheet : Sheet
    row_interval_s : float or None
        Fixed by the user, s.

    Raises
    ------
    UnreadableLog
        No column tells the time, or not without guessing.
    """
    rows = sheet.table.rows
    if row_interval_s is not None:
        if not (math.isfinite(row_interval_s) and row_interval_s > 0):
            raise UnreadableLog(
                f"a row interval of {row_interval_s} s is impossible",
                hint="give the seconds from one row to the next, for example 0.1",
            )
        return TimeBase(
            raw_s=np.arange(rows, dtype=np.float64) * np.float64(row_interval_s),
            columns={},
            form=f"a fixed {row_interval_s:g} s from row to row, as you set it",
        )
    problem: UnreadableLog | None = None
    try:
        base = _find_time(sheet)
    except UnreadableLog as error:
        base, problem = None, error
    if base is None or _runs_back(base):
        base = _newest_first(sheet) or base
    if base is None and problem is not None:
        raise problem
    if base is None:
        seen = ", ".join(f"'{c.title}'" for c in sheet.columns[:12])
        interval = "give the seconds from row to row, for example --row-interval 0.1"
        named = [set_option(c.title, "time[s]", number=c.index + 1) for c in _that_count(sheet)]
        raise UnreadableLog(
            f"no time column found among {seen}",
            hint=" or ".join(named[:3]) + (" if that is the time, or " if named else "") + interval,
        )
    if base.start is None or base.day_only:
        start_from_preamble(base, sheet.layout.preamble, european=_european(sheet))
    for column in sheet.columns:
        column.time_role = base.columns.get(column.index, "")
    return base


def _that_count(sheet: Sheet) -> list[LogColumn]:
    """Columns that count up from row to row, and are named nothing that is measured."""
    found = []
    for column in sheet.columns:
        values = column.numbers
        if any(r.place or r.unit for r in column.readings):
            continue
        steps = np.diff(values[np.isfinite(values)]) if values is not None else np.empty(0)
        if len(steps) and np.all(steps > 0):
            found.append(column)
    return found


def _find_time(sheet: Sheet) -> TimeBase | None:
    used = sheet.long.positions if sheet.long is not None else frozenset()
    columns = [c for i, c in enumerate(sheet.columns) if i not in used]
    return find_time(_sources(columns), european=_european(sheet))


def _runs_back(base: TimeBase) -> bool:
    """True where most steps of the time are steps back."""
    steps = np.diff(base.raw_s[np.isfinite(base.raw_s)])
    return int(np.count_nonzero(steps < 0)) > int(np.count_nonzero(steps > 0))


def _newest_first(sheet: Sheet) -> TimeBase | None:
    """The time of rows that stand newest first, which are turned round; None for others.

    A time that falls while a charge grows counts down.
    """
    drawn = [
        c.shape
        for c in sheet.columns
        if any(r.quantity is Quantity.CONSUMED and r.score >= 0.5 for r in c.readings)
    ]
    if any(s.only_grows for s in drawn):
        return None
    turn_round(sheet)
    try:
        base = _find_time(sheet)
    except UnreadableLog:
        base = None
    if base is None or _runs_back(base) or not base.columns:
        turn_round(sheet)
        return None
    base.notes.append("the rows stand newest first and were turned round")
    return base


def _sources(columns: Sequence[LogColumn]) -> list[TimeSource]:
    return [
        TimeSource(
            index=c.index,
            title=c.title,
            name=c.apart if c.apart.unit is not None else replace(c.apart, unit=c.cell_unit),
            readings=c.readings,
            numbers=c.numbers,
            text=c.text,
            setting=c.setting,
        )
        for c in columns
        if not c.blank
    ]


def _european(sheet: Sheet) -> bool:
    """Decimal commas, or words in the header that are not English, speak for day before month."""
    if sheet.decimal == ",":
        return True
    return any(not name.isascii() and any(c.isalpha() and ord(c) > 127 for c in name)
               for name in sheet.layout.names)  # fmt: skip
