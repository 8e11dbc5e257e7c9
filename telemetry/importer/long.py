"""The long layout: one value a row, (time, sensor, name, value, unit), turned into columns.

Recognised by what the cells hold: a column of words that repeat and read like names of channels,
beside a single column of values.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from telemetry.importer.clock.stamps import parse_stamps
from telemetry.importer.names.columns import LogColumn, make_column, titles
from telemetry.importer.names.evidence import shape_of
from telemetry.importer.names.header import readings
from telemetry.importer.names.header_cell import parse_scaled, take_apart
from telemetry.importer.names.words import fold
from telemetry.model.channels import Quantity

FloatArray = NDArray[np.float64]

_MOST_SERIES = 2000
_VALUE_WORDS = """value values val wert werte messwert valeur valeurs valor valores valore valori
    waarde waarden hodnota hodnoty reading data messung mesure medida misura meting mereni"""
_SENSOR_WORDS = """sensor source device id node unit place address quelle gerat geber capteur
    senzor sensore origin bron zdroj"""


@dataclass(frozen=True, slots=True, kw_only=True)
class LongShape:
    """Which columns of a long table hold what.

    Attributes
    ----------
    name, value : int
        Positions in the list of columns.
    unit, sensor : int or None
    """

    name: int
    value: int
    unit: int | None = None
    sensor: int | None = None

    @property
    def positions(self) -> frozenset[int]:
        """Positions of the columns that make up the series."""
        return frozenset(
            p for p in (self.name, self.value, self.unit, self.sensor) if p is not None
        )


def find_long(columns: Sequence[LogColumn]) -> LongShape | None:
    """Whether a table has the long layout, and which column is which.

    Parameters
    ----------
    columns : sequence of LogColumn

    Returns
    -------
    LongShape or None
    """
    words = [
        i
        for i, c in enumerate(columns)
        if c.text is not None and not c.blank and not _is_time(c.text)
    ]
    if not words:
        return None
    value = _value_column(columns)
    if value is None:
        return None
    lists = {i: _distinct(columns[i]) for i in words}
    lists = {i: d for i, d in lists.items() if 0 < len(d) <= _MOST_SERIES}
    unit = next((i for i in lists if _are_units(lists[i])), None)
    named = {i: _share_named(d) for i, d in lists.items() if i != unit}
    if not named:
        return None
    name = max(named, key=lambda i: named[i])
    rest = [i for i in named if i != name]
    sensor = rest[0] if len(rest) == 1 else next((i for i in rest if _is_sensor(columns[i])), None)
    if sensor is None:
        numbered = [i for i, c in enumerate(columns) if c.numbers is not None and _is_sensor(c)]
        sensor = next((i for i in numbered if i != value), None)
    rows = columns[name].shape.count or len(columns[name].text or ())
    repeats = rows >= 2 * len(lists[name])
    clear = _heads(columns[value], _VALUE_WORDS) or unit is not None
    if named[name] >= (0.3 if clear else 0.6) and (repeats or clear):
        return LongShape(name=name, value=value, unit=unit, sensor=sensor)
    if clear and unit is not None and repeats:
        return LongShape(name=name, value=value, unit=unit, sensor=sensor)
    return None


def _is_time(text: pa.ChunkedArray) -> bool:
    probe = parse_stamps(text.slice(0, 50))
    filled = int((~probe.blank).sum())
    return filled > 0 and int(probe.bad.sum()) <= 0.5 * filled


def _value_column(columns: Sequence[LogColumn]) -> int | None:
    """The one column of values: headed so, or the only numbers beside time and counts."""
    numeric = [i for i, c in enumerate(columns) if c.numbers is not None and not c.blank]
    headed = [i for i in numeric if _heads(columns[i], _VALUE_WORDS)]
    if len(headed) == 1:
        return headed[0]
    open_ = [
        i
        for i in numeric
        if not any(r.quantity is not Quantity.STATUS for r in columns[i].readings)
        and not _is_sensor(columns[i])
        and not _grows(columns[i])
    ]
    measured = [
        i
        for i in numeric
        if any(r.quantity not in (Quantity.TIME, Quantity.COUNT) for r in columns[i].readings)
    ]
    return open_[0] if len(open_) == 1 and not measured else None


def _grows(column: LogColumn) -> bool:
    values = column.numbers
    assert values is not None
    filled = values[np.isfinite(values)]
    return len(filled) > 2 and bool(np.all(np.diff(filled) >= 0)) and filled[-1] > filled[0]


def _heads(column: LogColumn, words: str) -> bool:
    listed = words.split()
    return any(fold(w.text) in listed for w in column.apart.words)


def _is_sensor(column: LogColumn) -> bool:
    return _heads(column, _SENSOR_WORDS)


def _distinct(column: LogColumn) -> list[str]:
    assert column.text is not None
    return [t for t in pc.unique(column.text).to_pylist() if t and t.strip()]


def _are_units(cells: Sequence[str]) -> bool:
    hits = sum(parse_scaled(c) is not None for c in cells)
    return hits > 0 and hits >= 0.6 * len(cells)


def _share_named(cells: Sequence[str]) -> float:
    """Share of the cells that read like names of channels."""
    read = sum(bool(readings(take_apart(" ".join(c.split())))) for c in cells[:200])
    return read / min(len(cells), 200)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pivoted:
    """A long table as columns.

    Attributes
    ----------
    columns : list of LogColumn
        One for each series, in order of appearance.
    row_of : ndarray of int, shape (long rows,)
        Row of the wide table that each long row went to.
    first : ndarray of int, shape (wide rows,)
        First long row of each wide row.
    """

    columns: list[LogColumn]
    row_of: NDArray[np.int64]
    first: NDArray[np.int64]


def pivot(columns: Sequence[LogColumn], shape: LongShape, time_s: FloatArray) -> Pivoted:
    """Turn rows of (name, value) into columns, one row for each instant.

    Parameters
    ----------
    columns : sequence of LogColumn
        Of the long table, their rows in the order of ``time_s``.
    shape : LongShape
    time_s : ndarray, shape (long rows,)
        Never decreasing. Rows with the same time share a row of the result, as long as no series
        comes twice.

    Returns
    -------
    Pivoted
    """
    values = columns[shape.value].numbers
    assert values is not None
    parts = [
        _words(columns[i]) if i is not None else None
        for i in (shape.sensor, shape.name, shape.unit)
    ]
    codes, series = _series(parts, len(values))
    run = np.cumsum(np.concatenate(([True], np.diff(time_s) > 0))) - 1
    turn = _occurrence(run * np.int64(len(series)) + codes)
    key = run * (np.int64(turn.max()) + 1) + turn
    _, first, row_of = np.unique(key, return_index=True, return_inverse=True)
    width = len(first)
    heads = [(s, n) for s, n, _ in series]
    names = titles([f"{s} {n}".strip() for s, n in heads])
    out = []
    for i, ((sensor, name, unit), title) in enumerate(zip(series, names, strict=True)):
        column = make_column(i, f"{sensor} {name}".strip(), title, unit, "")
        column.apart = take_apart(" ".join(name.split()), unit, sensor)
        column.readings = readings(column.apart)
        mine = codes == i
        filled = np.full(width, np.nan)
        filled[row_of[mine]] = values[mine]
        column.numbers = filled
        column.blank = not bool(np.isfinite(filled).any())
        column.shape = shape_of(filled)
        out.append(column)
    return Pivoted(columns=out, row_of=row_of, first=first)


def _words(column: LogColumn) -> list[str | None]:
    if column.text is not None:
        return [None if t is None else t.strip() for t in column.text.to_pylist()]
    assert column.numbers is not None
    return [None if np.isnan(v) else f"Sensor {v:g}" for v in column.numbers]


def _series(
    parts: Sequence[list[str | None] | None], rows: int
) -> tuple[NDArray[np.int64], list[tuple[str, str, str]]]:
    """A number for each series, by row; and sensor, name and unit of each."""
    sensors, names, units = ([None] * rows if p is None else p for p in parts)
    unit_of: dict[tuple[str, str], str] = {}
    keys = []
    for sensor, name, unit in zip(sensors, names, units, strict=True):
        head = (sensor or "", name or "")
        # A row without a unit has the unit of its series.
        keys.append((*head, unit or unit_of.get(head, "")))
        if unit:
            unit_of.setdefault(head, unit)
    found: dict[tuple[str, str, str], int] = {}
    codes = np.empty(rows, dtype=np.int64)
    for i, (sensor, name, unit) in enumerate(keys):
        key = (sensor, name, unit or unit_of.get((sensor, name), ""))
        codes[i] = found.setdefault(key, len(found))
    return codes, list(found)


def _occurrence(keys: NDArray[np.int64]) -> NDArray[np.int64]:
    """How many earlier rows have the same key, for every row."""
    order = np.argsort(keys, kind="stable")
    ordered = keys[order]
    fresh = np.concatenate(([True], ordered[1:] != ordered[:-1]))
    start = np.maximum.accumulate(np.where(fresh, np.arange(len(keys)), 0))
    out = np.empty(len(keys), dtype=np.int64)
    out[order] = np.arange(len(keys)) - start
    return out
