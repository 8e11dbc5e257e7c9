"""A header with more or fewer names than columns: the values tell which name has no partner.

Names keep their order. Each name is scored against each column by what its quantity looks like,
and the order-preserving assignment with the best sum wins, where it wins clearly; the recursion
is that of Needleman & Wunsch, "A general method applicable to the search for similarities in the
amino acid sequence of two proteins", Journal of Molecular Biology 48 (1970). The scores are ours.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from telemetry.importer.cells import CellKind, is_blank, kind, to_number
from telemetry.importer.names.evidence import judge_unit, shape_of
from telemetry.importer.names.header import HeaderReading, readings
from telemetry.importer.names.header_cell import take_apart
from telemetry.importer.names.values import convert, possible
from telemetry.importer.text.dialect import split_line, take_sample
from telemetry.importer.text.layout import TableLayout
from telemetry.importer.text.marks import column_marks
from telemetry.importer.text.tail import is_row
from telemetry.importer.wording import count
from telemetry.model.channels import Quantity
from telemetry.model.errors import UnreadableLog
from telemetry.numerics.wild import few

FloatArray = NDArray[np.float64]

#: An assignment must be this much better than any other, where a name that fits counts 1 and one
#: that the values rule out -1 (heuristic).
MARGIN = 1.0
#: Voltages of a model's radio power, V (common practice, no source).
_VOLTS = (2.5, 75.0)
#: A supply stays within this share of itself; a current that stays within a tenth is none
#: (heuristic).
_STEADY, _STILL = 0.5, 0.1
#: A temperature steps by less than this share of its extent, a current by more; a current flows
#: both ways in less than this share of the rows (heuristic).
_SMOOTH, _BOTH_WAYS = 0.03, 0.1
#: Places of a file that are looked at, and how much in each.
_PLACES, _PLACE_BYTES = 24, 8_192
# Cells whose decimals are counted.
_SOME = 200
#: Names that a verdict may rest on.
_JUDGED = (
    Quantity.TIME,
    Quantity.VOLTAGE,
    Quantity.CELL_VOLTAGE,
    Quantity.CURRENT,
    Quantity.CONSUMED,
    Quantity.TEMPERATURE,
    Quantity.POWER,
    Quantity.UPTIME,
)
_GROW = (Quantity.CONSUMED, Quantity.ENERGY, Quantity.UPTIME)


def align_names(layout: TableLayout, text: bytes, separator: str, decimal: str) -> TableLayout:
    """The layout with every name over its column, where their numbers differ.

    Parameters
    ----------
    layout : TableLayout
    text : bytes
        The file: looked at in many places, for a log begins and ends at rest.
    separator, decimal : str

    Raises
    ------
    UnreadableLog
        The values do not tell where the name of a supply belongs. Other names of which that is
        not clear are left out.
    """
    names = layout.header
    width = _filled(layout, layout.rows)
    if not names or len(names) == width or width < len(names) <= layout.fields:
        return layout
    sample = take_sample(text, head_bytes=_PLACE_BYTES, later_bytes=_PLACE_BYTES, places=_PLACES)
    split = (tuple(split_line(line, separator)) for line in (*sample.head, *sample.later))
    rows = [r for r in split if len(r) == layout.fields and is_row(list(r), layout)] or layout.rows
    width = max(_filled(layout, rows), min(len(names), layout.fields))
    looks = [_Look(cells, decimal) for cells in zip(*(r[:width] for r in rows), strict=True)]
    units = layout.units or ("",) * layout.fields
    read = [
        [next(iter(readings(take_apart(" ".join(n.split()), u))), None) for u in units[:width]]
        for n in names
    ]
    score = np.array(
        [[0.0 if r is None else x.fit(r) for r, x in zip(row, looks, strict=True)] for row in read]
    )
    partner, clear = _assign(score)
    score -= _odd_decimals(read, looks, partner, clear)
    partner, clear = _assign(score)
    judged = [any(r is not None and r.quantity in _JUDGED for r in row) for row in read]
    if any(k and not c for k, c in zip(judged, clear, strict=True)):
        which = "which name is missing" if len(names) < width else "which of them has no column"
        raise UnreadableLog(
            f"the header has {len(names)} names over {width} columns, and the values do not tell "
            f"{which}",
            line=layout.header_line,
            hint="write one name over each column into the header",
        )
    aligned = [""] * layout.fields
    for name, column, sure in zip(names, partner, clear, strict=True):
        if column >= 0 and sure:
            aligned[column] = name
    bare = [f"{i + 1}" for i in range(width) if not aligned[i]]
    lost = [f"'{n}'" for n in names if n not in aligned]
    told = [f"column {', '.join(bare)} without a name"] if bare else []
    told += [f"{', '.join(lost)} without a sure place"] if lost else []
    note = (
        f"the header has {count(len(names), 'name')} over {width} columns; by the values, "
        f"{' and '.join(told)}"
    )
    return replace(layout, names=tuple(aligned), notes=(*layout.notes, note))


def _filled(layout: TableLayout, rows: Sequence[Sequence[str]]) -> int:
    """Columns up to the last that holds anything; under a blank name, more than stray cells."""
    bare = range(len(layout.header), layout.header_fields)
    filled = [len(rows) - sum(map(is_blank, cells)) for cells in zip(*rows, strict=True)]
    stray = few(len(rows))
    return max((i + 1 for i, n in enumerate(filled) if n > (stray if i in bare else 0)), default=0)


def _odd_decimals(
    read: Sequence[Sequence[HeaderReading | None]],
    looks: Sequence[_Look],
    partner: Sequence[int],
    clear: Sequence[bool],
) -> FloatArray:
    """1 where a column has other decimals than the columns of that quantity that are sure."""
    usual: dict[Quantity, set[int]] = {}
    for row, j, sure in zip(read, partner, clear, strict=True):
        r = row[j] if sure and j >= 0 else None
        if r is not None and not looks[j].blank:
            usual.setdefault(r.quantity, set()).add(looks[j].decimals)
    return np.array(
        [
            [
                float(r is not None and r.quantity in usual and x.decimals not in usual[r.quantity])
                for r, x in zip(row, looks, strict=True)
            ]
            for row in read
        ]
    )


#: Fewer rows than these that are too short are looked over (heuristic).
MOST_SHORT = 20


def refuse_shifted(
    short: Mapping[int, tuple[int, Sequence[Sequence[str]]]], layout: TableLayout, decimal: str
) -> None:
    """Refuse rows that are too short where it is not their last values that are missing.

    Parameters
    ----------
    short : mapping
        Number of cells to the first line with so many and rows of that length.
    layout : TableLayout
    decimal : str

    Raises
    ------
    UnreadableLog
        A column is missing in the middle.
    """
    whole = [row for row in layout.rows if not is_blank(row[-1])]
    for cells, (line, rows) in short.items():
        if min(len(rows), len(whole)) < MOST_SHORT or cells < 2:
            continue
        these = [_Look(c, decimal) for c in zip(*rows, strict=True)]
        those = [_Look(c, decimal) for c in zip(*whole, strict=True)]
        score = np.array([[a.like(b) for b in those] for a in these])
        partner, _ = _assign(score)
        better = score[np.arange(cells), partner].sum() - score.trace()
        if score.diagonal().min() < 0 and better >= 2 * MARGIN:
            raise UnreadableLog(
                f"rows from here on have {cells} cells and others {layout.fields}; by the values, "
                f"it is not the last ones that are missing",
                line=line,
                hint="cut the file in two where the number of cells changes",
            )


class _Look:
    """What the cells of one column look like."""

    def __init__(self, cells: Sequence[str], decimal: str) -> None:
        kinds = [kind(c) for c in cells]
        self.blank = all(k is CellKind.BLANK for k in kinds)
        self.clock = sum(k is CellKind.TIME for k in kinds) > len(cells) / 2
        mark, group = column_marks(cells, decimal)
        values = np.array([to_number(c, mark or decimal, group) for c in cells])
        self.values: FloatArray = values[np.isfinite(values)]
        self.words = not (len(self.values) or self.clock or self.blank)
        self.shape = shape_of(self.values)
        steps = np.diff(self.values)
        self.grows = len(steps) > 0 and float(np.mean(steps < 0)) <= 0.01 and bool(steps.any())
        self.moves = float(np.mean(steps > 0)) if len(steps) else 0.0
        plain = [c.strip().partition(mark or decimal)[2] for c in cells[:_SOME]]
        self.decimals = max(map(len, plain), default=0)
        extent = float(np.ptp(self.values)) if len(self.values) else 0.0
        #: Size of a usual step against the whole extent.
        self.rough = float(np.sqrt(np.mean(steps**2))) / extent if len(steps) and extent else 0.0

    def fit(self, r: HeaderReading) -> float:
        """From 1, the values are what the name says, to -1, they are not."""
        if self.blank:
            return 0.0
        if r.quantity is Quantity.TIME:
            return 1.0 if self.clock or (self.grows and self.moves > 0.5) else -1.0
        if self.words or r.quantity in (Quantity.STATUS, Quantity.UNKNOWN, Quantity.COUNT):
            return 0.0 if r.quantity in (Quantity.STATUS, Quantity.UNKNOWN) else -1.0
        if self.clock:
            return -1.0
        unit = judge_unit(self.shape, r.quantity, r.unit).unit
        values = self.values if unit is None else convert(self.values, unit)
        low, middle, high = np.percentile(values, (2, 50, 98))
        steady = (high - low) / max(abs(middle), 1e-9)
        if r.quantity in _GROW:
            return 1.0 if self.grows else -1.0 if len(np.unique(values)) > 1 else 0.0
        if r.quantity is Quantity.VOLTAGE:
            return 1.0 if _VOLTS[0] <= middle <= _VOLTS[1] and steady <= _STEADY else -1.0
        if not possible(values, r.quantity, None) or (self.grows and self.moves > 0.05):
            return -1.0
        if r.quantity is Quantity.CURRENT:
            both = min(float(np.mean(values < 0)), float(np.mean(values > 0)))
            if both > _BOTH_WAYS or (abs(middle) >= 1.0 and self.rough < _SMOOTH):
                return -1.0
            return 1.0 if steady > _STILL or abs(middle) < 1.0 else -0.5
        if r.quantity is Quantity.TEMPERATURE:
            return 1.0 if self.rough < _SMOOTH else -0.5
        if unit is not None and unit.symbol == "dBm":
            return 1.0 if high < 0 else -1.0
        return 0.25

    def like(self, other: _Look) -> float:
        """From 1, the values are like those of another column, to -1, they are not."""
        if self.blank or other.blank:
            return 0.0
        if self.words or other.words or self.clock or other.clock:
            return 0.0 if (self.words, self.clock) == (other.words, other.clock) else -1.0
        if self.grows and other.grows:
            return 0.0
        low, high = np.percentile(other.values, (1, 99))
        room = 0.5 * (high - low) + 0.02 * abs(high)
        return 1.0 if low - room <= np.median(self.values) <= high + room else -1.0


def _assign(score: FloatArray) -> tuple[list[int], list[bool]]:
    """Column of each name (-1: none), and whether that is clearly better than any other.

    As many pairs as there are can be; what is left over of the longer side has no partner.
    """
    few_names = score.shape[0] <= score.shape[1]
    short = score if few_names else score.T
    n, m = short.shape
    ahead = np.full((n + 1, m + 1), -np.inf)
    behind = np.full((n + 1, m + 1), -np.inf)
    ahead[0], behind[n] = 0.0, 0.0
    for i in range(n):
        for j in range(m):
            ahead[i + 1, j + 1] = max(ahead[i + 1, j], ahead[i, j] + short[i, j])
            a, b = n - 1 - i, m - 1 - j
            behind[a, b] = max(behind[a, b + 1], behind[a + 1, b + 1] + short[a, b])
    through = ahead[:n, :m] + short + behind[1:, 1:]
    best = [int(j) for j in through.argmax(axis=1)]
    sure = [
        float(row[j]) - float(np.max(np.delete(row, j), initial=-np.inf)) >= MARGIN
        for row, j in zip(through, best, strict=True)
    ]
    if few_names:
        return best, sure
    partner, clear = [-1] * m, [True] * m
    for column, (name, safe) in enumerate(zip(best, sure, strict=True)):
        partner[name], clear[name] = column, safe
        if not safe:  # the names that could stand here as well
            rivals = np.flatnonzero(through[column] > through[column, name] - MARGIN)
            for rival in rivals:
                clear[int(rival)] = False
    return partner, clear
