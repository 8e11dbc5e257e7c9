"""The end of a table: lines behind the last row, and a last row cut off in mid-value."""

from __future__ import annotations

from dataclasses import dataclass

from telemetry.importer.cells import CellKind, is_blank, kind
from telemetry.importer.text.dialect import split_line
from telemetry.importer.text.layout import TableLayout
from telemetry.importer.wording import count, verb

_TAIL_LINES = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Tail:
    """The end of a table: where its whole rows end, and a last row that was cut off.

    Attributes
    ----------
    end : int
        Where the whole rows end in the data.
    patched : bytes
        The last row without its cut value, b"" where nothing was cut.
    patched_line : int
        Its line, counted from 0 at the first row.
    refused : tuple of (int, str)
    notes : tuple of str
    """

    end: int
    patched: bytes = b""
    patched_line: int = 0
    refused: tuple[tuple[int, str], ...] = ()
    notes: tuple[str, ...] = ()


def trim_tail(data: bytes, begin: int, layout: TableLayout, separator: str) -> Tail:
    """Find lines behind the last row that are no data, and a last row cut off in mid-value.

    Parameters
    ----------
    data : bytes
    begin : int
        Where the first data row begins; the table goes on to the end.
    layout : TableLayout
    separator : str

    Returns
    -------
    Tail
    """
    size = len(data)
    reach = max(begin, size - 65536)
    lines = data[reach:].split(b"\n")
    if reach > begin:
        lines = lines[1:]
    if not lines:
        return Tail(end=size)  # a last line that is longer than any row
    lines = lines[-_TAIL_LINES - 1 :]
    end, trailer = size, 0
    ended = not lines[-1].strip()
    for raw in reversed(lines):
        if not raw.strip():
            end -= len(raw) + 1
            continue
        cells = split_line(raw.decode("utf-8", errors="replace").rstrip("\r"), separator)
        if is_row(cells, layout) or (not ended and trailer == 0 and _is_cut_row(cells, layout)):
            break
        end -= len(raw) + 1
        trailer += 1
        if trailer >= _TAIL_LINES:
            return Tail(end=size)  # not a trailer: something else is wrong with this table
    end = max(begin, min(size, end + 1))
    notes: tuple[str, ...] = ()
    if trailer:
        if end <= begin + 1:
            return Tail(end=size)
        total_lines = data.count(b"\n", begin, end)
        notes = (
            f"{count(trailer, 'line')} behind the last row {verb(trailer, 'is', 'are')} no data "
            f"(from line {layout.data_line + total_lines + 1})",
        )
        return Tail(end=end, notes=notes)
    if ended or size == begin:
        return Tail(end=size)
    start = max(begin, data.rfind(b"\n", begin, size) + 1)
    text = data[start:].decode("utf-8", errors="replace").rstrip("\r")
    before = [
        split_line(raw.decode("utf-8", errors="replace").rstrip("\r"), separator)
        for raw in lines[-51:-1]
        if raw.strip()
    ]
    return _cut_row(text, before, start, layout, separator, data, begin)


def _cut_row(
    text: str,
    before: list[list[str]],
    start: int,
    layout: TableLayout,
    separator: str,
    data: bytes,
    begin: int,
) -> Tail:
    cells = split_line(text, separator)
    at = len(cells) - 1
    # Without its sign: "0.0" behind "-9.0" is whole.
    same = [len(row[at].strip(" +-")) for row in before if len(row) > at and row[at].strip()]
    whole = len(cells) >= layout.fields and (
        not same or len(cells[at].strip(" +-")) >= min(same) or is_blank(cells[at])
    )
    if whole or not before:
        return Tail(end=len(data))
    line = layout.data_line + data.count(b"\n", begin, start) + 1
    first_value = next((i for i, n in enumerate(layout.numeric) if n), 0)
    if at <= first_value:
        return Tail(
            end=start,
            refused=((line, "the last line is cut off before its first value"),),
        )
    kept = [*cells[:at], *[""] * (layout.fields - at)][: layout.fields]
    patched = separator.join(quoted(c, separator) for c in kept).encode() + b"\n"
    return Tail(
        end=start,
        patched=patched,
        patched_line=line - layout.data_line - 1,
        notes=(
            f"the last line ({line}) is cut off in mid-value; "
            f"its value '{cells[at].strip()}' was left out",
        ),
    )


def quoted(cell: str, separator: str) -> str:
    """A cell with quotes where it needs them.

    Parameters
    ----------
    cell, separator : str
    """
    if separator in cell or '"' in cell:
        return '"' + cell.replace('"', '""') + '"'
    return cell


def is_row(cells: list[str], layout: TableLayout) -> bool:
    """True where a line looks like the rows of the table: values where they have values.

    Parameters
    ----------
    cells : list of str
    layout : TableLayout
    """
    if len(cells) < 2 or len(cells) < 0.6 * layout.fields:
        return False
    values = words = 0
    first = True
    for cell, numeric in zip(cells, layout.numeric, strict=False):
        if not numeric:
            continue
        what = kind(cell)
        if first and what is CellKind.WORD:
            return False
        first = False
        values += what is not CellKind.WORD and what is not CellKind.BLANK
        words += what is CellKind.WORD
    return values > words


def _is_cut_row(cells: list[str], layout: TableLayout) -> bool:
    """True where a last line without its end is the beginning of a row."""
    return all(
        kind(cell) is not CellKind.WORD or i == len(cells) - 1
        for i, (cell, numeric) in enumerate(zip(cells, layout.numeric, strict=False))
        if numeric
    ) and (len(cells) > 1 or not cells[0][:1].isalpha())
