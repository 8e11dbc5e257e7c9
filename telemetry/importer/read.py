"""read_log: the one entry, the stages in order.

bytes -> text -> dialect -> layout -> columns -> clock -> readings -> Log
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from telemetry.errors import UnreadableLog
from telemetry.importer.clock import Unrolled, unroll
from telemetry.importer.columnmap import ColumnMap, fingerprint
from telemetry.importer.columns import Column, Resolved, make_column, resolve, titles
from telemetry.importer.dialect import find_decimal, find_separator, take_sample
from telemetry.importer.evidence import shape_of
from telemetry.importer.layout import Layout, find_layout, header_only
from telemetry.importer.settings import file_settings, find_column, parse_setting
from telemetry.importer.table import RawTable, read_table
from telemetry.importer.text import Text, load
from telemetry.importer.timebase import Source, TimeBase, find_time
from telemetry.importer.values import to_numbers
from telemetry.log import Log, Provenance

FloatArray = NDArray[np.float64]


@dataclass(slots=True, kw_only=True)
class Sheet:
    """A file parsed into columns, before the clock and the readings are settled.

    Attributes
    ----------
    path : str
    text : Text
    separator, decimal : str
    layout : Layout
    table : RawTable
    columns : list of Column
    notes : list of str
    """

    path: str
    text: Text
    separator: str
    decimal: str
    layout: Layout
    table: RawTable
    columns: list[Column]
    notes: list[str] = field(default_factory=list)


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
        Column to "place/quantity[unit]", see `telemetry.importer.settings`; also "@separator",
        "@decimal" and "@encoding".
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
    sheet = read_sheet(path, settings=settings or {}, column_maps=column_maps)
    try:
        return _assemble(sheet, row_interval_s)
    except UnreadableLog as error:
        raise _at(error, sheet.path) from None


def read_sheet(
    path: str | Path,
    *,
    settings: Mapping[str, str],
    column_maps: Sequence[ColumnMap] = (),
) -> Sheet:
    """Parse a file into columns of numbers and words.

    Parameters
    ----------
    path, settings, column_maps
        As for `read_log`.

    Returns
    -------
    Sheet
    """
    forced = file_settings(settings)
    text = load(path, encoding=forced.get("@encoding"))
    try:
        return _parse(str(path), text, forced, settings, column_maps)
    except UnreadableLog as error:
        raise _at(error, str(path)) from None


def _at(error: UnreadableLog, path: str) -> UnreadableLog:
    return UnreadableLog(
        error.what,
        path=error.path or path,
        line=error.line,
        column=error.column,
        hint=error.hint,
    )


def _parse(
    path: str,
    text: Text,
    forced: Mapping[str, str],
    settings: Mapping[str, str],
    column_maps: Sequence[ColumnMap],
) -> Sheet:
    sample = take_sample(text.data)
    if not any(line.strip() for line in sample.head):
        raise UnreadableLog("the file holds only blank lines", hint="copy it again")
    separator = forced.get("@separator") or find_separator(sample)[0]
    layout = find_layout(sample.head, sample.later, separator) if separator else None
    if layout is None:
        _refuse_table(sample.head)
    assert layout is not None
    decimal = forced.get("@decimal") or find_decimal(layout.rows, separator)
    table = read_table(text.data, layout, separator, decimal)
    if table.rows == 0:
        raise UnreadableLog(
            "the file has a header but no row that could be read", hint="copy it again"
        )
    columns, notes = _columns(layout, table, decimal)
    _apply_settings(columns, layout, settings, column_maps, notes)
    return Sheet(
        path=path,
        text=text,
        separator=separator,
        decimal=decimal,
        layout=layout,
        table=table,
        columns=columns,
        notes=[*text.notes, *layout.notes, *table.notes, *notes],
    )


def _refuse_table(head: Sequence[str]) -> None:
    """Say why there is no table: a header alone, one column, or no values at all."""
    for separator in (";", "\t", "|", ",", "  "):
        if header_only(head, separator):
            rows = [line for line in head if line.strip()]
            blank = len(rows) > 1 and not any(ch.isalnum() for line in rows[1:] for ch in line)
            if blank:
                raise UnreadableLog(
                    "every value is blank", hint="check that the sensors were recorded"
                )
            raise UnreadableLog(
                "the file has a header but no rows of data",
                hint="check that the recording was started, or copy the file again",
            )
    raise UnreadableLog(
        "the file has only one column (looked for , ; | tab and blanks between values)",
        hint="export the log with its time and values side by side",
    )


def _columns(layout: Layout, table: RawTable, decimal: str) -> tuple[list[Column], list[str]]:
    notes: list[str] = []
    names = list(layout.names) if layout.names else [""] * layout.fields
    units = layout.units or ("",) * layout.fields
    sensors = layout.sensors or ("",) * layout.fields
    columns = []
    empty_tail = 0
    for i, (name, title) in enumerate(zip(names, titles(names), strict=True)):
        column = make_column(i, name, title, units[i], sensors[i])
        raw = table.columns[i]
        if isinstance(raw, np.ndarray):
            column.numbers = _finite(raw)
        else:
            _read_text(column, raw, decimal, table, notes)
        column.blank = _is_blank(column)
        if column.blank and not name.strip():
            empty_tail += 1
            continue
        column.shape = shape_of(column.numbers) if column.numbers is not None else column.shape
        columns.append(column)
    if empty_tail:
        notes.append(
            f"{empty_tail} column{'s' if empty_tail > 1 else ''} without a name and without a "
            f"value left out"
        )
    if all(c.blank for c in columns):
        raise UnreadableLog("every value is blank", hint="check that the sensors were recorded")
    return columns, notes


def _finite(values: FloatArray) -> FloatArray:
    """Infinities that a logger prints ("inf") are no values."""
    if len(values) and not math.isfinite(float(np.nansum(values))):
        values = np.where(np.isfinite(values), values, np.nan)
    return values


def _read_text(
    column: Column, raw: pa.ChunkedArray, decimal: str, table: RawTable, notes: list[str]
) -> None:
    numbers = to_numbers(raw, decimal)
    if numbers is None:
        column.text = raw
        return
    column.numbers = numbers.values
    column.cell_unit = numbers.unit
    if numbers.lost:
        notes.append(
            f"{numbers.lost:,} of {table.rows:,} values in column '{column.title}' are no "
            f"numbers and were lost, first at line {table.line_of(numbers.first_lost):,} "
            f"('{numbers.lost_text[:40]}')"
        )


def _is_blank(column: Column) -> bool:
    if column.numbers is not None:
        return not bool(np.isfinite(column.numbers).any())
    assert column.text is not None
    from telemetry.importer.cells import is_blank

    return all(is_blank(t or "") for t in pc.unique(column.text).slice(0, 50).to_pylist())


def _apply_settings(
    columns: list[Column],
    layout: Layout,
    settings: Mapping[str, str],
    column_maps: Sequence[ColumnMap],
    notes: list[str],
) -> None:
    mark = fingerprint(layout)
    saved = next((m for m in column_maps if m.fingerprint == mark), None)
    all_titles = [c.title for c in columns]
    all_names = [c.name for c in columns]
    by_index = {c.index: c for c in columns}
    if saved is not None:
        notes.append(f"columns are read by the saved column map '{saved.name}'")
        for key, value in saved.readings.items():
            if key in all_titles:
                column = columns[all_titles.index(key)]
                column.setting = parse_setting(value, key)
                column.setting_from = f"by the saved column map '{saved.name}'"
    for key, value in settings.items():
        if key.startswith("@"):
            continue
        number = int(key[1:]) - 1 if key[:1] == "#" and key[1:].isdigit() else None
        if number is not None and key not in all_titles and number in by_index:
            column = by_index[number]
        else:
            column = columns[find_column(key, all_titles, all_names)]
        column.setting = parse_setting(value, key)
        column.setting_from = ""


def _assemble(sheet: Sheet, row_interval_s: float | None) -> Log:
    notes = sheet.notes
    base = time_base(sheet, row_interval_s)
    for column in sheet.columns:
        column.time_role = base.columns.get(column.index, "")
    empty = _empty_rows(sheet) if not np.isfinite(base.raw_s).all() else None
    times = unroll(
        base.raw_s,
        period_s=base.period_s,
        wall=base.wall,
        breaks=sheet.table.breaks,
        empty=empty,
    )
    if not len(times.time_s):
        raise UnreadableLog(
            "no row has a readable time", hint="name the time column with --set 'COLUMN=time[...]'"
        )
    resolved = resolve(sheet.columns, notes)
    return _log(sheet, base, times, resolved)


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
            raw_s=np.arange(rows) * row_interval_s,
            columns={},
            form=f"a fixed {row_interval_s:g} s from row to row, as you set it",
        )
    base = find_time(_sources(sheet.columns), european=_european(sheet))
    if base is None:
        seen = ", ".join(f"'{c.title}'" for c in sheet.columns[:12])
        raise UnreadableLog(
            f"no time column found among {seen}",
            hint="name it with --set 'COLUMN=time[s]', or give the seconds between rows with "
            "--row-interval",
        )
    return base


def _sources(columns: Sequence[Column]) -> list[Source]:
    return [
        Source(
            index=c.index,
            title=c.title,
            name=c.apart,
            readings=c.readings,
            numbers=c.numbers,
            text=c.text,
            setting=c.setting,
        )
        for c in columns
        if not c.blank
    ]


_ENGLISH = frozenset({"time", "date", "voltage", "current", "battery", "temperature", "speed"})


def _european(sheet: Sheet) -> bool:
    """Decimal commas, or words in the header that are not English, speak for day before month."""
    if sheet.decimal == ",":
        return True
    return any(not name.isascii() and any(c.isalpha() and ord(c) > 127 for c in name)
               for name in sheet.layout.names)  # fmt: skip


def _empty_rows(sheet: Sheet) -> NDArray[np.bool_]:
    empty = np.ones(sheet.table.rows, dtype=bool)
    for column in sheet.columns:
        if column.numbers is not None:
            empty &= ~np.isfinite(column.numbers)
        elif column.text is not None and not column.time_role:
            filled = pc.greater(pc.utf8_length(pc.utf8_trim_whitespace(column.text)), 0)
            empty &= ~np.asarray(filled.fill_null(False).to_numpy(), dtype=bool)
    return empty


def _log(sheet: Sheet, base: TimeBase, times: Unrolled, resolved: list[Resolved]) -> Log:
    keep = times.rows
    index = pd.Index(times.time_s, name="time_s", dtype="float64")
    numbers: dict[str, FloatArray] = {}
    words: dict[str, object] = {}
    for column, item in zip(sheet.columns, resolved, strict=True):
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
            f"{len(refused):,} row{'s' if len(refused) > 1 else ''} could not be kept, first at "
            f"line {line:,} ({why})"
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
        layout="wide",
        header_line=sheet.layout.header_line,
        start=base.start.isoformat() if base.start is not None else None,
        start_source=base.start_source,
        clock_s=times.clock_s,
        time_form=base.form,
        row_s=float(np.median(steps)) if len(steps) else math.nan,
        recordings=times.recordings,
        preamble=sheet.layout.preamble,
        notes=tuple(dict.fromkeys(notes)),
    )
    return Log(
        frame=frame,
        channels=tuple(item.channel for item in resolved),
        provenance=provenance,
        text=text,
    )
