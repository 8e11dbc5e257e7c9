"""Tables on paper: columns as wide as they need, no row, head or caption left alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from telemetry.report.document import Table
from telemetry.report.figures import style
from telemetry.report.writers.paper import LEADING, Sheets, text_width, wrapped

_CAPTION, _CELL, _NOTE = 9.5, 8.5, 8.0
_CELL_GAP = 9.0
# Shorter texts are not parted.
_SHORT = 14


@dataclass(frozen=True, slots=True)
class SetTable:
    """A table as it is set: widths of its columns, lines of its cells, heights, pt."""

    widths: list[float]
    cells: list[list[list[str]]]
    heights: list[float]
    caption: float
    note: float

    @classmethod
    def of(cls, sheets: Sheets, table: Table) -> SetTable:
        """Set a table over the width of the text."""
        rows = [[c.text for c in row] for row in table.rows]
        widths = _widths(table, rows, sheets.inner)
        cells = [
            [wrapped(text, w + 0.5, _CELL) for text, w in zip(row, widths, strict=True)]
            for row in rows
        ]
        note = len(wrapped(table.notes, sheets.inner, _NOTE)) if table.notes else 0
        return cls(
            widths=widths,
            cells=cells,
            heights=[max(len(x) for x in row) * _CELL * LEADING + 2.0 for row in cells],
            caption=len(wrapped(table.caption, sheets.inner, _CAPTION, bold=True))
            * _CAPTION
            * LEADING,
            note=4.0 + note * _NOTE * LEADING if note else 0.0,
        )

    @property
    def beginning(self) -> float:
        """Room that caption, head and first rows take, pt: two, or all of three, stay together."""
        rows = self.heights[:2] if len(self.heights) > 3 else [*self.heights, self.note]
        return self.caption + 2.0 + _CELL * LEADING + 2.0 + sum(rows)

    def needed_at(self, row: int) -> float:
        """Room that a row wants, pt: the last two stay together, and with the note."""
        left = self.heights[row:]
        return sum(left) + self.note if len(left) == 2 else left[0]


def put_table(sheets: Sheets, table: Table) -> None:
    """Put a table where the page is; its head stands again on every page it goes on."""
    made = SetTable.of(sheets, table)
    sheets.need(made.beginning)
    sheets.text(table.caption, _CAPTION, bold=True, after=2.0)
    _head(sheets, table, made.widths)
    for k, (cells, tall) in enumerate(zip(made.cells, made.heights, strict=True)):
        if sheets.room < made.needed_at(k):
            sheets.new_page()
            _head(sheets, table, made.widths)
        x = sheets.left
        for lines, wide, column in zip(cells, made.widths, table.columns, strict=True):
            for n, line in enumerate(lines):
                at = x + wide if column.right else x
                top = sheets.y + 1.0 + n * _CELL * LEADING
                sheets.put(line, at, top, _CELL, right=column.right)
            x += wide + _CELL_GAP
        sheets.y += tall
        sheets.rule(sheets.y, style.GUIDE, 0.4)
    sheets.y += 4.0
    if table.notes:
        sheets.text(table.notes, _NOTE, colour=style.MUTED, after=4.0)
    sheets.y += 8.0


def _head(sheets: Sheets, table: Table, widths: Sequence[float]) -> None:
    x = sheets.left
    for wide, column in zip(widths, table.columns, strict=True):
        at = x + wide if column.right else x
        sheets.put(column.title, at, sheets.y, _CELL, colour=style.MUTED, right=column.right)
        x += wide + _CELL_GAP
    sheets.y += _CELL * LEADING + 1.0
    sheets.rule(sheets.y, style.MUTED, 0.6)
    sheets.y += 1.0


def _widths(table: Table, rows: Sequence[Sequence[str]], inner: float) -> list[float]:
    """Widths of the columns: natural ones where they fit together.

    Else each has room for its title and longest word, and the rest is shared out by how much more
    each would take (the automatic layout of tables in CSS 2.2, 17.5.2.2, from memory).
    """
    heads = [c.title for c in table.columns]
    room = inner - _CELL_GAP * (len(heads) - 1)
    most = [max(text_width(row[k], _CELL) for row in (heads, *rows)) for k in range(len(heads))]
    if sum(most) <= room:
        return most
    words = [
        max((text_width(w, _CELL) for row in rows for w in _unbroken(row[k])), default=0.0)
        for k in range(len(heads))
    ]
    least = [max(w, text_width(h, _CELL)) for w, h in zip(words, heads, strict=True)]
    if sum(least) >= room:
        return [w * room / sum(least) for w in least]
    share = (room - sum(least)) / (sum(most) - sum(least))
    return [low + share * (high - low) for low, high in zip(least, most, strict=True)]


def _unbroken(text: str) -> list[str]:
    """What is not to be parted: words, and texts as short as the name of a place."""
    return [text] if len(text) <= _SHORT else text.split()
