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
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
import pyarrow as pa
import pyarrow.csv as pacsv
from numpy.typing import NDArray

from telemetry.importer.cells import NO_VALUE, CellKind, kind, to_number
from telemetry.importer.text.aligning import refuse_shifted
from telemetry.importer.text.decoding import MAX_LINE_BYTES, Text, occurring
from telemetry.importer.text.dialect import as_tabs
from telemetry.importer.text.layout import TableLayout
from telemetry.importer.text.marks import column_marks
from telemetry.importer.text.repair import Repaired, repair
from telemetry.importer.text.tail import trim_tail

Cells: TypeAlias = NDArray[np.float64] | pa.ChunkedArray

_NULLS = sorted(
    {v for n in NO_VALUE for v in (n, n.upper(), n.capitalize(), f" {n}", f"{n} ")}
    | {"NaN", "-NaN", "N/a", " NaN", "NaN ", " ", "  ", "   ", "    "}
)
_BLOCK_BYTES = 4 << 20
_PIECE_BYTES = 96 << 20
# Rows that are looked at for decimal marks; what they do not show stops the parser later.
_MARK_ROWS = 60
_CONVERSION = re.compile(r"In CSV column #(\d+)")


@dataclass(slots=True)
class Lines:
    """Line of each row of a table, worked out when it is first asked for.

    Attributes
    ----------
    data : bytes
    begin, end : int
        Where the rows are in it.
    first : int
        Line of the first row, from 1.
    known : ndarray or None
        Line of each row, from 1.
    """

    data: bytes
    begin: int
    end: int
    first: int
    known: NDArray[np.int64] | None = None

    def of(self, row: int) -> int:
        """Line of a row, from 1."""
        known = self.every()
        return int(known[min(row, len(known) - 1)])

    def every(self) -> NDArray[np.int64]:
        """Line of each row, from 1."""
        if self.known is None:
            # Blank lines between the rows are no rows.
            lines = self.data[self.begin : self.end].split(b"\n")
            filled = [i for i, line in enumerate(lines) if line.rstrip(b"\r")]
            self.known = np.asarray(filled, dtype=np.int64) + self.first
        return self.known


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
    lines : Lines
        Line of each row.
    engine : str
        "pyarrow" or "csv".
    notes : tuple of str
    """

    columns: list[Cells]
    rows: int
    refused: tuple[tuple[int, str], ...] = ()
    breaks: tuple[int, ...] = ()
    lines: Lines
    engine: str = "pyarrow"
    notes: tuple[str, ...] = ()

    def line_of(self, row: int) -> int:
        """Line of a row in the file, from 1."""
        return self.lines.of(row)


def read_table(text: Text, layout: TableLayout, separator: str, decimal: str) -> RawTable:
    """Parse the data rows.

    Parameters
    ----------
    text : Text
        Gives its data up where a changed copy takes their place, so that a long file is never
        held twice.
    layout : TableLayout
    separator, decimal : str

    Returns
    -------
    RawTable

    Raises
    ------
    OtherHeader
        Another header stands among the rows; the text is left as it was.
    """
    data = text.data
    data, mark = as_tabs(data, separator)
    begin = offset_of_line(data, layout.data_line - text.first_line)
    header = _header_text(data, layout, text.first_line)
    tail = trim_tail(data, begin, layout, mark)
    body = memoryview(data)[begin : tail.end]
    types = _column_types(layout, decimal)
    parse = _Parser(mark, decimal, layout.fields)
    notes = list(tail.notes)
    first_line = layout.data_line + 1
    quick = not occurring(data, (b'"', b"\0"), begin, tail.end)
    if quick and header and not _header_breaks(layout, types):
        quick = data.find(b"\n" + header, begin, tail.end) < 0
    columns = parse.typed(body, types, demote=False) if quick else None
    repaired: Repaired | None = None
    if columns is None:
        repaired = repair(body, layout, mark, first_line)
        refuse_shifted(repaired.short, layout, decimal)
        notes.extend(repaired.notes)
        body.release()
        data = text.data = b""
        columns = parse.typed(repaired.data, types, demote=True)
        if columns is None:
            columns = parse.by_csv(repaired.data)
    lines = Lines(data, begin, tail.end, first_line, repaired.lines if repaired else None)
    refused = list(repaired.refused if repaired else ()) + list(tail.refused)
    if tail.patched:
        strings = ["string"] * layout.fields
        last = _Parser(mark, decimal, layout.fields).typed(tail.patched, strings, demote=False)
        if last is not None and len(last[0]) == 1:
            columns = _append(columns, last, decimal)
            if lines.known is not None:
                lines.known = np.append(lines.known, tail.patched_line + first_line)
            lines.end = len(data)
    rows = len(columns[0])
    return RawTable(
        columns=columns,
        rows=rows,
        refused=tuple(sorted(refused)),
        breaks=repaired.breaks if repaired else (),
        lines=lines,
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
    ) -> list[Cells] | None:
        """Parse with these column types; None where rows do not have the right length.

        ``demote``: a column that turns out not to hold plain numbers is read as text instead;
        without it that gives None as well.
        """
        kinds = list(types)
        for attempt in range(5):
            try:
                return self._pieces(body, kinds)
            except pa.ArrowInvalid as error:
                found = _CONVERSION.search(str(error))
                if found is None or not demote:
                    return None
                if attempt < 3:
                    kinds[int(found.group(1))] = "string"
                else:
                    kinds = ["string"] * self.fields
        return None

    def _pieces(self, body: bytes | memoryview, kinds: Sequence[str]) -> list[Cells]:
        """Parse a long table piece by piece, so that the parser's own copy stays small."""
        parts: list[list[Cells]] = [[] for _ in range(self.fields)]
        at = 0
        while at < len(body) or at == 0:
            end = min(len(body), at + _PIECE_BYTES)
            if end < len(body):
                cut = bytes(body[max(at, end - MAX_LINE_BYTES - 2) : end]).rfind(b"\n")
                end = max(at, end - MAX_LINE_BYTES - 2) + cut + 1 if cut >= 0 else len(body)
            table = self._read(body[at:end], kinds)
            with ThreadPoolExecutor() as pool:  # copying is waiting for memory
                for part, cells in zip(parts, pool.map(_plain, table.columns), strict=True):
                    part.append(cells)
            at = end
            if at == 0:
                break
        return [_joined(parts.pop(0)) for _ in range(self.fields)]

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

    def by_csv(self, body: bytes | memoryview) -> list[Cells]:
        """The csv module's reading, for what pyarrow cannot parse; all columns are text."""
        self.engine = "csv"
        text = io.StringIO(bytes(body).decode("utf-8", errors="replace"), newline="")
        rows = [
            (row + [""] * self.fields)[: self.fields]
            for row in csv.reader(text, delimiter=self.separator)
            if row
        ]
        columns = list(zip(*rows, strict=True)) or [()] * self.fields
        return [pa.chunked_array([pa.array(c, pa.string())]) for c in columns]


def _column_types(layout: TableLayout, decimal: str) -> list[str]:
    """Give "number" where all cells of the sample are plain numbers with this decimal mark."""
    types = []
    for i in range(layout.fields):
        cells = [row[i] for row in layout.rows]
        kinds = {kind(c) for c in set(cells)}
        plain = kinds <= {CellKind.NUMBER, CellKind.BLANK} and CellKind.NUMBER in kinds
        if plain:
            some = cells[:: max(1, len(cells) // _MARK_ROWS)]
            mark, group = column_marks(some, decimal)
            plain = not group and mark in ("", decimal)
        types.append("number" if plain else "string")
    return types


def _joined(parts: list[Cells]) -> Cells:
    if len(parts) == 1:
        return parts[0]
    if isinstance(parts[0], np.ndarray):
        return np.concatenate(parts)
    chunks = [c for part in parts if not isinstance(part, np.ndarray) for c in part.chunks]
    return pa.chunked_array(chunks, parts[0].type)


def _plain(column: pa.ChunkedArray) -> Cells:
    if not pa.types.is_floating(column.type):
        return column
    values = np.empty(len(column), dtype=np.float64)
    at = 0
    for chunk in column.chunks:
        values[at : at + len(chunk)] = chunk.to_numpy(zero_copy_only=chunk.null_count == 0)
        at += len(chunk)
    return values


def _append(columns: list[Cells], last: list[Cells], decimal: str) -> list[Cells]:
    out: list[Cells] = []
    for column, cell in zip(columns, last, strict=True):
        if isinstance(column, np.ndarray):
            out.append(np.append(column, to_number(cell[0].as_py() or "", decimal)))
        elif not isinstance(cell, np.ndarray):
            out.append(pa.chunked_array([*column.chunks, *cell.cast(column.type).chunks]))
    return out


def offset_of_line(data: bytes, line: int) -> int:
    """Where a line, counted from 0, begins.

    Parameters
    ----------
    data : bytes
    line : int
    """
    at = 0
    for _ in range(line):
        at = data.find(b"\n", at) + 1
    return at


def _header_breaks(layout: TableLayout, types: Sequence[str]) -> bool:
    """True where the name row, come again among the rows, is bound to stop the parser.

    A word under a column of numbers does: then the quick path need not look for it.
    """
    return any(
        t == "number" and kind(name) is CellKind.WORD
        for t, name in zip(types, layout.names, strict=False)
    )


def _header_text(data: bytes, layout: TableLayout, first_line: int) -> bytes:
    """The (first) line of the name row as it stands in the file, b"" where there is none."""
    if layout.header_line is None:
        return b""
    begin = offset_of_line(data, layout.header_line - 1 - first_line)
    end = data.find(b"\n", begin)
    return data[begin:end].rstrip(b"\r") if end > begin else b""
