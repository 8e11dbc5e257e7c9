"""A table whose header changes on the way: its blocks read one by one, their columns by name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pyarrow as pa

from telemetry.importer.cells import CellKind, is_blank, kind
from telemetry.importer.names.columns import titles
from telemetry.importer.names.header import readings
from telemetry.importer.names.header_cell import take_apart
from telemetry.importer.text.aligning import align_names
from telemetry.importer.text.decoding import Text
from telemetry.importer.text.dialect import split_line, take_sample
from telemetry.importer.text.heading import SMALL_TABLE, OtherHeader
from telemetry.importer.text.layout import TableLayout, find_layout
from telemetry.importer.text.marks import find_decimal
from telemetry.importer.text.table import Cells, Lines, RawTable, offset_of_line, read_table
from telemetry.model.errors import UnreadableLog

#: The least score of a name that is more than a word that happens to be in the vocabulary
#: (heuristic).
_NAMED = 0.7
#: Blocks of one file (heuristic: a header on every page is one block, whatever their number).
MOST_BLOCKS = 100


class Block(NamedTuple):
    """Rows under one header."""

    layout: TableLayout
    decimal: str
    table: RawTable


def read_blocks(text: Text, separator: str, decimal: str = "") -> Block:
    """Read a table, and where another header stands in it what follows as well.

    Parameters
    ----------
    text : Text
    separator : str
    decimal : str
        Forced by the user; found from the rows where "".

    Returns
    -------
    Block
        Columns with the same name, unit and sensor go on from block to block; others have no
        values where their block does not reach.

    Raises
    ------
    UnreadableLog
        There is no table, its header does not fit it, or two blocks have too little in common.
    """
    found: Block | None = None
    whole = text
    for _ in range(MOST_BLOCKS):
        block, rest = _first(text, separator, decimal)
        found = block if found is None else _joined(found, block, text.first_line + 1)
        if rest is None:
            return found
        whole.data = b""
        text, decimal = rest, found.decimal
    raise UnreadableLog(
        f"the header changes more than {MOST_BLOCKS} times", line=text.first_line + 1, hint=_HINT
    )


def _first(text: Text, separator: str, decimal: str) -> tuple[Block, Text | None]:
    """The first block, and the text behind it."""
    rest: Text | None = None
    data = text.data
    while True:
        try:
            return _block(text, separator, decimal), rest
        except OtherHeader as other:
            cut = offset_of_line(data, other.line - 1 - text.first_line)
            if not 0 < cut < len(text.data):
                raise _unlike(other.line) from None
            rest = replace(text, data=data[cut:], first_line=other.line - 1)
            text = replace(text, data=data[:cut])


def _block(text: Text, separator: str, decimal: str) -> Block:
    """The rows under one header."""
    sample = take_sample(text.data)
    try:
        layout = find_layout(sample.head, sample.later, separator)
    except OtherHeader as other:
        raise OtherHeader(other.line + text.first_line) from None
    if layout is None:
        raise no_table(sample.head)
    if separator == "," and _comma_is_both(sample.head, layout):
        raise UnreadableLog(
            f"the rows have {layout.fields} cells under fewer names: the comma seems to be both "
            f"separator and decimal mark",
            line=layout.data_line + 1 + text.first_line,
            hint="export the log with another separator or with decimal points",
        )
    some = layout.rows[:: max(1, len(layout.rows) // 60)]
    decimal = decimal or find_decimal(some, layout.names, layout.units)
    line = layout.header_line
    layout = replace(
        layout,
        header_line=None if line is None else line + text.first_line,
        data_line=layout.data_line + text.first_line,
    )
    layout = align_names(layout, text.data, separator, decimal)
    return Block(layout, decimal, read_table(text, layout, separator, decimal))


def _unlike(line: int) -> UnreadableLog:
    return UnreadableLog("another header with other columns stands here", line=line, hint=_HINT)


_HINT = "cut the file in two before this line"


def _joined(one: Block, two: Block, line: int) -> Block:
    """Two blocks as one, their columns by what the header says of them."""
    mine, theirs = _keys(one.layout), _keys(two.layout)
    common = set(mine) & set(theirs)
    if 2 * len(common) < min(len(mine), len(theirs)):
        if one.table.rows > min(SMALL_TABLE, two.table.rows / 3):
            raise _unlike(line)
        note = f"a small table before the header at line {line:,} left out"
        return two._replace(layout=replace(two.layout, notes=(*two.layout.notes, note)))
    every = list(dict.fromkeys((*mine, *theirs)))
    _refuse_other_units([k for k in every if k not in common], line)
    first = {k: i for i, k in enumerate(mine)}
    second = {k: i for i, k in enumerate(theirs)}
    a, b = one.table, two.table
    columns = [
        _glued(
            a.columns[first[k]] if k in first else np.full(a.rows, np.nan),
            b.columns[second[k]] if k in second else np.full(b.rows, np.nan),
            one.decimal,
        )
        for k in every
    ]
    places = [(one.layout, first[k]) if k in first else (two.layout, second[k]) for k in every]
    layout = replace(
        one.layout,
        fields=len(every),
        names=tuple(x.names[i] if x.names else "" for x, i in places),
        units=tuple(x.units[i] if x.units else "" for x, i in places),
        sensors=tuple(x.sensors[i] if x.sensors else "" for x, i in places),
        numeric=tuple(x.numeric[i] for x, i in places),
        rows=(),
        preamble=(*one.layout.preamble, *two.layout.preamble),
        notes=(*one.layout.notes, *two.layout.notes, f"another header stands at line {line:,}"),
    )
    known = np.concatenate([a.lines.every(), b.lines.every()])
    table = replace(
        a,
        columns=columns,
        rows=a.rows + b.rows,
        refused=(*a.refused, *b.refused),
        breaks=(*a.breaks, a.rows, *(a.rows + x for x in b.breaks)),
        lines=Lines(b"", 0, 0, 0, known),
        notes=(*a.notes, *b.notes),
    )
    return Block(layout, one.decimal, table)


Key = tuple[str, str, str]


def _keys(layout: TableLayout) -> list[Key]:
    names = [" ".join(n.split()) for n in layout.names] or [""] * layout.fields
    blank = ("",) * layout.fields
    rows = (titles(names), layout.units or blank, layout.sensors or blank)
    return [(a, b.strip(), c.strip()) for a, b, c in zip(*rows, strict=True)]


def _refuse_other_units(keys: list[Key], line: int) -> None:
    """A column that goes on in another unit would be two columns, each half empty."""
    seen: dict[tuple[str, ...], str] = {}
    for name, unit, sensor in keys:
        apart = take_apart(name, unit, sensor)
        if apart.unit is None:
            continue
        words = (*(w.text for w in apart.words), sensor)
        if words in seen:
            raise UnreadableLog(
                f"'{seen[words]}' goes on here in another unit, as '{name}'", line=line, hint=_HINT
            )
        seen[words] = name


def _glued(a: Cells, b: Cells, decimal: str) -> Cells:
    """Cells of two blocks; where one holds numbers and the other text, all are text."""
    if isinstance(a, np.ndarray) and isinstance(b, np.ndarray):
        return np.concatenate([a, b])
    return pa.chunked_array([*_chunks(a, decimal), *_chunks(b, decimal)], pa.string())


def _chunks(cells: Cells, decimal: str) -> list[pa.Array]:
    if not isinstance(cells, np.ndarray):
        return list(cells.chunks)
    printed = [None if np.isnan(v) else repr(float(v)).replace(".", decimal) for v in cells]
    return [pa.array(printed, pa.string())]


def no_table(head: Sequence[str]) -> UnreadableLog:
    """Why the lines of a file make no table: the error to raise.

    Parameters
    ----------
    head : sequence of str
        The first lines.
    """
    lines = [line for line in head if line.strip()]
    rows = [split_line(line, max(("\t", ";", "|", ","), key=line.count)) for line in lines]
    named = any(_is_name(c) for row in rows[-3:] for c in row if len(row) > 1)
    if not named and len(rows) > 3:
        named = any(_is_name(c) for c in rows[0] if len(rows[0]) > 1)
    below = [c for row in rows[1:] for c in row]
    if named and len(rows) > 1 and below and all(is_blank(c) for c in below):
        return UnreadableLog("every value is blank", hint="check that the sensors were recorded")
    if named:
        return UnreadableLog(
            "the file has a header but no rows of data",
            hint="check that the recording was started, or copy the file again",
        )
    if sum(any(ch.isdigit() for ch in line) for line in lines) > len(lines) / 2:
        return UnreadableLog(
            "the file has only one column (looked for , ; | tab and blanks between values)",
            hint="export the log with its time and values side by side",
        )
    return UnreadableLog(
        f"the file holds text, but no table of values (it begins '{lines[0].strip()[:40]}')",
        hint="give the log itself",
    )


def _is_name(cell: str) -> bool:
    return any(r.score >= _NAMED for r in readings(take_apart(" ".join(cell.split()))))


def _comma_is_both(head: Sequence[str], layout: TableLayout) -> bool:
    """True where commas split values in two: far more cells in the rows than names above them."""
    if layout.names or layout.data_line == 0:
        return False
    above = split_line(head[layout.data_line - 1], ",")
    return 2 <= len(above) < layout.fields and all(kind(c) is CellKind.WORD for c in above)
