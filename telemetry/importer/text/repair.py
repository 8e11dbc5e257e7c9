"""Rows that are not like the others: kept where that needs no guess, refused and counted where not.

Works on the bytes of the table in blocks of whole lines: the cells of every line are counted in
one sweep, and only the lines with a wrong count are looked at one by one.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from telemetry.importer.cells import CellKind, is_blank, kind
from telemetry.importer.text.dialect import MOST_LINES, join_lines, split_line
from telemetry.importer.text.heading import COMMENT, OtherHeader, is_comment, pad, spread
from telemetry.importer.text.layout import TableLayout
from telemetry.importer.text.tail import is_row, quoted
from telemetry.importer.wording import count, verb
from telemetry.model.errors import UnreadableLog

BLOCK_BYTES = 16 << 20
#: So many rows in a row with the same surplus of cells are no accident (heuristic).
_MOST_LONGER = 20
# Short rows that are kept to look at.
_SOME = 200
_COMMENT_BYTES = np.frombuffer(b"#/%!*", dtype=np.uint8)


@dataclass(slots=True, kw_only=True)
class Repaired:
    """A table whose rows all have the right number of cells.

    Attributes
    ----------
    data : bytes
    lines : ndarray
        Line of each row, from 1.
    refused : list of (int, str)
        Line and reason.
    breaks : tuple of int
        Rows before which a header was repeated.
    short : dict
        Rows that were filled up, by their number of cells: the first line, and some of them.
    notes : list of str
    """

    data: bytes = b""
    lines: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    refused: list[tuple[int, str]] = field(default_factory=list)
    breaks: tuple[int, ...] = ()
    short: dict[int, tuple[int, list[list[str]]]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)


def repair(
    body: bytes | memoryview, layout: TableLayout, separator: str, first_line: int
) -> Repaired:
    """Bring every row to the right number of cells, or refuse it.

    Parameters
    ----------
    body : bytes
        The data rows.
    layout : TableLayout
    separator : str
        One character.
    first_line : int
        Line of the first row, from 1.

    Returns
    -------
    Repaired

    Raises
    ------
    OtherHeader
        A header with other columns stands among the rows.
    UnreadableLog
        The rows have more cells from some line on.
    """
    sweep = _Sweep(layout, separator)
    pieces: list[bytes | memoryview] = []
    lines: list[NDArray[np.int64]] = []
    at_line = first_line
    for block in _blocks(body):
        kept, numbers, used = sweep.block(block, at_line)
        pieces.extend(kept)
        lines.append(numbers)
        at_line += used
    result = sweep.result
    result.data = b"".join(pieces)
    result.lines = np.concatenate(lines) if lines else np.empty(0, np.int64)
    result.breaks = tuple(int(b) for b in np.searchsorted(result.lines, sweep.break_lines))
    if sweep.comments:
        result.notes.append(
            f"{count(sweep.comments, 'comment or preamble line')} among the rows "
            f"{verb(sweep.comments, 'was', 'were')} left out (first at line "
            f"{sweep.first_comment:,})"
        )
    if sweep.padded:
        result.notes.append(
            f"{count(sweep.padded, 'row')} {verb(sweep.padded, 'has', 'have')} too few cells; the "
            f"missing ones count as blank (first at line {sweep.first_padded:,})"
        )
    return result


def _blocks(body: bytes | memoryview) -> Iterator[bytes]:
    at, size = 0, len(body)
    while at < size:
        piece = bytes(body[at : at + BLOCK_BYTES])
        if at + len(piece) < size:
            cut = piece.rfind(b"\n") + 1
            piece = piece[:cut] if cut else piece
        yield piece
        at += len(piece)


def _bare(cells: Sequence[str]) -> list[str]:
    """Cells of a header row in one form, without blank ones at its end and a comment mark."""
    bare = [" ".join(c.split()).casefold() for c in cells]
    while bare and not bare[-1]:
        bare.pop()
    if bare:
        bare[0] = COMMENT.sub("", bare[0]).strip() or bare[0]
    return bare


class _Sweep:
    """Counts cells line by line in whole blocks and decides about the lines that stand out."""

    def __init__(self, layout: TableLayout, separator: str) -> None:
        self.layout = layout
        self.separator = separator
        self.header = _bare(layout.header or layout.names)
        self.has_header = bool(layout.names)
        self.result = Repaired()
        self.break_lines: list[int] = []
        self.comments = self.padded = 0
        self.first_comment = self.first_padded = 0
        self.longer = (0, 0, 0)

    def block(self, block: bytes, at_line: int) -> tuple[list[bytes], NDArray[np.int64], int]:
        """Kept pieces, line numbers of kept rows, and how many lines the block has."""
        raw = np.frombuffer(block, dtype=np.uint8)
        ends = np.flatnonzero(raw == 10)
        if not len(ends) or ends[-1] != len(raw) - 1:
            ends = np.append(ends, len(raw))
        starts = np.concatenate(([0], ends[:-1] + 1))
        bad = self._standing_out(raw, starts, ends)
        pieces: list[bytes] = []
        keep = np.ones(len(starts), dtype=bool)
        at, i = 0, 0
        while i < len(bad):
            line = int(bad[i])
            pieces.append(block[at : starts[line]])
            text = block[starts[line] : ends[line]].decode("utf-8", errors="replace").rstrip("\r")
            span = 1
            cells, span = split_line(text, self.separator), 1
            if text.count('"') % 2:
                upto = ends[line + MOST_LINES] if line + MOST_LINES < len(ends) else len(block)
                following = block[ends[line] + 1 : upto].decode("utf-8", errors="replace")
                lines = [text, *(x.rstrip("\r") for x in following.split("\n"))]
                cells, span = join_lines(lines, self.separator, self.layout.fields)
            fixed = self._decide(cells, text, at_line + line)
            if fixed is None:
                keep[line] = False
            else:
                pieces.append(fixed.encode() + b"\n")
            keep[line + 1 : line + span] = False
            at = int(ends[min(line + span - 1, len(ends) - 1)]) + 1
            i += 1
            while i < len(bad) and bad[i] < line + span:
                i += 1
        pieces.append(block[at:])
        numbers = np.flatnonzero(keep).astype(np.int64) + at_line
        return pieces, numbers, len(starts)

    def _standing_out(
        self,
        raw: NDArray[np.uint8],
        starts: NDArray[np.int64],
        ends: NDArray[np.int64],
    ) -> NDArray[np.int64]:
        mark = raw == ord(self.separator)
        quotes = raw == 34
        odd = np.zeros(len(starts), dtype=bool)
        if quotes.any():
            running = np.cumsum(quotes, dtype=np.uint32)
            before = np.where(starts > 0, running[starts - 1], 0)
            upto = np.where(ends > 0, running[np.minimum(ends, len(raw)) - 1], 0)
            odd = ((upto - before) & 1).astype(bool)
            opened = np.repeat(before, np.diff(np.append(starts, len(raw))))
            mark &= ((running - opened) & 1) == 0
        cells = np.add.reduceat(mark, np.minimum(starts, len(raw) - 1), dtype=np.int64) + 1
        first = raw[np.minimum(starts, len(raw) - 1)]
        length = ends - starts
        empty = (length == 0) | ((length == 1) & (first == 13))
        out = (cells != self.layout.fields) | odd | empty | np.isin(first, _COMMENT_BYTES)
        if self.layout.numeric[0]:
            # A letter where the rows have a number: a repeated header, a trailer, a remark.
            second = raw[np.minimum(starts + 1, len(raw) - 1)]
            lead = np.where(first == 34, second, first)
            out |= ((lead >= 65) & (lead <= 122)) | (lead >= 0xC0)
            if self.layout.sensors and not self.layout.sensors[0]:
                out |= first == ord(self.separator)
        elif self.has_header:
            out |= self._like_header(raw, starts)
        zeros = raw == 0
        if zeros.any():
            out |= np.add.reduceat(zeros, np.minimum(starts, len(raw) - 1)) > 0
        found: NDArray[np.int64] = np.flatnonzero(out)
        return found

    def _like_header(self, raw: NDArray[np.uint8], starts: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Lines that begin with the header's first two bytes."""
        want = self.separator.join(self.layout.header or self.layout.names).encode()[:2]
        same = np.ones(len(starts), dtype=bool)
        for i, byte in enumerate(want):
            same &= raw[np.minimum(starts + i, len(raw) - 1)] == byte
        return same

    def _decide(self, cells: list[str], text: str, line: int) -> str | None:
        """The row as it is kept, None where the line is no row or a row that is refused."""
        if not text.strip():
            return None
        if "\0" in text:
            self.result.refused.append((line, "zero bytes"))
            return None
        fields = self.layout.fields
        bare = _bare(cells)
        if self.has_header and bare == self.header:
            self.break_lines.append(line)
            return None
        if is_comment(text, cells) and not is_row(cells, self.layout):
            self._comment(line)
            return None
        words = sum(kind(c) is CellKind.WORD for c in cells)
        values = sum(kind(c) in (CellKind.NUMBER, CellKind.TIME, CellKind.MEASURE) for c in cells)
        if self._again(cells, bare):
            self._comment(line)
            return None
        wordy = values == 0 and words >= max(2, 0.8 * fields) and len(cells) >= 0.8 * fields
        if wordy and self.has_header:
            raise OtherHeader(line)
        if len(cells) > fields and all(is_blank(c) for c in cells[fields:]):
            cells = cells[:fields]
        if len(cells) == fields:
            return self.separator.join(quoted(c, self.separator) for c in cells)
        if len(cells) > fields:
            self._refuse_many(len(cells), line)
            self.result.refused.append((line, f"{len(cells)} cells instead of {fields}"))
            return None
        if len(cells) < 2 or (not is_row(cells, self.layout) and len(cells) < fields - 1):
            self.result.refused.append((line, f"{len(cells)} cells instead of {fields}"))
            return None
        self.padded += 1
        self.first_padded = self.first_padded or line
        some = self.result.short.setdefault(len(cells), (line, []))[1]
        if len(some) < _SOME:
            some.append(cells)
        cells = [*cells, *[""] * (fields - len(cells))]
        return self.separator.join(quoted(c, self.separator) for c in cells)

    def _refuse_many(self, cells: int, line: int) -> None:
        """Raise where row after row is longer: a column came on the way, nobody says where."""
        first, last, number = self.longer
        self.longer = (first if (last, number) == (line - 1, cells) else line, line, cells)
        if line - self.longer[0] >= _MOST_LONGER:
            raise UnreadableLog(
                f"from here on the rows have {cells} cells instead of {self.layout.fields}",
                line=self.longer[0],
                hint="cut the file in two before this line, or put the header of the longer rows "
                "there",
            )

    def _again(self, cells: list[str], bare: list[str]) -> bool:
        """True for unit rows and preamble lines that come again with a repeated header."""
        fields = self.layout.fields
        if self.layout.units and bare == _bare(self.layout.units):
            return True
        sensors = pad(_bare(self.layout.sensors), fields)
        if self.layout.sensors and spread(pad(bare, fields)) == spread(sensors):
            return True
        keys = {key.casefold() for key, _ in self.layout.preamble if key}
        first = re.split(r"\s*[:=]", cells[0])[0].strip(" #/%!*") if cells else ""
        return (bool(bare) and bare[0].rstrip(":= ") in keys) or first.casefold() in keys

    def _comment(self, line: int) -> None:
        self.comments += 1
        self.first_comment = self.first_comment or line
