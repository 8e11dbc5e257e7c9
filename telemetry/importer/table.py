"""Text to columns: pyarrow parses, repaired lines and counted refusals around it.

The quick path hands the table to pyarrow as it lies there, numbers typed beforehand. Only what
pyarrow refuses (a row too short, a word among numbers, a stray quote) is looked at line by line:
rows are kept where that is possible without guessing, and refused with their line number where
not. Where pyarrow gives up altogether the csv module takes over.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
import pyarrow.csv as pacsv
from numpy.typing import NDArray

from telemetry.importer.cells import NO_VALUE, Kind, is_blank, kind
from telemetry.importer.dialect import column_marks
from telemetry.importer.layout import Layout
from telemetry.importer.repair import Repaired, repair, space_to_tab, trim_tail

_NULLS = sorted(
    {v for n in NO_VALUE for v in (n, n.upper(), n.capitalize(), f" {n}", f"{n} ")}
    | {"NaN", "-NaN", "N/a", " NaN", "NaN ", " ", "  ", "   ", "    "}
)
_BLOCK_BYTES = 4 << 20
_CONVERSION = re.compile(r"In CSV column #(\d+)")


@dataclass(frozen=True, slots=True, kw_only=True)
class RawTable:
    """Columns as parsed, before their meaning is known.

    Attributes
    ----------
    columns : list
        float64 arrays where the sample promised plain numbers, pyarrow strings elsewhere.
    rows : int
    refused : tuple of (int, str)
        Line from 1 and reason of every refused row.
    breaks : tuple of int
        Rows before which the header was repeated.
    lines : ndarray or None
        Line of each row, from 1; None where row i simply is ``first_line + i``.
    first_line : int
    engine : str
        "pyarrow" or "csv".
    notes : tuple of str
    """

    columns: list[NDArray[np.float64] | pa.ChunkedArray]
    rows: int
    refused: tuple[tuple[int, str], ...] = ()
    breaks: tuple[int, ...] = ()
    lines: NDArray[np.int64] | None = None
    first_line: int = 1
    engine: str = "pyarrow"
    notes: tuple[str, ...] = ()

    def line_of(self, row: int) -> int:
        """Line of a row in the file, from 1."""
        return self.first_line + row if self.lines is None else int(self.lines[row])


def read_table(data: bytes, layout: Layout, separator: str, decimal: str) -> RawTable:
    """Parse the data rows.

    Parameters
    ----------
    data : bytes
        The whole text, UTF-8.
    layout : Layout
    separator, decimal : str

    Returns
    -------
    RawTable
    """
    begin = _offset_of_line(data, layout.data_line)
    header = _header_text(data, layout, separator)
    mark = separator
    if separator in (" ", "  "):
        data, mark, begin = space_to_tab(data[begin:], wide=separator == "  "), "\t", 0
    tail = trim_tail(data, begin, layout, mark)
    body = memoryview(data)[begin : tail.end]
    types = _column_types(layout, decimal)
    parse = _Parser(mark, decimal, layout.fields)
    notes = list(tail.notes)
    first_line = layout.data_line + 1
    odd = [b'"', b"\0", *([b"\n" + header] if header else [])]
    quick = all(data.find(piece, begin, tail.end) < 0 for piece in odd)
    table = parse.typed(body, types, demote=False) if quick else None
    repaired: Repaired | None = None
    if table is None:
        repaired = repair(body, layout, mark, header, first_line)
        notes.extend(repaired.notes)
        table = parse.typed(repaired.data, types, demote=True)
        if table is None:
            table = parse.by_csv(repaired.data)
    if repaired is None:
        lines = _lines_if_blank(data, begin, tail.end, table.num_rows, first_line)
    else:
        lines = repaired.lines
    refused = list(repaired.refused if repaired else ()) + list(tail.refused)
    rows = table.num_rows
    columns: list[NDArray[np.float64] | pa.ChunkedArray] = [
        _plain(table.column(i)) for i in range(layout.fields)
    ]
    del table
    if tail.patched:
        strings = ["string"] * layout.fields
        last = _Parser(mark, decimal, layout.fields).typed(tail.patched, strings, demote=False)
        if last is not None and last.num_rows == 1:
            columns = _append(columns, last, decimal)
            if lines is not None:
                lines = np.append(lines, tail.patched_line + first_line)
            rows += 1
    return RawTable(
        columns=columns,
        rows=rows,
        refused=tuple(sorted(refused)),
        breaks=repaired.breaks if repaired else (),
        lines=lines,
        first_line=first_line,
        engine=parse.engine,
        notes=tuple(notes),
    )


@dataclass(slots=True)
class _Parser:
    """pyarrow's CSV reader with our options, and what it had to fall back to."""

    separator: str
    decimal: str
    fields: int
    engine: str = field(default="pyarrow")

    def typed(
        self, body: bytes | memoryview, types: Sequence[str], *, demote: bool
    ) -> pa.Table | None:
        """Parse with these column types; None where rows do not have the right length.

        ``demote``: a column that turns out not to hold plain numbers is read as text instead;
        without it that gives None as well.
        """
        kinds = list(types)
        for attempt in range(5):
            try:
                return self._read(body, kinds)
            except pa.ArrowInvalid as error:
                found = _CONVERSION.search(str(error))
                if found is None or not demote:
                    return None
                if attempt < 3:
                    kinds[int(found.group(1))] = "string"
                else:
                    kinds = ["string"] * self.fields
        return None

    def _read(self, body: bytes | memoryview, kinds: Sequence[str]) -> pa.Table:
        names = [str(i) for i in range(self.fields)]
        arrow = {"number": pa.float64(), "string": pa.string()}
        if not len(body):
            return pa.table({n: pa.array([], arrow[k]) for n, k in zip(names, kinds, strict=True)})
        return pacsv.read_csv(
            pa.BufferReader(pa.py_buffer(body)),
            read_options=pacsv.ReadOptions(column_names=names, block_size=_BLOCK_BYTES),
            parse_options=pacsv.ParseOptions(delimiter=self.separator, quote_char='"'),
            convert_options=pacsv.ConvertOptions(
                column_types={n: arrow[k] for n, k in zip(names, kinds, strict=True)},
                null_values=_NULLS,
                quoted_strings_can_be_null=True,
                strings_can_be_null=False,
                decimal_point=self.decimal,
            ),
        )

    def by_csv(self, body: bytes | memoryview) -> pa.Table:
        """The csv module's reading, for what pyarrow cannot parse; all columns are text."""
        self.engine = "csv"
        text = io.StringIO(bytes(body).decode("utf-8", errors="replace"), newline="")
        rows = [
            (row + [""] * self.fields)[: self.fields]
            for row in csv.reader(text, delimiter=self.separator)
            if row
        ]
        columns = list(zip(*rows, strict=True)) or [()] * self.fields
        return pa.table({str(i): pa.array(c, pa.string()) for i, c in enumerate(columns)})


def _column_types(layout: Layout, decimal: str) -> list[str]:
    """Give "number" where all cells of the sample are plain numbers with this decimal mark."""
    types = []
    for i in range(layout.fields):
        cells = [row[i] for row in layout.rows]
        kinds = {kind(c) for c in cells}
        plain = kinds <= {Kind.NUMBER, Kind.BLANK} and Kind.NUMBER in kinds
        if plain:
            mark, group = column_marks([c for c in cells if not is_blank(c)], decimal)
            plain = not group and mark in ("", decimal)
        types.append("number" if plain else "string")
    return types


def _plain(column: pa.ChunkedArray) -> NDArray[np.float64] | pa.ChunkedArray:
    if pa.types.is_floating(column.type):
        values: NDArray[np.float64] = column.to_numpy()
        if not values.flags.writeable:
            values = values.copy()
        return values
    return column


def _append(
    columns: list[NDArray[np.float64] | pa.ChunkedArray], last: pa.Table, decimal: str
) -> list[NDArray[np.float64] | pa.ChunkedArray]:
    from telemetry.importer.cells import to_number

    out: list[NDArray[np.float64] | pa.ChunkedArray] = []
    for i, column in enumerate(columns):
        cell = last.column(i)
        if isinstance(column, np.ndarray):
            out.append(np.append(column, to_number(cell[0].as_py() or "", decimal)))
        else:
            out.append(pa.chunked_array([*column.chunks, *cell.cast(column.type).chunks]))
    return out


def _offset_of_line(data: bytes, line: int) -> int:
    at = 0
    for _ in range(line):
        at = data.find(b"\n", at) + 1
    return at


def _header_text(data: bytes, layout: Layout, separator: str) -> bytes:
    """The name row as it stands in the file, b"" where there is none."""
    if layout.header_line is None or separator in (" ", "  "):
        return b""
    begin = _offset_of_line(data, layout.header_line - 1)
    end = data.find(b"\n", begin)
    return data[begin:end].rstrip(b"\r") if end > begin else b""


def _lines_if_blank(
    data: bytes, begin: int, end: int, rows: int, first_line: int
) -> NDArray[np.int64] | None:
    """Line of each row where blank lines stand between the rows, else None."""
    ends = data.count(b"\n", begin, end) + (end > begin and data[end - 1] != 10)
    if ends == rows:
        return None
    filled = [i for i, line in enumerate(data[begin:end].split(b"\n")) if line.rstrip(b"\r")]
    return np.asarray(filled, dtype=np.int64)[:rows] + first_line
