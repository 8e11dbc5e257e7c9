"""What stands above the table of a log, without reading the log; the packs that a log names."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from pathlib import Path

from telemetry.importer.names.header_cell import take_apart
from telemetry.importer.names.words import Role
from telemetry.importer.text.archive import is_packed, read_bytes
from telemetry.importer.text.decoding import decode
from telemetry.importer.text.dialect import find_separator, take_sample
from telemetry.importer.text.heading import OtherHeader
from telemetry.importer.text.layout import TableLayout, find_layout
from telemetry.model.errors import UnreadableLog
from telemetry.model.files import open_regular

# Header and first rows of nearly every log, and those below a long preamble (heuristic).
_HEAD_BYTES = (1 << 14, 1 << 16)
# A number with decimals or a unit is a measured value, no label.
_VALUE = re.compile(r"[-+]?(?:\d+[.,]\d+|\d+(?:[.,]\d+)?\s*(?:[^\W\d]{1,4}|%))")
# Words that add nothing to a name of the packs.
_LABEL = frozenset({"set", "id", "label"})


def preamble_of(path: Path) -> tuple[tuple[str, str], ...]:
    """The (key, value) lines above the names of a log's columns; none where it is no log.

    Parameters
    ----------
    path : Path
    """
    try:
        for most in _HEAD_BYTES:
            raw = _head(path, most)
            layout = _layout_in(decode(raw, path=path)[0])
            if layout is not None:
                return layout.preamble
            if len(raw) < most:
                break
    except (UnreadableLog, OSError, ValueError):
        pass
    return ()


def _head(path: Path, most: int) -> bytes:
    if is_packed(path):
        return read_bytes(path)[:most]
    with open_regular(path) as file:
        return file.read(most)


def _layout_in(data: bytes) -> TableLayout | None:
    sample = take_sample(data)
    separator = find_separator(sample)[0]
    return _first_layout(sample.head, sample.later, separator) if separator else None


def _first_layout(head: Sequence[str], later: Sequence[str], separator: str) -> TableLayout | None:
    """The layout of the first table, where another with a header of its own follows."""
    while head:
        try:
            return find_layout(head, later, separator)
        except OtherHeader as other:
            head, later = head[: other.line - 1], ()
    return None


def packs_in(said: Iterable[tuple[str, str]]) -> str | None:
    """The label of the packs, as "Pack: blue" above the table; None where nothing tells it.

    Parameters
    ----------
    said : iterable of (str, str)
        Names and what is said under them: lines above the table, or a column of one word.
    """
    for name, value in said:
        words = take_apart(name).words
        own = [w for w in words if w.text.casefold() not in _LABEL]
        of_packs = bool(own) and all(w.has(Role.PLACE, "pack") for w in own)
        if of_packs and value.strip() and not _VALUE.fullmatch(value.strip()):
            return " ".join(value.split())
    return None
