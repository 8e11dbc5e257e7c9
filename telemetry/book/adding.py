"""Add a recording to the book, step by step; the record comes last."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from telemetry.aircraft.profile import new_profile
from telemetry.book.changes import Changes, load_changes
from telemetry.book.files import originals
from telemetry.book.files.dates import start_of
from telemetry.book.files.layout import Places, layout_of
from telemetry.book.files.names import aircraft_key, file_name, flight_id, recording_id
from telemetry.book.files.tables import cut, parquet_of, table_of
from telemetry.book.files.writing import changing, json_bytes, write_file
from telemetry.book.ledger.entries import Seal, entering, write_entered
from telemetry.book.maps import AircraftGuess, Clues, clues_of, load_learnt
from telemetry.book.placing import found_place, right_place
from telemetry.book.records import Outcome, Recording, RecordingPart, load_recording
from telemetry.model.errors import BookError
from telemetry.model.log import Log
from telemetry.results import Flight


@dataclass(frozen=True, slots=True, kw_only=True)
class BookEntry:
    """A log that is settled and only has to be written: whose it is, its order, its flights."""

    recording: Recording
    data: bytes
    logs: tuple[Log, ...]
    file: str
    reason: str
    named: bool


def settle(
    places: Places,
    log: Log,
    data: bytes,
    *,
    aircraft: str | None,
    guess: Callable[[Log], AircraftGuess],
    owners: Callable[[str], tuple[str, ...]],
    next_order: Callable[[], int],
    flights: Sequence[Flight],
    on: str | None,
    settings: Mapping[str, str],
    row_interval_s: float | None,
) -> Outcome | BookEntry:
    """Settle what is to be added, and learn from it; see :meth:`telemetry.book.Logbook.add`."""
    layout_of(places)  # a book that has gone is not begun anew
    wanted = None if aircraft is None else aircraft_key(aircraft)
    given = log.provenance.file
    sha256 = hashlib.sha256(data).hexdigest()
    if sha256 != log.provenance.sha256:
        raise changing(given)
    known = known_recording(places, sha256)
    if known is not None:
        return known_outcome(given, known, load_changes(places), wanted)
    identity = recording_id(sha256)
    old = _unfinished(places.record(identity), sha256)
    reason, named = "given", old is None and wanted is not None
    if old is not None:
        wanted, reason = old.aircraft, "it was added before"
    elif wanted is None:
        found = guess(log)
        if found.aircraft is None:
            raise unsure_error(given, found)
        wanted, reason = found.aircraft, found.reason
    else:
        model = clues_of(log).model
        whose = owners(model)
        if whose and wanted not in whose:
            raise strange_error(given, model, whose)
    file = file_name(given)
    log = replace(log, provenance=replace(log.provenance, file=file))
    start, start_source = start_of(log.provenance.start, file, on)
    cuts = cut(log, tuple(f.start_s for f in flights))
    kinds = [f.kind for f in flights] or [""]
    recording = Recording(
        id=identity,
        sha256=sha256,
        size_bytes=len(data),
        stored_bytes=0,
        file=file,
        aircraft=wanted,
        order=next_order() if old is None else old.order,
        added=datetime.now(UTC).isoformat() if old is None else old.added,
        start=start,
        start_source=start_source,
        flights=tuple(
            part_of(identity, first, log, own, kind)
            for (first, own), kind in zip(cuts, kinds, strict=True)
        ),
        settings=dict(settings),
        row_interval_s=row_interval_s,
    )
    introduce(places, log, recording, aircraft or wanted)
    return BookEntry(
        recording=recording,
        data=data,
        logs=tuple(own for _, own in cuts),
        file=given,
        reason=reason,
        named=named,
    )


def write(places: Places, entry: BookEntry) -> Outcome:
    """Write what was settled; entries may be written in any order and at once."""
    layout_of(places)
    original = places.original(entry.recording.id)
    stored = Seal.of(originals.store(original, entry.data))
    recording = replace(entry.recording, stored_bytes=stored.size_bytes)
    tables = write_flights(places, recording, entry.logs)
    record, data = places.record(recording.id), json_bytes(recording.document())
    with entering(places, {original: stored, **tables, record: Seal.of(data, whole=True)}):
        write_file(record, data)
    return Outcome(
        file=entry.file,
        status="added",
        aircraft=recording.aircraft,
        recording=recording.id,
        flights=tuple(p.id for p in recording.flights),
        reason=entry.reason,
        named=entry.named,
    )


def introduce(places: Places, log: Log, recording: Recording, name: str) -> None:
    """Learn a log's columns, and make a profile for an aircraft that has none."""
    learn(places, clues_of(log), recording)
    profile = places.profile(recording.aircraft)
    if not profile.exists():
        write_entered(places, profile, new_profile(name.strip(), log).encode())


def known_recording(places: Places, sha256: str) -> Recording | None:
    """The recording of that content; None where the book lacks it or any file of it."""
    path = places.record(recording_id(sha256))
    if not path.exists():
        return None
    with suppress(BookError, OSError):
        found = load_recording(path)
        stored = places.original(found.id).stat().st_size == found.stored_bytes
        changes = load_changes(places)
        flights = (found_place(places, changes, found, p.id) for p in found.flights)
        if found.sha256 == sha256 and stored and all(p.exists() for p in flights):
            return found
    return None


def _unfinished(path: Path, sha256: str) -> Recording | None:
    """A record that is there although other files of its recording are missing or damaged."""
    old = None
    if path.exists():
        with suppress(BookError):
            old = load_recording(path)
    if old is not None and old.sha256 != sha256:
        raise BookError(
            f"two recordings have the same short hash {path.stem}",
            path=path,
            hint="keep one of them in a book of its own",
        )
    return old


def part_of(recording: str, first_row: int, log: Log, own: Log, kind: str) -> RecordingPart:
    """The entry of a flight: ``log`` is the whole recording, ``own`` the flight cut out of it."""
    time_s = log.time_s
    rows = len(own.frame)
    return RecordingPart(
        id=flight_id(recording, first_row),
        first_row=first_row,
        rows=rows,
        start_s=float(time_s[first_row]),
        end_s=float(time_s[first_row + rows - 1]),
        kind=kind,
    )


def write_flights(places: Places, recording: Recording, logs: Sequence[Log]) -> dict[Path, Seal]:
    """Write the samples of each flight of a recording; the same input gives the same bytes."""
    changes = load_changes(places)
    written = {}
    for part, own in zip(recording.flights, logs, strict=True):
        path = right_place(places, changes, recording, part.id)
        data = parquet_of(table_of(own, recording.document()))
        write_file(path, data)
        written[path] = Seal.of(data)
    return written


def learn(places: Places, clues: Clues, recording: Recording) -> None:
    """Learn from a log whose header this is and how it is read; a damaged map begins anew."""
    path = places.learnt(recording.aircraft, clues.fingerprint)
    old = None
    if path.exists():
        with suppress(BookError):
            old = load_learnt(path)
    (old or clues.new(recording.aircraft)).with_log(clues, recording.settings).keep(places)


def known_outcome(file: str, known: Recording, changes: Changes, wanted: str | None) -> Outcome:
    """The outcome for a file that the book has, or had: what was removed is not added again."""
    left = changes.left(known)
    aside = sum(len(one.flights) for one in changes.aside(known))
    whose = left[0].aircraft if left else changes.aside(known)[0].aircraft
    reason = ""
    if aside:
        what = "it" if not left else f"{aside} of its {len(known.flights)} flights"
        reason = f"{what} was removed from the book; busbook restore {known.id[:8]} takes it back"
    elif wanted is not None and wanted != whose:
        reason = f"the book has it as a flight of '{whose}'"
    return Outcome(
        file=file,
        status="known",
        aircraft=whose,
        recording=known.id,
        flights=tuple(p.id for one in left for p in one.flights),
        reason=reason,
    )


def strange_error(file: str, model: str, whose: Iterable[str]) -> BookError:
    """The error for a log whose header is another aircraft's than the one that was named."""
    return BookError(
        f"its header names '{model}', which is {' or '.join(sorted(whose))} in this book",
        path=file,
        hint="add it without --aircraft; 'busbook move' gives it to another",
    )


def unsure_error(file: str, found: AircraftGuess) -> BookError:
    """The error for a log whose aircraft is not sure: it names those it may be."""
    names = ", ".join(found.candidates)
    return BookError(
        f"it is not clear which aircraft this log is of: {found.reason}",
        path=file,
        hint=f"say --aircraft with one of {names}, or a new name" if names else "say --aircraft",
    )
