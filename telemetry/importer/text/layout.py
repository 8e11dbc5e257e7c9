"""Where the table is: preamble, header rows, first row of data, and what lies behind the last.

Rows are told apart by what their cells hold, not by where they stand: a data row has numbers or
times where the rows further down have them; a header row has words there; a unit row has units.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import compress

from telemetry.importer.cells import CellKind
from telemetry.importer.text.dialect import MOST_LINES, join_lines, split_line
from telemetry.importer.text.heading import (
    COMMENT,
    VALUES,
    Row,
    count_values,
    fits_width,
    header_rows,
    is_comment,
    is_header,
    named_kinds,
    pad,
    row_of,
    stop_at_other_header,
    stripped,
    tell_apart,
)
from telemetry.importer.wording import count

_KEY_VALUE = re.compile(r"\s*[#/%!*]*\s*([^:;,=\t|]{1,48}?)\s*[:=;,\t|]+\s*(\S.*?)\s*")


@dataclass(frozen=True, slots=True, kw_only=True)
class TableLayout:
    """Where the table is and what its header says.

    Attributes
    ----------
    fields : int
        Cells of a data row.
    names, units, sensors : tuple of str
        Header rows, each ``fields`` long; units and sensors () where there are none. ``names``
        is () where the file has no header at all.
    header : tuple of str
        The name row as it stands, without blank cells at its end: it may be shorter or longer.
    header_fields : int
        Cells of the name row, with the blank ones at its end.
    header_line : int or None
        Line of the name row, from 1.
    data_line : int
        Index of the first data line, from 0.
    preamble : tuple of (str, str)
        Key and value lines before the header; text without a key has the key "".
    numeric : tuple of bool
        Columns that hold numbers or times.
    rows : tuple of rows of cells
        Data rows of the sample.
    notes : tuple of str
    """

    fields: int
    names: tuple[str, ...]
    units: tuple[str, ...] = ()
    sensors: tuple[str, ...] = ()
    header: tuple[str, ...] = ()
    header_fields: int = 0
    header_line: int | None = None
    data_line: int = 0
    preamble: tuple[tuple[str, str], ...] = ()
    numeric: tuple[bool, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    notes: tuple[str, ...] = ()


def find_layout(head: Sequence[str], later: Sequence[str], separator: str) -> TableLayout | None:
    """Find header and data in the lines of a sample.

    Parameters
    ----------
    head, later : sequence of str
        Lines of the sample.
    separator : str

    Returns
    -------
    Layout or None
        None where no row holds a number or a time (header only, or no table).

    Raises
    ------
    OtherHeader
        A header with other columns stands further down.
    """
    rows = _rows(head, separator)
    stop_at_other_header(rows)
    more = [row_of(split_line(line, separator), 0) for line in later if line.strip()]
    more = [row for row in more if COMMENT.match(row.cells[0]) is None]
    fields = _width([r for r in rows if not r.comment], more)
    if fields is None:
        return None
    table = [r for r in rows if not r.comment and fits_width(r.cells, fields)]
    more = [r for r in more if fits_width(r.cells, fields)]
    numeric, measured = _numeric_columns(table, more, fields)
    if not any(numeric):
        return None
    rows = [named_kinds(r, measured) for r in rows]
    are_data = [_is_data(r, numeric, fields) for r in rows]
    first = _first_data(rows, are_data, numeric, fields)
    if first is None:
        return None
    header = header_rows(rows[:first], numeric, fields, separator)
    names, units, sensors = tell_apart(header, fields)
    name_row = next((r for r in header if pad(r.cells, fields) == names), None) if names else None
    first_header = header[0].line if header else rows[first].line
    between = [r for r in rows[:first] if header and r.line > header[-1].line]
    # A row that has its time and words instead of values is a row for all that.
    started = next((r for r in between if _has_time(r, numeric, fields)), rows[first])
    skipped = sum(r.line < started.line and not r.comment for r in between)
    data = [r for r, is_data in zip(rows[first:], are_data[first:], strict=True) if is_data]
    return TableLayout(
        fields=fields,
        names=names,
        units=units,
        sensors=sensors,
        header=() if name_row is None else stripped(name_row.cells),
        header_fields=0 if name_row is None else len(name_row.cells),
        header_line=None if name_row is None else name_row.line + 1,
        data_line=started.line,
        preamble=_preamble(head[:first_header]),
        numeric=numeric,
        rows=tuple(pad(r.cells, fields) for r in (*data, *more)),
        notes=(f"{count(skipped, 'line')} between the names and the first row left out",)
        if skipped
        else (),
    )


def _has_time(row: Row, numeric: Sequence[bool], fields: int) -> bool:
    if row.comment or not fits_width(row.cells, fields):
        return False
    return next((k in VALUES for k, n in zip(row.kinds, numeric, strict=False) if n), False)


def _rows(head: Sequence[str], separator: str) -> list[Row]:
    plain = Counter(len(split_line(x, separator)) for x in head if x.count('"') % 2 == 0)
    usual = max(plain, key=lambda n: (n > 1, plain[n]), default=0)
    rows: list[Row] = []
    i = 0
    while i < len(head):
        cells, lines = join_lines(head[i : i + MOST_LINES + 1], separator, usual)
        if head[i].strip():
            rows.append(row_of(cells, i, comment=is_comment(head[i], cells)))
        i += lines
    return rows


def _width(rows: Sequence[Row], more: Sequence[Row]) -> int | None:
    """Cells of a data row: the commonest number among rows that hold a number.

    Rows whose last cells are left out where they are blank have the names' number at times.
    """
    widths = [len(r.cells) for r in (*rows, *more) if len(r.cells) > 1 and count_values(r.kinds)]
    if not widths:
        return None
    # The later ones count: a preamble may be longer than what follows it.
    counts = Counter(widths[len(widths) // 2 :])
    usual = max(counts, key=lambda n: (counts[n], n))
    named = [len(r.cells) for r in rows if r.kinds.count(CellKind.WORD) == len(r.cells)]
    return max((n for n in named if n > usual and counts[n] > 1), default=usual)


def _numeric_columns(
    rows: Sequence[Row], more: Sequence[Row], fields: int
) -> tuple[tuple[bool, ...], tuple[bool, ...]]:
    """Which columns hold numbers or times, and in which each number has its unit behind it."""
    judged = [r.kinds for r in (*rows[len(rows) * 2 // 5 :], *more) if count_values(r.kinds)][-120:]
    out, measured = [], []
    for i in range(fields):
        kinds = [k[i] for k in judged if i < len(k)]
        values = count_values(kinds)
        out.append(values > 0 and values >= 2 * kinds.count(CellKind.WORD))
        measured.append(2 * kinds.count(CellKind.MEASURE) > values)
    return tuple(out), tuple(measured)


def _is_data(row: Row, numeric: Sequence[bool], fields: int) -> bool:
    if row.comment or not fits_width(row.cells, fields):
        return False
    kinds = tuple(compress(row.kinds, numeric))
    return count_values(kinds) > kinds.count(CellKind.WORD)


def _first_data(
    rows: Sequence[Row], are_data: Sequence[bool], numeric: Sequence[bool], fields: int
) -> int | None:
    plain = [i for i, r in enumerate(rows) if not r.comment]
    flags = [are_data[i] for i in plain]
    for at, flag in enumerate(flags):
        if not flag:
            continue
        ahead = flags[at : at + 4]
        if sum(ahead) < max(1, len(ahead) - 1):
            continue
        following = [rows[i] for i in plain[at + 1 : at + 4]]
        if (
            any(
                not f.comment
                and len(f.cells) >= 2
                and is_header(f, numeric)
                and fits_width(f.cells, fields)
                and not _is_data(f, numeric, fields)
                for f in following[:2]
            )
            and sum(flags[at:]) > 3
            and at == 0
        ):
            continue
        return plain[at]
    return None


def _preamble(lines: Sequence[str]) -> tuple[tuple[str, str], ...]:
    found = []
    for line in lines:
        text = line.strip().strip(";,\t|").strip()
        if not text or re.fullmatch(r"\"?sep=.*", text, re.I):
            continue
        match = _KEY_VALUE.fullmatch(text)
        if match:
            key, value = (part.strip().strip('"') for part in match.groups())
            found.append((key, value))
        else:
            found.append(("", COMMENT.sub("", text).strip()))
    return tuple(found)
