"""Decimal and thousands marks: "1,234" may be one and a bit, or more than a thousand."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from telemetry.importer.cells import CellKind, kind, number_marks, to_number
from telemetry.importer.names.evidence import judge_unit, shape_of
from telemetry.importer.names.header import readings
from telemetry.importer.names.header_cell import take_apart
from telemetry.importer.names.values import possible
from telemetry.model.channels import Quantity

#: A supply that never reaches this is none, V (common practice, no source).
_LEAST_V = 0.5


def find_decimal(
    rows: Sequence[Sequence[str]], names: Sequence[str] = (), units: Sequence[str] = ()
) -> str:
    """The decimal mark of most columns.

    Parameters
    ----------
    rows : sequence of rows of cells
        Data rows.
    names, units : sequence of str
        Header rows, () where there are none.

    Returns
    -------
    str
        "." or ",". Where no cell shows it beyond doubt ("7.600" beside "-9,000"), the mark under
        which the columns are what their names say.
    """
    votes: Counter[str] = Counter()
    doubtful: Counter[str] = Counter()
    columns = list(zip(*rows, strict=False))
    for column in columns:
        sure = {m[0] for m in map(number_marks, column) if m is not None and m[0]}
        mark = column_marks(column)[0]
        if mark:
            (votes if mark in sure else doubtful)[mark] += 1
    if votes:
        return "," if votes[","] > votes["."] else "."
    if doubtful and names:
        fit = {m: _fit(columns, names, units, m) for m in (".", ",")}
        if fit["."] != fit[","]:
            return max(fit, key=lambda m: fit[m])
    return "," if doubtful[","] > doubtful["."] else "."


def _fit(
    columns: Sequence[Sequence[str]], names: Sequence[str], units: Sequence[str], decimal: str
) -> float:
    """How well the columns are what their names say, if this is the decimal mark."""
    total = 0.0
    for i, (cells, name) in enumerate(zip(columns, names, strict=False)):
        found = readings(take_apart(" ".join(name.split()), units[i] if units else ""))
        if not found:
            continue
        mark, group = column_marks(cells, decimal)
        values = np.array([to_number(c, mark or decimal, group) for c in cells])
        filled = values[np.isfinite(values)]
        if not len(filled):
            continue
        best = found[0]
        judged = judge_unit(shape_of(filled), best.quantity, best.unit)
        changed = best.unit is not None and judged.unit is not best.unit
        inside = possible(filled, best.quantity, judged.unit)
        if best.quantity is Quantity.VOLTAGE and judged.unit is not None:
            inside &= float(np.max(filled)) * judged.unit.factor >= _LEAST_V
        total += judged.fit * (0.5 if changed else 1.0) * (1.0 if inside else 0.2)
    return total


def column_marks(cells: Sequence[str], decimal: str = "") -> tuple[str, str]:
    """Decimal and thousands mark of one column's cells, each "" where nothing shows it.

    Parameters
    ----------
    cells : sequence of str
    decimal : str
        The file's decimal mark, "" while it is not known: "5.180" among decimal commas groups
        thousands.

    Notes
    -----
    "1,234" by itself shows nothing. Where all marks of a column are of that kind, they group
    thousands only if numbers without a mark stand beside them that all are below a thousand,
    as "987" beside "1,012"; else they are decimal marks.
    """
    shown: Counter[str] = Counter()
    grouping: Counter[str] = Counter()
    doubtful: Counter[str] = Counter()
    plain_below = 0
    for cell in cells:
        if kind(cell) not in (CellKind.NUMBER, CellKind.MEASURE):
            continue
        marks = number_marks(cell)
        if marks is None:
            mark = "," if "," in cell else "." if "." in cell else ""
            if mark:
                doubtful[mark] += 1
            elif len(cell.strip().lstrip("+-")) <= 3:
                plain_below += 1
            continue
        if marks[0]:
            shown[marks[0]] += 1
        if marks[1]:
            grouping[marks[1]] += 1
    best = max(shown, key=lambda m: shown[m], default="")
    group = max(grouping, key=lambda m: grouping[m], default="")
    for mark in doubtful:
        if mark in (best, group):
            continue
        if best:
            # The other mark is the decimal one: this one can only group.
            group = group or mark
        elif (decimal and mark != decimal) or (plain_below and mark != "." and not decimal):
            group = group or mark
        else:
            best = mark
    return best, ("" if group == best else group)
