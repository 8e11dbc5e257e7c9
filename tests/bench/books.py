"""Logbooks of any size on measures alone: tiny logs, with what a review would have measured kept.

The files are those of a real book, with their entry, so that all of it can be read, checked and
opened; only that nothing waits for the disk.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from unittest import mock

from telemetry.aircraft.profile import new_profile
from telemetry.app.cache import version_for
from telemetry.book import Logbook
from telemetry.book.adding import part_of
from telemetry.book.files import originals
from telemetry.book.files.layout import Places
from telemetry.book.files.names import recording_id
from telemetry.book.files.tables import parquet_of, table_of
from telemetry.book.files.writing import json_bytes, write_file
from telemetry.book.ledger.entries import Seal, enter
from telemetry.book.records import Recording
from telemetry.importer import read_log
from telemetry.model.log import Log
from telemetry.trends.measures import Measures

_ROWS = "Time [s],Bus U [V],Bus I [A]\n" + "".join(f"{k},8.0{k},1.{k}\n" for k in range(8))
_BEGAN = datetime(2024, 4, 20, 15)


def stored_book(root: Path, fleet: Mapping[str, Iterable[Measures]]) -> Logbook:
    """A new book of these flights, one a day, aircraft by aircraft."""
    with mock.patch("telemetry.book.files.writing.os.fsync"):
        book, places = Logbook(root), Places(root)
        log, order, seals = _log(), 0, {}
        for aircraft, flights in fleet.items():
            book.put_profile(aircraft, new_profile(aircraft, log))
            version = version_for(book.profile(aircraft))
            for number, measures in enumerate(flights):
                order += 1
                data = f"{_ROWS}8,8.00,{order}\n".encode()
                start = (_BEGAN + timedelta(days=number)).isoformat()
                recording, written = _stored(places, log, data, aircraft, order, start)
                seals |= written
                own = replace(measures, start=start, file=recording.file)
                book.put_measures(recording.flights[0].id, version, own.document())
        enter(places, seals)
    return book


def _log() -> Log:
    with TemporaryDirectory() as folder:
        path = Path(folder, "log.csv")
        path.write_text(f"{_ROWS}8,8.00,1.0\n", encoding="utf-8")
        return read_log(path)


def _stored(
    places: Places, log: Log, data: bytes, aircraft: str, order: int, start: str
) -> tuple[Recording, dict[Path, Seal]]:
    """A recording as :func:`telemetry.book.adding.write` writes it, and what its files held."""
    sha256 = hashlib.sha256(data).hexdigest()
    identity, file = recording_id(sha256), f"{aircraft} {order}.csv"
    log = replace(log, provenance=replace(log.provenance, file=file, sha256=sha256, start=start))
    stored = originals.store(places.original(identity), data)
    recording = Recording(
        id=identity,
        sha256=sha256,
        size_bytes=len(data),
        stored_bytes=len(stored),
        file=file,
        aircraft=aircraft,
        order=order,
        added=datetime.now(UTC).isoformat(),
        start=start,
        start_source="log",
        flights=(part_of(identity, 0, log, log, "flight"),),
    )
    path = places.flight(aircraft, recording.flights[0].id)
    table, record = parquet_of(table_of(log, recording.document())), places.record(identity)
    write_file(path, table)
    write_file(record, json_bytes(recording.document()))
    return recording, {
        places.original(identity): Seal.of(stored),
        path: Seal.of(table),
        record: Seal.of(json_bytes(recording.document()), whole=True),
    }
