"""Sheet: a file parsed into columns of numbers and words, before the clock is settled.

bytes -> text -> dialect -> layout -> columns
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from telemetry.importer.cells import is_blank
from telemetry.importer.columnmap import ColumnMap, fingerprint
from telemetry.importer.long import LongShape, find_long
from telemetry.importer.names.columns import LogColumn, make_column, titles
from telemetry.importer.names.evidence import shape_of
from telemetry.importer.names.settings import file_settings, find_column, parse_setting
from telemetry.importer.names.values import finite, only_a_limit
from telemetry.importer.text.blocks import no_table, read_blocks
from telemetry.importer.text.decoding import Text, load
from telemetry.importer.text.dialect import find_separator, plain_quotes, take_sample
from telemetry.importer.text.layout import TableLayout
from telemetry.importer.text.numbers import to_numbers
from telemetry.importer.text.table import Lines, RawTable
from telemetry.importer.wording import count, verb
from telemetry.model.errors import UnknownSetting, UnreadableLog

FloatArray = NDArray[np.float64]


class Wanted(NamedTuple):
    """A setting as it was written, where it comes from, and whether that is a saved column map."""

    setting: str
    source: str
    saved: bool


@dataclass(slots=True, kw_only=True)
class Sheet:
    """A file parsed into columns, before the clock and the readings are settled.

    Attributes
    ----------
    path : str
    text : Text
    separator, decimal : str
    layout : TableLayout
    table : RawTable
    columns : list of LogColumn
    settings : dict
        Settings by column that are not applied yet: those of a long table's series.
    long : LongShape or None
        Set where the table has the long layout.
    notes : list of str
    """

    path: str
    text: Text
    separator: str
    decimal: str
    layout: TableLayout
    table: RawTable
    columns: list[LogColumn]
    settings: dict[str, Wanted] = field(default_factory=dict)
    long: LongShape | None = None
    notes: list[str] = field(default_factory=list)


def turn_round(sheet: Sheet) -> None:
    """Put the last row first, in place.

    Parameters
    ----------
    sheet : Sheet
    """
    table = sheet.table
    backward = pa.array(np.arange(table.rows - 1, -1, -1))
    for column in sheet.columns:
        if column.numbers is not None:
            column.numbers = column.numbers[::-1]
            column.shape = shape_of(column.numbers)
        else:
            assert column.text is not None
            column.text = column.text.take(backward)
    sheet.table = replace(
        table,
        breaks=tuple(sorted(table.rows - b for b in table.breaks)),
        lines=Lines(b"", 0, 0, 0, table.lines.every()[::-1]),
    )


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
        raise at_path(error, str(path)) from None


def at_path(error: UnreadableLog, path: str) -> UnreadableLog:
    """The same error with the file named."""
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
    plain = plain_quotes(text.data, sample.head)
    if plain is not text.data:
        text.data, sample = plain, take_sample(plain)
    separator = forced.get("@separator") or find_separator(sample)[0]
    if not separator:
        raise no_table(sample.head)
    layout, decimal, table = read_blocks(text, separator, forced.get("@decimal", ""))
    if table.rows == 0:
        raise UnreadableLog(
            "the file has a header but no row that could be read", hint="copy it again"
        )
    columns, notes = _columns(layout, table, decimal)
    wanted = _wanted(layout, settings, column_maps, notes)
    long = find_long(columns)
    left = apply_settings(columns, wanted, rest=long is not None)
    return Sheet(
        path=path,
        text=text,
        separator=separator,
        decimal=decimal,
        layout=layout,
        table=table,
        columns=columns,
        settings=left,
        long=long,
        notes=[*text.notes, *layout.notes, *table.notes, *notes],
    )


def _columns(
    layout: TableLayout, table: RawTable, decimal: str
) -> tuple[list[LogColumn], list[str]]:
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
            column.numbers = finite(raw)
            if column.numbers is not raw:
                endless = count(int(np.isinf(raw).sum()), "value")
                notes.append(f"{endless} without end in column '{title}' left out: no number")
        else:
            _read_text(column, raw, decimal, table, notes)
        limit = None if column.numbers is None else only_a_limit(column.numbers)
        if limit is not None and column.numbers is not None:
            column.numbers = np.full(len(column.numbers), np.nan)
            notes.append(f"column '{title}' holds nothing but {limit:g}: no value")
        column.blank = _is_blank(column)
        if column.blank and not name.strip():
            empty_tail += 1
            continue
        column.shape = shape_of(column.numbers) if column.numbers is not None else column.shape
        columns.append(column)
    if empty_tail:
        notes.append(
            f"{count(empty_tail, 'column')} without a name and without a value "
            f"{verb(empty_tail, 'was', 'were')} left out"
        )
    if all(c.blank for c in columns):
        raise UnreadableLog("every value is blank", hint="check that the sensors were recorded")
    return columns, notes


def _read_text(
    column: LogColumn, raw: pa.ChunkedArray, decimal: str, table: RawTable, notes: list[str]
) -> None:
    numbers = to_numbers(raw, decimal)
    if numbers is None:
        column.text = raw
        return
    column.numbers = numbers.values
    column.cell_unit = numbers.unit
    if numbers.lost:
        notes.append(
            f"{numbers.lost:,} of {count(table.rows, 'value')} in column '{column.title}' "
            f"{verb(numbers.lost, 'is no number and was', 'are no numbers and were')} lost, first "
            f"at line {table.line_of(numbers.first_lost):,} ('{numbers.lost_text[:40]}')"
        )


def _is_blank(column: LogColumn) -> bool:
    if column.numbers is not None:
        return not bool(np.isfinite(column.numbers).any())
    assert column.text is not None
    return all(is_blank(t or "") for t in pc.unique(column.text).slice(0, 50).to_pylist())


def _wanted(
    layout: TableLayout,
    settings: Mapping[str, str],
    column_maps: Sequence[ColumnMap],
    notes: list[str],
) -> dict[str, Wanted]:
    """Settings by column with where they come from: the saved map's, then the user's."""
    mark = fingerprint(layout)
    saved = next((m for m in column_maps if m.fingerprint == mark), None)
    wanted: dict[str, Wanted] = {}
    if saved is not None:
        notes.append(f"columns are read by the saved column map '{saved.name}'")
        source = f"by the saved column map '{saved.name}'"
        wanted |= {key: Wanted(value, source, True) for key, value in saved.readings.items()}
    user = {k: v for k, v in settings.items() if not k.startswith("@")}
    wanted |= {key: Wanted(value, "as you set it", False) for key, value in user.items()}
    return wanted


def apply_settings(
    columns: Sequence[LogColumn], wanted: Mapping[str, Wanted], *, rest: bool
) -> dict[str, Wanted]:
    """Give columns their settings.

    Parameters
    ----------
    columns : sequence of LogColumn
    wanted : mapping
        Column to its setting.
    rest : bool
        True: settings that match no column are handed back; False: they are an error, unless
        they come from a saved map.

    Returns
    -------
    dict
        Settings that matched no column.
    """
    left: dict[str, Wanted] = {}
    for key, one in wanted.items():
        setting = parse_setting(one.setting, key)
        try:
            column = columns[_find(key, columns)]
        except UnknownSetting:
            if rest:
                left[key] = one
                continue
            if one.saved:
                continue
            raise
        column.setting, column.setting_from = setting, one.source
    return left


def _find(key: str, columns: Sequence[LogColumn]) -> int:
    shown = [c.title for c in columns]
    if key not in shown and key[:1] == "#" and key[1:].isdigit():
        at = [i for i, c in enumerate(columns) if c.index == int(key[1:]) - 1]
        if at:
            return at[0]
    return find_column(key, shown, [c.name for c in columns])
