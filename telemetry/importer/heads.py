"""What stands above the table of a log, without reading the log."""

from __future__ import annotations

from pathlib import Path

from telemetry.importer.archive import is_packed, read_bytes
from telemetry.importer.text.decoding import decode
from telemetry.importer.text.dialect import find_separator, take_sample
from telemetry.importer.text.layout import find_layout
from telemetry.model.errors import UnreadableLog

# Header, units and the first rows of any log; a preamble is some lines.
_HEAD_BYTES = 1 << 16


def preamble_of(path: Path) -> tuple[tuple[str, str], ...]:
    """The (key, value) lines above the names of a log's columns; none where it is no log.

    Parameters
    ----------
    path : Path
    """
    try:
        if is_packed(path):
            raw = read_bytes(path)[:_HEAD_BYTES]
        else:
            with path.open("rb") as file:
                raw = file.read(_HEAD_BYTES)
        sample = take_sample(decode(raw, path=path)[0])
        separator = find_separator(sample)[0]
        layout = find_layout(sample.head, sample.later, separator) if separator else None
    except (UnreadableLog, OSError, ValueError):
        return ()
    return () if layout is None else layout.preamble
