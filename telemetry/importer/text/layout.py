"""Where the table is: preamble, header rows, first row of data, and what lies behind the last.

Rows are told apart by what their cells hold, not by where they stand: a data row has numbers or
times where the rows further down have them; a header row has words there; a unit row has units.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from telemetry.importer.cells import CellKind, is_blank, kind
from telemetry.importer.names.header_cell import parse_scaled, split_words, take_apart
from telemetry.importer.text.dialect import MOST_LINES, join_lines, split_line
from telemetry.importer.wording import count

COMMENT = re.compile(r"\s*(?:#|//|%|!|\*\*)")
_KEY_VALUE = re.compile(r"\s*[#/%!*]*\s*([^:;,=\t|]{1,48}?)\s*[:=;,\t|]+\s*(\S.*?)\s*")
_MOST_HEADER_ROWS = 3
#: Lines that may stand between the names and the data (heuristic).
_MOST_SKIPPED = 5


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
    header_line : int or None
        Line of the name row, from 1.
    header_lines : int
        Lines that the name row takes: a quoted name may hold line ends.
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
    header_line: int | None = None
    header_lines: int = 1
    data_line: int = 0
    preamble: tuple[tuple[str, str], ...] = ()
    numeric: tuple[bool, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Row:
    """A row of the sample: its cells, the first of its lines, and how many it takes."""

    cells: tuple[str, ...]
    line: int
    lines: int = 1
    comment: bool = False
    kinds: tuple[CellKind, ...] = ()


def _kinds(cells: Sequence[str], measured: Sequence[bool]) -> tuple[CellKind, ...]:
    """What the cells hold; "1 V" above plain numbers is a name, not a number with its unit."""
    return tuple(
        CellKind.WORD if k is CellKind.MEASURE and not (i < len(measured) and measured[i]) else k
        for i, k in enumerate(map(kind, cells))
    )


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
    """
    rows = _rows(head, separator)
    more = [tuple(split_line(line, separator)) for line in later if line.strip()]
    more = [cells for cells in more if COMMENT.match(cells[0]) is None]
    fields = _width([r.cells for r in rows if not r.comment], more)
    if fields is None:
        return None
    table = [r for r in rows if not r.comment and _fits(r.cells, fields)]
    numeric, measured = _numeric_columns([r.cells for r in table], more, fields)
    if not any(numeric):
        return None
    rows = [replace(r, kinds=_kinds(r.cells, measured)) for r in rows]
    first = _first_data(rows, numeric, fields)
    if first is None:
        return None
    header = _header_rows(rows[:first], numeric, fields, separator)
    header = _used(header, fields)
    names, units, sensors = _tell_apart(header, fields)
    name_row = next((r for r in header if _pad(r.cells, fields) == names), None) if names else None
    first_header = header[0].line if header else rows[first].line
    between = [r for r in rows[:first] if header and r.line > header[-1].line]
    # A row that has its time and words instead of values is a row for all that.
    started = next((r for r in between if _has_time(r, numeric, fields)), rows[first])
    skipped = sum(r.line < started.line and not r.comment for r in between)
    data = [r.cells for r in rows[first:] if _is_data(r, numeric, fields)]
    return TableLayout(
        fields=fields,
        names=names,
        units=units,
        sensors=sensors,
        header_line=None if name_row is None else name_row.line + 1,
        header_lines=1 if name_row is None else name_row.lines,
        data_line=started.line,
        preamble=_preamble(head[:first_header]),
        numeric=numeric,
        rows=tuple(_pad(cells, fields) for cells in data)
        + tuple(_pad(c, fields) for c in more if _fits(c, fields)),
        notes=(f"{count(skipped, 'line')} between the names and the first row left out",)
        if skipped
        else (),
    )


def _has_time(row: _Row, numeric: Sequence[bool], fields: int) -> bool:
    if row.comment or not _fits(row.cells, fields):
        return False
    return next((k in _VALUES for k, n in zip(row.kinds, numeric, strict=False) if n), False)


def is_comment(line: str, cells: Sequence[str]) -> bool:
    """True for a line that begins with a comment mark; "#" as a cell of its own is a name.

    Parameters
    ----------
    line : str
    cells : sequence of str
        The line's cells.
    """
    return COMMENT.match(line) is not None and not (
        len(cells) > 1 and COMMENT.fullmatch(cells[0].strip()) is not None
    )


def _rows(head: Sequence[str], separator: str) -> list[_Row]:
    plain = Counter(len(split_line(x, separator)) for x in head if x.count('"') % 2 == 0)
    usual = max(plain, key=lambda n: (n > 1, plain[n]), default=0)
    rows: list[_Row] = []
    i = 0
    while i < len(head):
        cells, lines = join_lines(head[i : i + MOST_LINES + 1], separator, usual)
        if head[i].strip():
            rows.append(_Row(tuple(cells), i, lines, is_comment(head[i], cells)))
        i += lines
    return rows


def _width(rows: Sequence[Sequence[str]], more: Sequence[Sequence[str]]) -> int | None:
    """Cells of a data row: the commonest number among rows that hold a number."""
    widths = [
        len(row) for row in (*rows, *more) if len(row) > 1 and any(kind(c) in _VALUES for c in row)
    ]
    if not widths:
        return None
    # The later ones count: a preamble may be longer than what follows it.
    counts = Counter(widths[len(widths) // 2 :])
    return max(counts.items(), key=lambda item: (item[1], item[0]))[0]


def _fits(cells: Sequence[str], fields: int) -> bool:
    """True for a row of the table, give or take blank cells at its end."""
    if len(cells) == fields:
        return True
    if len(cells) < fields:
        return len(cells) > 1 and len(cells) >= 0.6 * fields
    return all(is_blank(c) for c in cells[fields:])


def _pad(cells: Sequence[str], fields: int) -> tuple[str, ...]:
    return (*cells[:fields], *[""] * (fields - len(cells)))


_VALUES = (CellKind.NUMBER, CellKind.TIME, CellKind.MEASURE)


def _numeric_columns(
    rows: Sequence[Sequence[str]], more: Sequence[Sequence[str]], fields: int
) -> tuple[tuple[bool, ...], tuple[bool, ...]]:
    """Which columns hold numbers or times, and in which each number has its unit behind it."""
    judged = [*rows[len(rows) * 2 // 5 :], *[m for m in more if _fits(m, fields)]]
    judged = [r for r in judged if any(kind(c) in _VALUES for c in r)][-120:]
    out, measured = [], []
    for i in range(fields):
        kinds = [kind(r[i]) for r in judged if i < len(r)]
        values = sum(k in _VALUES for k in kinds)
        words = sum(k is CellKind.WORD for k in kinds)
        out.append(values > 0 and values >= 2 * words)
        measured.append(2 * sum(k is CellKind.MEASURE for k in kinds) > values)
    return tuple(out), tuple(measured)


def _is_data(row: _Row, numeric: Sequence[bool], fields: int) -> bool:
    if row.comment or not _fits(row.cells, fields):
        return False
    values = words = 0
    for what, number in zip(row.kinds, numeric, strict=False):
        if not number:
            continue
        values += what in _VALUES
        words += what is CellKind.WORD
    return values > words


def _is_header(row: _Row, numeric: Sequence[bool]) -> bool:
    """True where words stand in most of the columns that hold numbers further down."""
    kinds = [k for k, number in zip(row.kinds, numeric, strict=False) if number]
    words = sum(k in (CellKind.WORD, CellKind.MEASURE) for k in kinds)
    values = sum(k in (CellKind.NUMBER, CellKind.TIME) for k in kinds)
    return words > values


def _first_data(rows: Sequence[_Row], numeric: Sequence[bool], fields: int) -> int | None:
    plain = [i for i, r in enumerate(rows) if not r.comment]
    flags = [_is_data(rows[i], numeric, fields) for i in plain]
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
                and _is_header(f, numeric)
                and _fits(f.cells, fields)
                and not _is_data(f, numeric, fields)
                for f in following[:2]
            )
            and sum(flags[at:]) > 3
            and at == 0
        ):
            continue
        return plain[at]
    return None


def _header_rows(
    above: Sequence[_Row], numeric: Sequence[bool], fields: int, separator: str
) -> list[_Row]:
    """The header rows above the data, from top to bottom.

    Lines without names may stand between them and the data: bare separators, a remark.
    """
    found: list[_Row] = []
    for skipped, row in enumerate(reversed(above)):
        cells = row.cells
        if row.comment:
            # "# time;voltage;current": a header behind a comment mark.
            text = COMMENT.sub("", separator.join(cells), count=1).strip()
            cells = tuple(split_line(text, separator))
            row = _Row(cells, row.line, kinds=_kinds(cells, ()))
            if found:
                break
        filled = sum(bool(c.strip()) for c in cells)
        wide = len(cells) >= 0.6 * fields or (fields <= 3 and len(cells) >= 2)
        far = not found and skipped > 0 and filled < 0.6 * fields
        if not wide or far or filled < 2 or not _is_header(row, numeric):
            if (found and not all(is_blank(c) for c in cells)) or skipped >= _MOST_SKIPPED:
                break
            continue
        if found and filled == 2 and fields > 4 and cells[0].strip() and cells[1].strip():
            break  # "Model;Tern;;;;": a preamble line padded to the table's width
        found.append(row)
        if len(found) == _MOST_HEADER_ROWS:
            break
    # What stands below the names with far fewer words is a remark, or a row without its values.
    most = max((_filled(r) for r in found), default=0)
    while found and 2 * _filled(found[0]) < most and not _is_unit_row(found[0].cells):
        found.pop(0)
    return found[::-1]


def _filled(row: _Row) -> int:
    return sum(bool(c.strip()) for c in row.cells)


def _tell_apart(
    header: Sequence[_Row], fields: int
) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """Names, units and sensors among the header rows."""
    rows = [_pad(r.cells, fields) for r in header]
    units: tuple[str, ...] = ()
    for i, row in enumerate(rows):
        if len(rows) > 1 and _is_unit_row(row):
            units = row
            rows = rows[:i] + rows[i + 1 :]
            break
    if not rows:
        return (), (), ()
    names = rows[-1]
    sensors: tuple[str, ...] = ()
    if len(rows) > 1 and _is_sensor_row(rows[-2], names):
        sensors = _spread(rows[-2])
    return names, units, sensors


def _used(header: Sequence[_Row], fields: int) -> list[_Row]:
    """The header rows without lines above that turn out to be preamble ("Model;Tern")."""
    kept = list(header)
    while len(kept) > 1:
        names, units, sensors = _tell_apart(kept, fields)
        top = _pad(kept[0].cells, fields)
        if top in (names, units) or (sensors and _spread(top) == sensors):
            break
        kept.pop(0)
    return kept


def _is_unit_row(row: Sequence[str]) -> bool:
    cells = [c for c in row if c.strip() and not is_blank(c)]
    if not cells:
        return False
    hits = sum(
        parse_scaled(c) is not None or bool(take_apart("", c).time_form) or c.strip() in ("1", "[]")
        for c in cells
    )
    return hits >= 0.6 * len(cells)


def _is_sensor_row(row: Sequence[str], names: Sequence[str]) -> bool:
    cells = [c for c in row if c.strip()]
    if len(cells) < 2:
        return False
    doubles = len(names) - len({n.strip() for n in names})
    known = sum(any(w.meanings for w in split_words(c)) for c in cells)
    return doubles > 0 or known >= 0.6 * len(cells)


def _spread(row: Sequence[str]) -> tuple[str, ...]:
    """A sensor's name holds for the columns behind it until the next name."""
    out, last = [], ""
    for cell in row:
        last = cell.strip() or last
        out.append(last)
    return tuple(out)


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
