"""Why a text is no table: the error that says so."""

from __future__ import annotations

from collections.abc import Sequence

from telemetry.importer.cells import CellKind, is_blank, kind
from telemetry.importer.names.header import readings
from telemetry.importer.names.header_cell import take_apart
from telemetry.importer.text.dialect import split_line
from telemetry.importer.text.layout import TableLayout
from telemetry.model.errors import UnreadableLog

#: The least score of a name that is more than a word that happens to be in the vocabulary (ours).
_NAMED = 0.7


def no_table(head: Sequence[str]) -> UnreadableLog:
    """Why the lines of a file make no table: the error to raise.

    Parameters
    ----------
    head : sequence of str
        The first lines.
    """
    lines = [line for line in head if line.strip()]
    rows = [split_line(line, max(("\t", ";", "|", ","), key=line.count)) for line in lines]
    named = any(_is_name(c) for row in rows[-3:] for c in row if len(row) > 1)
    if not named and len(rows) > 3:
        named = any(_is_name(c) for c in rows[0] if len(rows[0]) > 1)
    below = [c for row in rows[1:] for c in row]
    if named and len(rows) > 1 and below and all(is_blank(c) for c in below):
        return UnreadableLog("every value is blank", hint="check that the sensors were recorded")
    if named:
        return UnreadableLog(
            "the file has a header but no rows of data",
            hint="check that the recording was started, or copy the file again",
        )
    if sum(any(ch.isdigit() for ch in line) for line in lines) > len(lines) / 2:
        return UnreadableLog(
            "the file has only one column (looked for , ; | tab and blanks between values)",
            hint="export the log with its time and values side by side",
        )
    return UnreadableLog(
        f"the file holds text, but no table of values (it begins '{lines[0].strip()[:40]}')",
        hint="give the log itself",
    )


def _is_name(cell: str) -> bool:
    return any(r.score >= _NAMED for r in readings(take_apart(" ".join(cell.split()))))


def comma_is_both(head: Sequence[str], layout: TableLayout) -> bool:
    """True where commas split values in two: far more cells in the rows than names above them.

    Parameters
    ----------
    head : sequence of str
    layout : TableLayout
    """
    if layout.names or layout.data_line == 0:
        return False
    above = split_line(head[layout.data_line - 1], ",")
    return 2 <= len(above) < layout.fields and all(kind(c) is CellKind.WORD for c in above)
