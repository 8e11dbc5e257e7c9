"""Wild cells, planted in any column of a log.

What is planted comes from every kind:

    huge      +-1e3 to +-1e308, and beyond what a number can hold
    code      what sensors and counters send for "no value": 32767, 65535, -1, 255, 999.9
    sign      the cell's own value, with the other sign
    point     the cell's own value, with the point at the wrong place: times 10, 100 or 1,000
    zero      0 or next to nothing, a code of less than half the lowest too (255 in a column of
              millivolts); at most one in a column, and none within ten rows of another one or
              of zeros that the column has: what reads 0 again and again, or beside others that do,
              is a supply that comes and goes

A code or a number with a slipped point that lies between half the lowest and twice the highest of
its column is not planted: nobody can tell it from a reading. In a column of lowest values that is
anything up to there, for what it shows the other columns missed.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass

HUGE, CODE, SIGN, POINT, ZERO = "huge", "code", "sign", "point", "zero"
WHAT = (HUGE, CODE, SIGN, POINT, ZERO)
_ENDS = ("1e308", "-1e308", "1.797e308", "1e999", "-1e999", "nan", "inf", "-inf")
_CODES = ("32767", "-32768", "65535", "655.35", "6553.5", "327.67", "-1", "255", "999.9", "9999")
_COLUMNS, _CELLS = 6, 5
#: Columns of a table that is worth spoiling.
_WIDE = 3
#: Of the titles of columns of lowest values.
_LOWEST = ("min", "low")
#: Zeros have so many rows between them.
_APART = 10
#: What may part cells; the comma last, for beside the others it may be a decimal mark.
_SEPARATORS = (b";", b"\t", b"|", b",")


@dataclass(frozen=True, kw_only=True)
class Cell:
    """What was planted: data row, column, the kind, and the cell before and after."""

    row: int
    column: int
    what: str
    old: str
    new: str


@dataclass(frozen=True, kw_only=True)
class Table:
    """A log's lines as bytes: where its rows begin and what parts its cells."""

    lines: tuple[bytes, ...]
    separator: bytes
    header: int
    comma: bool

    @property
    def titles(self) -> list[str]:
        return [t.decode("latin-1") for t in self.lines[self.header].split(self.separator)]

    @classmethod
    def of(cls, data: bytes) -> Table | None:
        """The table of a log; None where it is none of lines and separators."""
        if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
            return None
        lines = tuple(data.split(b"\n"))
        middle = lines[len(lines) // 2]
        separator = next((s for s in _SEPARATORS if middle.count(s) >= _WIDE), b"")
        if b'"' in middle or not separator:
            return None
        wide = middle.count(separator)
        header = next(i for i, line in enumerate(lines) if line.count(separator) == wide)
        comma = separator != b"," and b"," in middle
        return cls(lines=lines, separator=separator, header=header, comma=comma)


def _planted(what: str, old: str, chance: random.Random) -> str:
    """What a cell becomes, with a point; "" where such a cell has nothing of the kind."""
    if what == HUGE:
        if chance.random() < 0.2:
            return chance.choice(_ENDS)
        return f"{chance.choice((-1, 1)) * 10 ** chance.uniform(3, 308):.5g}"
    if what == CODE:
        return chance.choice(_CODES)
    if what == ZERO:
        return chance.choice(("0", "0", "-0", "1e-300", "-1e-9"))
    value = _number(old)
    if not math.isfinite(value) or value == 0.0:
        return ""
    return f"{-value:g}" if what == SIGN else f"{value * 10 ** chance.randint(1, 3):g}"


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return math.nan


@dataclass(frozen=True, kw_only=True)
class Own:
    """What a column has of its own.

    Attributes
    ----------
    low, high : float
        Half the lowest and twice the highest; the other way round below zero.
    zeros : frozenset of int
        Rows in which it is nothing.
    """

    low: float
    high: float
    zeros: frozenset[int]

    @classmethod
    def of(cls, table: Table, column: int) -> Own:
        """Of a column of a table."""
        rows = [line.split(table.separator) for line in table.lines]
        texts = {
            n: row[column].decode("latin-1").replace(",", "." if table.comma else ",")
            for n, row in enumerate(rows)
            if n > table.header and len(row) == len(table.titles)
        }
        known = {n: v for n, t in texts.items() if math.isfinite(v := _number(t))}
        low, high = min(known.values(), default=math.inf), max(known.values(), default=-math.inf)
        if any(word in table.titles[column].lower() for word in _LOWEST):
            low = min(low, 0.0)
        return cls(
            low=min(0.5 * low, 2.0 * low),
            high=max(0.5 * high, 2.0 * high),
            zeros=frozenset(n for n, v in known.items() if v == 0.0),
        )

    def like_a_reading(self, value: float) -> bool:
        """Whether nobody can tell a number from a reading."""
        return self.low <= value <= self.high

    def nothing(self, value: float) -> bool:
        """Whether a number is next to nothing in this column."""
        return abs(value) < max(self.low, 1e-6)


def spoil(table: Table, chance: random.Random) -> tuple[bytes, tuple[Cell, ...]]:
    """A log with wild cells, and these."""
    lines = list(table.lines)
    wide = len(table.titles)
    chosen = chance.sample(range(wide), min(wide, chance.randint(1, _COLUMNS)))
    planted: list[Cell] = []
    nothing: set[int] = set()
    rows = range(table.header + 3, len(lines) - 2)
    for column in chosen:
        own = Own.of(table, column)
        zeroed = False
        for row in chance.sample(rows, min(len(rows), chance.randint(1, _CELLS))):
            cells = lines[row].split(table.separator)
            if len(cells) != wide:
                continue
            old, end = cells[column].decode("latin-1"), ""
            if old.endswith("\r"):
                old, end = old[:-1], "\r"
            what = chance.choice([w for w in WHAT if w != ZERO or not zeroed])
            new = _planted(what, old.replace(",", ".") if table.comma else old, chance)
            if not new or (what in (CODE, POINT) and own.like_a_reading(float(new))):
                continue
            if what == ZERO or (what == CODE and own.nothing(float(new))):
                beside = range(row - _APART, row + _APART + 1)
                if zeroed or not nothing.union(own.zeros).isdisjoint(beside):
                    continue
                zeroed = True
                nothing.add(row)
            if table.comma:
                new = new.replace(".", ",")
            planted.append(Cell(row=row, column=column, what=what, old=old, new=new))
            lines[row] = _with_cell(lines[row], table, column, new + end)
    return b"\n".join(lines), tuple(planted)


def _with_cell(line: bytes, table: Table, column: int, text: str) -> bytes:
    cells = line.split(table.separator)
    cells[column] = text.encode("latin-1")
    return table.separator.join(cells)


def emptied(table: Table, planted: Sequence[Cell]) -> bytes:
    """A log with nothing in those cells: the readings are gone, and no number is in their place."""
    lines = list(table.lines)
    for cell in planted:
        end = (
            "\r" if lines[cell.row].endswith(b"\r") and cell.column + 1 == len(table.titles) else ""
        )
        lines[cell.row] = _with_cell(lines[cell.row], table, cell.column, end)
    return b"\n".join(lines)
