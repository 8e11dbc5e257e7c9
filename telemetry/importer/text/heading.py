"""The header of a table: which rows above the data hold names, units and sensors."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from telemetry.importer.cells import CellKind, is_blank, kind
from telemetry.importer.names.header import readings
from telemetry.importer.names.header_cell import parse_scaled, split_words, take_apart
from telemetry.importer.text.dialect import split_line

COMMENT = re.compile(r"\s*(?:#|//|%|!|\*\*)")
#: Kinds of cells that are values.
VALUES = (CellKind.NUMBER, CellKind.TIME, CellKind.MEASURE)
_MOST_HEADER_ROWS = 3
#: Rows of values that a table of limits and the like before the log has at most (heuristic).
SMALL_TABLE = 20
#: Lines that may stand between the names and the data (heuristic).
_MOST_SKIPPED = 5


class OtherHeader(Exception):
    """A header with other columns stands among the rows.

    Parameters
    ----------
    line : int
        Of the header, from 1.
    """

    def __init__(self, line: int) -> None:
        super().__init__(line)
        self.line = line


@dataclass(frozen=True, slots=True)
class Row:
    """A row of the sample: its cells, what they hold, and the first of its lines."""

    cells: tuple[str, ...]
    kinds: tuple[CellKind, ...]
    line: int
    comment: bool = False


def row_of(cells: Sequence[str], line: int, *, comment: bool = False) -> Row:
    """A row of these cells.

    Parameters
    ----------
    cells : sequence of str
    line : int
    comment : bool
    """
    return Row(tuple(cells), tuple(map(kind, cells)), line, comment)


def named_kinds(row: Row, measured: Sequence[bool]) -> Row:
    """The row with "1 V" above plain numbers as a name, not as a number with its unit.

    Parameters
    ----------
    row : Row
    measured : sequence of bool
        Columns whose numbers have their unit behind them.
    """
    if CellKind.MEASURE not in row.kinds:
        return row
    kinds = (
        CellKind.WORD if k is CellKind.MEASURE and not (i < len(measured) and measured[i]) else k
        for i, k in enumerate(row.kinds)
    )
    return replace(row, kinds=tuple(kinds))


def count_values(kinds: Sequence[CellKind]) -> int:
    """How many cells hold a value.

    Parameters
    ----------
    kinds : sequence of CellKind
    """
    return sum(map(kinds.count, VALUES))


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


def fits_width(cells: Sequence[str], fields: int) -> bool:
    """True for a row of the table, give or take blank cells at its end.

    Parameters
    ----------
    cells : sequence of str
    fields : int
    """
    if len(cells) == fields:
        return True
    if len(cells) < fields:
        return len(cells) > 1 and len(cells) >= 0.6 * fields
    return all(is_blank(c) for c in cells[fields:])


def stripped(cells: Sequence[str]) -> tuple[str, ...]:
    """Cells without the blank ones at their end.

    Parameters
    ----------
    cells : sequence of str
    """
    last = max((i for i, c in enumerate(cells) if c.strip()), default=-1)
    return tuple(cells[: last + 1])


def pad(cells: Sequence[str], fields: int) -> tuple[str, ...]:
    """Exactly so many cells, blank ones behind those there are.

    Parameters
    ----------
    cells : sequence of str
    fields : int
    """
    return (*cells[:fields], *[""] * (fields - len(cells)))


def stop_at_other_header(rows: Sequence[Row]) -> None:
    """Raise OtherHeader where other rows of names than the first stand between rows of values.

    Parameters
    ----------
    rows : sequence of Row
    """
    known: set[tuple[str, ...]] = set()
    values, other = 0, None
    for row in rows:
        if not _plainly_values(row):
            cells = stripped([" ".join(c.split()).casefold() for c in row.cells])
            kinds = [k for k in map(kind, cells) if k is not CellKind.BLANK]
            words = sum(k is CellKind.WORD for k in kinds)
            if row.comment or len(cells) < 3 or len(kinds) < 0.6 * len(cells):
                continue
            if words >= 0.5 * len(kinds):
                if words < 0.8 * len(kinds) or any(k in VALUES[:2] for k in kinds):
                    continue
                alike = any(2 * len({*cells} & {*k}) >= min(len(cells), len(k)) for k in known)
                if values < 2 or not (alike or values > SMALL_TABLE):
                    known.add(cells)
                    values = 0
                elif cells not in known:
                    other = other or row
                continue
        if other is not None:
            raise OtherHeader(other.line + 1)
        values += bool(known)


def _plainly_values(row: Row) -> bool:
    """True for a row of numbers, whose cells need not be looked at as names."""
    return not row.comment and row.kinds.count(CellKind.NUMBER) >= max(3, 0.6 * len(row.cells))


def is_header(row: Row, numeric: Sequence[bool]) -> bool:
    """True where words stand in most of the columns that hold numbers further down.

    Parameters
    ----------
    row : Row
    numeric : sequence of bool
    """
    kinds = [k for k, number in zip(row.kinds, numeric, strict=False) if number]
    words = sum(k in (CellKind.WORD, CellKind.MEASURE) for k in kinds)
    values = sum(k in (CellKind.NUMBER, CellKind.TIME) for k in kinds)
    return words > values


def header_rows(
    above: Sequence[Row], numeric: Sequence[bool], fields: int, separator: str
) -> list[Row]:
    """The header rows above the data, from top to bottom.

    Lines without names may stand between them and the data: bare separators, a remark.

    Parameters
    ----------
    above : sequence of Row
    numeric : sequence of bool
        Columns that hold numbers or times.
    fields : int
    separator : str
    """
    found: list[Row] = []
    for skipped, row in enumerate(reversed(above)):
        cells = row.cells
        if row.comment:
            # "# time;voltage;current": a header behind a comment mark.
            text = COMMENT.sub("", separator.join(cells), count=1).strip()
            cells = tuple(split_line(text, separator))
            row = named_kinds(row_of(cells, row.line), ())
            if found:
                break
        filled = sum(bool(c.strip()) for c in cells)
        wide = len(cells) >= 0.6 * fields or (fields <= 3 and len(cells) >= 2)
        far = not found and skipped > 0 and filled < 0.6 * fields
        if not wide or far or filled < 2 or not is_header(row, numeric):
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
    return _used(found[::-1], fields)


def _filled(row: Row) -> int:
    return sum(bool(c.strip()) for c in row.cells)


def tell_apart(
    header: Sequence[Row], fields: int
) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """Names, units and sensors among the header rows.

    Parameters
    ----------
    header : sequence of Row
    fields : int
    """
    rows = [pad(r.cells, fields) for r in header]
    units: tuple[str, ...] = ()
    for i, row in enumerate(rows):
        if len(rows) > 1 and _is_unit_row(row):
            units = row
            rows = rows[:i] + rows[i + 1 :]
            break
    if not rows:
        return (), (), ()
    # A row of descriptions may stand below the names; of equals the lower one.
    at = max(range(len(rows)), key=lambda i: (_told(rows[i]) if len(rows) > 1 else 0.0, i))
    names = rows[at]
    sensors: tuple[str, ...] = ()
    if at > 0 and _is_sensor_row(rows[at - 1], names):
        sensors = spread(rows[at - 1])
    return names, units, sensors


def _told(row: Sequence[str]) -> float:
    """How many cells of a row tell a quantity."""
    found = (next(iter(readings(take_apart(" ".join(c.split())))), None) for c in row)
    return sum(r is not None and r.score >= 0.5 for r in found)


def _used(header: Sequence[Row], fields: int) -> list[Row]:
    """The header rows without lines above that turn out to be preamble ("Model;Tern")."""
    kept = list(header)
    while len(kept) > 1:
        names, units, sensors = tell_apart(kept, fields)
        top = pad(kept[0].cells, fields)
        if top in (names, units) or (sensors and spread(top) == sensors):
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


def spread(row: Sequence[str]) -> tuple[str, ...]:
    """A sensor's name holds for the columns behind it until the next name.

    Parameters
    ----------
    row : sequence of str
    """
    out, last = [], ""
    for cell in row:
        last = cell.strip() or last
        out.append(last)
    return tuple(out)
