"""Records of all recordings in one file, so that a book of many lists at once; never the truth.

What it says of a record counts as long as that has the size and the time of its last change that it
had; every other record is read itself. It is written anew where many had to be.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from telemetry.book.files.layout import Places, Stamp
from telemetry.book.files.writing import read_sealed, write_sealed
from telemetry.book.records import Recording, load_recording
from telemetry.model.errors import BookError

# So few records are read faster than the index is written.
_FEW = 64
# A record that was changed so shortly ago may change again within one tick of its clock, ns: files
# of a memory card tell even seconds alone (common practice).
_SETTLED_NS = 5_000_000_000

_Rows = Mapping[str, tuple[Stamp, Recording]]

# What the index of a book held, by where it lies and by its own stamp: pages ask again and again.
_read: dict[Path, tuple[Stamp, _Rows]] = {}


def recordings_in(places: Places) -> list[Recording]:
    """All recordings of a book, in no order.

    Raises
    ------
    BookError
        If a record cannot be read.
    """
    stamps = _stamps(places)
    known = _rows(places) if len(stamps) > _FEW else {}
    settled_ns = time.time_ns() - _SETTLED_NS
    found: dict[str, tuple[Stamp, Recording]] = {}
    fresh = 0
    for name, stamp in stamps.items():
        row = known.get(name)
        if row is None or row[0] != stamp:
            row = stamp, load_recording(places.record(name))
            fresh += stamp.changed_ns < settled_ns
        found[name] = row
    if fresh > _FEW:
        rows = [[*s, one.document()] for s, one in found.values() if s.changed_ns < settled_ns]
        with suppress(BookError):  # a book that cannot be written to is read
            write_sealed(places.index, {"rows": rows}, indent=None)
    return [recording for _, recording in found.values()]


def index_fits(places: Places, recordings: Mapping[str, Recording]) -> bool:
    """Whether the index says of these recordings, by id, what they are, or is missing."""
    if not places.index.exists():
        return True
    try:
        rows = _parsed(read_sealed(places.index))
    except (BookError, KeyError, TypeError, ValueError):
        return False
    stamps = _stamps(places)
    counts = {name: found for name, (stamp, found) in rows.items() if stamps.get(name) == stamp}
    return all(recordings.get(name) == found for name, found in counts.items())


def _stamps(places: Places) -> dict[str, Stamp]:
    there = places.stamps("originals").items()
    return {name[:-5]: stamp for name, stamp in there if name.endswith(".json")}


def _rows(places: Places) -> _Rows:
    """What the index says; nothing where it is missing, damaged or another program's."""
    path = places.index
    with suppress(BookError, OSError, KeyError, TypeError, ValueError):
        stamp = Stamp.of(path.stat())
        known = _read.get(path)
        if known is None or known[0] != stamp:
            known = _read[path] = stamp, _parsed(read_sealed(path))
        return known[1]
    return {}


def _parsed(doc: Mapping[str, object]) -> _Rows:
    rows = doc["rows"]
    if not isinstance(rows, list):
        raise TypeError("no rows")
    found = ((Stamp(size, changed), Recording.of(one)) for size, changed, one in rows)
    return {recording.id: (stamp, recording) for stamp, recording in found}
