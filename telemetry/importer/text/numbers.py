"""Cells of text to numbers, with every loss counted.

Cells that are neither a number nor one of the usual signs for "no value" are counted, the first
is named; nothing is dropped in silence.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from telemetry.importer.cells import (
    CellKind,
    is_blank,
    kind,
    number_marks,
    split_measure,
    to_number,
)
from telemetry.importer.names.header_cell import parse_scaled
from telemetry.importer.text.marks import column_marks
from telemetry.model.units import Unit

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Numbers:
    """One column as numbers.

    Attributes
    ----------
    values : ndarray
        NaN where the cell holds no value.
    lost : int
        Cells that are neither a number nor blank.
    first_lost : int
        Row of the first of them, -1 for none.
    lost_text : str
        What stands there.
    unit : Unit or None
        Unit printed in the cells.
    decimal, thousands : str
    """

    values: FloatArray
    lost: int = 0
    first_lost: int = -1
    lost_text: str = ""
    unit: Unit | None = None
    decimal: str = "."
    thousands: str = ""


_SAMPLE = 400
# Below this share of plain numbers the column is looked at cell by cell.
_MOSTLY = 0.9


def _some(cells: pa.StringArray) -> list[str]:
    """Cells of a long column, evenly spaced; none of a short one."""
    if len(cells) < _SAMPLE:
        return []
    picks = pa.array(range(0, len(cells), len(cells) // _SAMPLE))
    return [t or "" for t in cells.take(picks).to_pylist()]


def _plain_numbers(cells: pa.StringArray, some: list[str], decimal: str) -> Numbers | None:
    """Numbers of a long column that are nearly all plain, in one sweep; None for the others."""
    if sum(kind(t) is CellKind.NUMBER for t in some) < max(1, _MOSTLY * len(some)):
        return None
    mark, group = column_marks(some, decimal)
    mark = mark or decimal
    point = re.escape(mark)
    if group:
        g = re.escape(group) if group != " " else "[ \u00a0\u202f\u2009]"
        digits = rf"(?:[0-9]{{1,3}}(?:{g}[0-9]{{3}})+|[0-9]+)"
    else:
        digits = "[0-9]+"
    pattern = rf"^\s*[+-]?(?:{digits}(?:{point}[0-9]*)?|{point}[0-9]+)(?:[eE][+-]?[0-9]+)?\s*$"
    plain = pc.match_substring_regex(cells.fill_null(""), pattern)
    text = pc.utf8_trim_whitespace(cells)
    if group:
        for sign in "\u00a0\u202f\u2009 " if group == " " else group:
            text = pc.replace_substring(text, sign, "")
    if mark == ",":
        text = pc.replace_substring(text, ",", ".")
    text = pc.if_else(plain, pc.utf8_ltrim(text, "+"), None)
    values = pc.cast(text, pa.float64()).to_numpy(zero_copy_only=False).copy()
    odd = np.flatnonzero(~plain.to_numpy(zero_copy_only=False) | np.isinf(values))
    lost = 0
    first_lost, lost_text = -1, ""
    for row, cell in zip(odd.tolist(), cells.take(pa.array(odd)).to_pylist(), strict=True):
        if is_blank(cell or ""):
            continue
        values[row] = _odd_number(cell, mark, group)
        if math.isnan(values[row]):
            if kind(cell) is CellKind.MEASURE:
                return None  # some cells carry their unit
            lost += 1
            if first_lost < 0:
                first_lost, lost_text = row, cell
    return Numbers(
        values=values, lost=lost, first_lost=first_lost, lost_text=lost_text,
        decimal=mark, thousands=group,
    )  # fmt: skip


def _odd_number(cell: str, mark: str, group: str) -> float:
    """A number that groups its thousands although the sample of its column did not."""
    value = to_number(cell, mark, group)
    if math.isnan(value) and kind(cell) is CellKind.NUMBER:
        shown = number_marks(cell)
        if shown is not None and shown[0] in ("", mark):
            return to_number(cell, mark, shown[1])
    return value


def to_numbers(column: pa.ChunkedArray, decimal: str) -> Numbers | None:
    """Turn a column of text into numbers.

    Parameters
    ----------
    column : pyarrow string column
    decimal : str
        The file's decimal mark; a column that shows another one is read by its own.

    Returns
    -------
    Numbers or None
        None for a column of words: less than half of its filled cells are numbers.
    """
    whole = column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
    some = _some(whole)
    if some and all(k in (CellKind.WORD, CellKind.TIME) for k in map(kind, some)):
        return None
    quick = _plain_numbers(whole, some, decimal)
    if quick is not None:
        return quick
    coded = pc.dictionary_encode(whole)
    texts = [t if t is not None else "" for t in coded.dictionary.to_pylist()]
    codes = coded.indices.fill_null(-1).to_numpy(zero_copy_only=False)
    weights = np.bincount(codes[codes >= 0], minlength=len(texts))
    kinds = [kind(t) for t in texts]
    count = {
        k: int(sum(w for w, x in zip(weights, kinds, strict=True) if x is k)) for k in CellKind
    }
    numeric = count[CellKind.NUMBER] + count[CellKind.MEASURE]
    wrong = count[CellKind.WORD] + count[CellKind.TIME]
    if numeric == 0 or wrong > numeric:
        return None
    numbers = [t for t, k in zip(texts, kinds, strict=True) if k is CellKind.NUMBER]
    mark, group = column_marks(numbers, decimal)
    mark = mark or decimal
    if group == mark:
        group = ""
    unit: Unit | None = None
    table = np.full(len(texts) + 1, np.nan)
    lost = np.zeros(len(texts) + 1, dtype=bool)
    for i, (text, what) in enumerate(zip(texts, kinds, strict=True)):
        if what is CellKind.BLANK:
            continue
        factor_unit: Unit | None = None
        if what is CellKind.MEASURE:
            split = split_measure(text)
            assert split is not None
            factor_unit = parse_scaled(split[1])
            if factor_unit is not None:
                inner = column_marks([split[0]])[0]
                value = to_number(split[0], inner or mark, group)
                unit = unit or factor_unit
                if factor_unit.canonical == unit.canonical and factor_unit != unit:
                    value = value * factor_unit.factor / unit.factor
                table[i] = value if factor_unit.canonical == unit.canonical else math.nan
        elif what is CellKind.NUMBER:
            table[i] = to_number(text, mark, group)
        lost[i] = math.isnan(table[i]) and not is_blank(text)
    where = np.flatnonzero(lost[codes]) if lost.any() else np.empty(0, dtype=np.int64)
    return Numbers(
        values=table[codes],
        lost=len(where),
        first_lost=int(where[0]) if len(where) else -1,
        lost_text=texts[codes[where[0]]] if len(where) else "",
        unit=unit,
        decimal=mark,
        thousands=group,
    )
