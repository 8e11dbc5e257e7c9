"""Records of all recordings in one file, so that a book of many lists at once; never the truth.

What it says of a record counts as long as that has the size and the time of its last change that it
had; every other record is read itself. It is written anew where many had to be.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from telemetry.book.files.layout import Places, Stamp
from telemetry.book.files.writing import read_sealed, write_sealed
from telemetry.book.records import Recording, load_recording
from telemetry.model.errors import BookError

# So few records are read faster than the index is written.
FEW_RECORDS = 64
# A record that was changed so shortly ago may change again within one tick of its clock, ns: files
# of a memory card tell even seconds alone (common practice).
SETTLED_NS = 5_000_000_000

_Documents = Mapping[str, tuple[Stamp, Mapping[str, Any]]]

# What the index of a book held, by where it lies and by its own stamp: pages ask again and again.
documents_read: dict[Path, tuple[Stamp, _Documents]] = {}


def recordings_in(
    places: Places, wanted: Callable[[str, str], bool] | None = None
) -> list[Recording]:
    """Recordings of a book, in no order.

    Parameters
    ----------
    places : Places
    wanted : callable, optional
        Of the id of a recording and its aircraft, whether it is; those of which the index says
        nothing may be among them whatever it tells. Without it all are.

    Raises
    ------
    BookError
        If a record cannot be read.
    """
    stamps = _stamps(places)
    known = _documents(places) if len(stamps) > FEW_RECORDS else {}
    settled_ns = time.time_ns() - SETTLED_NS
    found, fresh = [], {}
    for name, stamp in stamps.items():
        held, doc = known.get(name, (None, {}))
        if held != stamp:
            one = load_recording(places.record(name))
            if stamp.changed_ns < settled_ns:
                fresh[name] = stamp, one.document()
        elif wanted is None or wanted(name, doc["aircraft"]):
            one = _recording_of(doc, name) or load_recording(places.record(name))
        else:
            continue
        found.append(one)
    if len(fresh) > FEW_RECORDS:
        left = {name: row for name, row in known.items() if row[0] == stamps.get(name)}
        rows = [[*stamp, doc] for stamp, doc in (left | fresh).values()]
        with suppress(BookError):  # a book that cannot be written to is read
            write_sealed(places.index, {"rows": rows}, indent=None)
    return found


def index_fits(places: Places, recordings: Mapping[str, Recording]) -> bool:
    """Whether the index says of these recordings, by id, what they are, or is missing."""
    if not places.index.exists():
        return True
    try:
        rows = _parsed(read_sealed(places.index))
    except (BookError, KeyError, TypeError, ValueError):
        return False
    stamps = _stamps(places)
    counts = {name: doc for name, (stamp, doc) in rows.items() if stamps.get(name) == stamp}
    return all(
        name in recordings and _recording_of(doc, name) == recordings[name]
        for name, doc in counts.items()
    )


def _stamps(places: Places) -> dict[str, Stamp]:
    there = places.stamps("originals", ".json")
    return {name.removesuffix(".json"): stamp for name, stamp in there.items()}


def _recording_of(doc: Mapping[str, Any], name: str) -> Recording | None:
    """The recording of that id in a document; None where it is none."""
    with suppress(BookError):
        found = Recording.of(doc)
        return found if found.id == name else None
    return None


def _documents(places: Places) -> _Documents:
    """What the index says; nothing where it is missing, damaged or another program's."""
    path = places.index
    with suppress(BookError, OSError, KeyError, TypeError, ValueError):
        stamp = Stamp.of(path.stat())
        known = documents_read.get(path)
        if known is None or known[0] != stamp:
            known = documents_read[path] = stamp, _parsed(read_sealed(path))
        return known[1]
    return {}


def _parsed(doc: Mapping[str, Any]) -> _Documents:
    rows = {one["id"]: (Stamp(size, changed), one) for size, changed, one in doc["rows"]}
    if not all(isinstance(one, dict) and "aircraft" in one for _, one in rows.values()):
        raise TypeError("no document of a recording")
    return rows
