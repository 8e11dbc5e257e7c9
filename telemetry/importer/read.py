"""read_log: the one entry. sheet -> clock -> (long to wide) -> readings -> Log."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from telemetry.importer.clock.axis import Unrolled, spread, unroll
from telemetry.importer.clock.timesource import TimeBase
from telemetry.importer.columnmap import ColumnMap, fingerprint
from telemetry.importer.heads import packs_in
from telemetry.importer.long import pivot
from telemetry.importer.names.columns import LogColumn, Resolved
from telemetry.importer.names.resolve import resolve
from telemetry.importer.names.settings import TIME_SCALES
from telemetry.importer.sheet import Sheet, apply_settings, at_path, read_sheet
from telemetry.importer.timing import time_base
from telemetry.importer.wording import count
from telemetry.model.errors import BusbookError, UnreadableLog
from telemetry.model.log import Log, Provenance
from telemetry.model.unsettled import set_option

FloatArray = NDArray[np.float64]

#: Rows further apart than this tell nothing of a flight, s (heuristic).
_SLOWEST_S = 3600.0


def read_log(
    path: str | Path,
    *,
    settings: Mapping[str, str] | None = None,
    row_interval_s: float | None = None,
    column_maps: Sequence[ColumnMap] = (),
) -> Log:
    """Read one generic CSV telemetry log.

    Parameters
    ----------
    path : path
    settings : mapping of str to str, optional
        Column to "place/quantity[unit]", see `telemetry.importer.names.settings`; also
        "@separator", "@decimal" and "@encoding".
    row_interval_s : float, optional
        Time from row to row, s, for a file without a time column (or instead of it).
    column_maps : sequence of ColumnMap
        Saved decisions; the first whose header is this file's is used. ``settings`` go before.

    Returns
    -------
    Log

    Raises
    ------
    UnreadableLog
        The file is no log, or cannot be read without guessing.
    UnknownSetting
        A setting is not understood.
    """
    # The absurd numbers of a broken file may overflow; what does is no value.
    with np.errstate(over="ignore", invalid="ignore"):
        sheet = read_sheet(path, settings=settings or {}, column_maps=column_maps)
        try:
            return _assemble(sheet, row_interval_s)
        except UnreadableLog as error:
            raise at_path(error, sheet.path) from None


def read_log_in(folder: Path, path: str | Path, **how: Any) -> Log:
    """As :func:`read_log`, with a relative path beginning at a folder; the log keeps its name.

    For a worker whose own working folder is another.

    Parameters
    ----------
    folder : Path
        Absolute.
    path : path
    **how
        Keywords of :func:`read_log`.
    """
    full = Path(folder, path)
    try:
        log = read_log(full, **how)
    except BusbookError as error:
        if error.path == str(full):
            error.path = str(path)
        raise
    return replace(log, provenance=replace(log.provenance, file=str(path)))


def _assemble(sheet: Sheet, row_interval_s: float | None) -> Log:
    base = time_base(sheet, row_interval_s)
    empty = _empty_rows(sheet) if not np.isfinite(base.raw_s).all() else None
    times = unroll(
        base.raw_s,
        period_s=base.period_s,
        wall=base.wall,
        breaks=sheet.table.breaks,
        empty=empty,
        spread_rows=sheet.long is None,
    )
    _refuse_timeless(times, _clock_title(sheet, base))
    read_rows = len(times.time_s)
    columns = sheet.columns
    if sheet.long is not None:
        columns, times = widen(sheet, base, times)
    refuse_all_blank(columns)
    _refuse_slow(times.time_s, _clock_title(sheet, base))
    resolved = resolve(columns, sheet.notes, time_s=as_in_the_file(times, columns))
    log = _log(sheet, base, times, columns, resolved)
    return replace(log, provenance=replace(log.provenance, rows=read_rows))


def as_in_the_file(times: Unrolled, columns: Sequence[LogColumn]) -> FloatArray:
    """Times of the rows in the order in which the columns have them, NaN where one has none.

    Parameters
    ----------
    times : Unrolled
    columns : sequence of LogColumn
    """
    if times.rows is None:
        return times.time_s
    rows = next((len(c.numbers) for c in columns if c.numbers is not None), len(times.time_s))
    out = np.full(max(rows, int(times.rows.max()) + 1), np.nan)
    out[times.rows] = times.time_s
    return out


def _clock_title(sheet: Sheet, base: TimeBase) -> str | None:
    """The column that tells the time, None where there is none."""
    return next((c.title for c in sheet.columns if base.columns.get(c.index) == "time"), None)


def _refuse_timeless(times: Unrolled, clock: str | None) -> None:
    if not len(times.time_s):
        raise UnreadableLog(
            "no row has a readable time",
            column=clock,
            hint="give the seconds from row to row, for example --row-interval 0.1",
        )


def _refuse_slow(time_s: FloatArray, clock: str | None) -> None:
    step_s = float(np.median(np.diff(time_s))) if len(time_s) > 1 else 0.0
    if step_s > _SLOWEST_S:
        # In which unit would the rows come about as fast as those of telemetry?
        unit = min(("ms", "us", "ns"), key=lambda u: abs(math.log(step_s * TIME_SCALES[u] / 0.1)))
        told = (
            f"if the time has another unit, settle it: {set_option(clock or '', f'time[{unit}]')}"
        )
        raise UnreadableLog(
            f"the rows are {step_s / 3600:,.0f} hours apart: this is no telemetry of a flight",
            hint=told if clock else "give a shorter --row-interval",
        )


def refuse_all_blank(columns: Sequence[LogColumn]) -> None:
    """Raise UnreadableLog where no column but the time holds a value."""
    if not any(not c.blank and not c.time_role for c in columns):
        raise UnreadableLog(
            "every value is blank, only the time is there",
            hint="check that the sensors were recorded",
        )


def widen(sheet: Sheet, base: TimeBase, times: Unrolled) -> tuple[list[LogColumn], Unrolled]:
    """A long table's columns and times, one row for each instant.

    Parameters
    ----------
    sheet : Sheet
        Its ``long`` is set.
    base : TimeBase
    times : Unrolled
        Of the long rows, rows with the same time not spread.

    Raises
    ------
    UnreadableLog
        No row has a readable time.

    Returns
    -------
    columns : list of LogColumn
        The clock's columns, then one for each series.
    times : Unrolled
    """
    assert sheet.long is not None
    _refuse_timeless(times, _clock_title(sheet, base))
    clock = [c for c in sheet.columns if c.index in base.columns]
    columns = [_take(c, times.rows) for c in sheet.columns]
    wide = pivot(columns, sheet.long, times.time_s)
    for column in wide.columns:
        column.index += len(sheet.columns)
    apply_settings(wide.columns, sheet.settings, rest=False)
    used = sheet.long.positions
    for i, column in enumerate(sheet.columns):
        if i not in used and column.index not in base.columns and not column.blank:
            sheet.notes.append(f"column '{column.title}' of the long table is not used")
    starts = tuple(int(wide.row_of[s]) for s in times.starts)
    out = replace(times, rows=None, starts=starts)
    out.time_s = spread(times.time_s[wide.first], out)
    ends = [*starts[1:], len(out.time_s)]
    out.recordings = tuple(
        (float(out.time_s[a]), float(out.time_s[b - 1])) for a, b in zip(starts, ends, strict=True)
    )
    return [*clock, *wide.columns], out


def _take(column: LogColumn, rows: NDArray[np.int64] | None) -> LogColumn:
    if rows is None:
        return column
    return replace(
        column,
        numbers=None if column.numbers is None else column.numbers[rows],
        text=None if column.text is None else column.text.take(pa.array(rows)),
    )


def _empty_rows(sheet: Sheet) -> NDArray[np.bool_]:
    empty = np.ones(sheet.table.rows, dtype=bool)
    for column in sheet.columns:
        if column.numbers is not None:
            empty &= ~np.isfinite(column.numbers)
        elif column.text is not None and not column.time_role:
            filled = pc.greater(pc.utf8_length(pc.utf8_trim_whitespace(column.text)), 0)
            empty &= ~np.asarray(filled.fill_null(False).to_numpy(), dtype=bool)
    return empty


def _start(base: TimeBase, times: Unrolled) -> str | None:
    """When the log begins, by the clock as it was once it had been set."""
    start = base.start
    if start is None:
        return None
    known = base.raw_s[np.isfinite(base.raw_s)]
    late_s = times.clock_s - float(known[0]) if len(known) else 0.0
    if abs(late_s) >= 1e-6:
        start += timedelta(seconds=round(late_s, 6))
    return start.date().isoformat() if base.day_only else start.isoformat()


def _log(
    sheet: Sheet,
    base: TimeBase,
    times: Unrolled,
    columns: Sequence[LogColumn],
    resolved: Sequence[Resolved],
) -> Log:
    keep = times.rows
    index = pd.Index(times.time_s, name="time_s", dtype="float64")
    numbers: dict[str, FloatArray] = {}
    words: dict[str, object] = {}
    for column, item in zip(columns, resolved, strict=True):
        if item.values is not None:
            numbers[item.channel.key] = item.values if keep is None else item.values[keep]
        elif item.channel.text and not column.time_role and not column.blank:
            if column.setting is not None and column.setting.ignore:
                continue
            assert column.text is not None
            kept = column.text if keep is None else column.text.take(pa.array(keep))
            words[item.channel.key] = kept.to_pandas().to_numpy()
    frame = pd.DataFrame(numbers, index=index, copy=False)
    text = pd.DataFrame(words, index=index, dtype="object")
    refused = sorted(
        [*sheet.table.refused, *((sheet.table.line_of(r), why) for r, why in times.refused)]
    )
    notes = [*base.notes, *times.notes, *sheet.notes]
    if refused:
        line, why = refused[0]
        notes.append(
            f"{count(len(refused), 'row')} could not be kept, first at line {line:,} ({why})"
        )
    steps = np.diff(times.time_s)
    provenance = Provenance(
        file=sheet.path,
        sha256=sheet.text.sha256,
        size_bytes=sheet.text.size_bytes,
        rows=len(times.time_s),
        rows_refused=len(refused),
        refused_lines=tuple(line for line, _ in refused[:20]),
        encoding=sheet.text.encoding,
        separator=sheet.separator,
        decimal=sheet.decimal,
        layout="wide" if sheet.long is None else "long",
        header_line=sheet.layout.header_line,
        header=fingerprint(sheet.layout),
        start=_start(base, times),
        start_source=base.start_source,
        clock_s=times.clock_s,
        time_form=base.form,
        row_s=float(np.median(steps)) if len(steps) else math.nan,
        recordings=times.recordings,
        preamble=sheet.layout.preamble,
        packs=packs_in((*sheet.layout.preamble, *_of_one_word(text, resolved))),
        notes=tuple(dict.fromkeys(notes)),
    )
    return Log(
        frame=frame,
        channels=tuple(item.channel for item in resolved),
        provenance=provenance,
        text=text,
    )


def _of_one_word(text: pd.DataFrame, resolved: Sequence[Resolved]) -> list[tuple[str, str]]:
    """Name and word of each column that says one and the same in all rows."""
    found = []
    for item in resolved:
        if item.channel.key in text.columns:
            said = {str(one).strip() for one in text[item.channel.key].unique() if one is not None}
            if len(said - {""}) == 1:
                found.append((item.channel.column, (said - {""}).pop()))
    return found
