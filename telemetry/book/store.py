"""The logbook: a folder of plain files that any Parquet engine reads without this program.

::

    format.toml                              version of the layout
    originals/<recording>.csv.zst            byte for byte what was read
    originals/<recording>.json               what the book was told of it; written last
    aircraft/<name>.toml                     profiles
    flights/aircraft=<name>/<id>.parquet     samples, canonical columns, provenance in the metadata
    notes/aircraft=<name>/<id>.json          one note a file
    maps/aircraft=<name>/<columns>.json      learnt: whose columns these are, how they are read
    measures/<id>.json                       derived; made again whenever missing

Recordings and flights are named by the content of the original, so adding twice changes nothing
and two writers of one recording write the same files. The record is written last: what a crash
left without one is not in the book, and adding it again completes it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any
from unicodedata import normalize

from telemetry.aircraft import Aircraft
from telemetry.book import originals
from telemetry.book.adding import add_log, assign_recording, known_recording
from telemetry.book.checking import CheckReport, Read, check
from telemetry.book.export import export_flights, export_log
from telemetry.book.files import read_file, read_json, write_file, write_json
from telemetry.book.layout import open_book
from telemetry.book.maps import Guess, Learnt, clues_of, column_maps, guess
from telemetry.book.names import (
    aircraft_key,
    checked_flight,
    checked_recording,
    is_flight,
    recording_id,
)
from telemetry.book.records import (
    BookFlight,
    Note,
    NoteKind,
    Outcome,
    Recording,
    flights_of,
    in_order,
    load_note,
    load_recording,
    new_note,
)
from telemetry.book.tables import log_of, read_table
from telemetry.errors import BookError
from telemetry.importer import ColumnMap
from telemetry.log import Log
from telemetry.profile import read_profile
from telemetry.results import Flight


class Logbook:
    """A logbook in a folder; made if the folder is missing or empty.

    Safe with several processes writing at once. Nothing is written outside the folder, except by
    :meth:`export`.

    Parameters
    ----------
    path : path

    Raises
    ------
    BookError
        If the folder is no logbook, was written by a newer version, or cannot be made.
    """

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        self._places = open_book(self.path)
        self._order: int | None = None

    # What it holds.

    def aircraft(self) -> tuple[str, ...]:
        """Names of the aircraft that have flights, notes or a profile, in order."""
        names = [p.stem for p in self._places.files("aircraft/*.toml")]
        for folder in ("flights", "notes"):
            found = self._places.files(f"{folder}/aircraft=*")
            names += [p.name.removeprefix("aircraft=") for p in found]
        # Some file systems hand names back decomposed.
        return tuple(sorted({normalize("NFC", name) for name in names}))

    def recordings(self, aircraft: str | None = None) -> tuple[Recording, ...]:
        """The recordings of one aircraft, or all, in order of adding."""
        key = None if aircraft is None else aircraft_key(aircraft)
        found = (load_recording(p) for p in self._places.files("originals/*.json"))
        kept = [r for r in found if key in (None, r.aircraft)]
        return tuple(sorted(kept, key=lambda r: (r.order, r.added, r.id)))

    def timeline(self, aircraft: str) -> tuple[BookFlight | Note, ...]:
        """Flights and notes of an aircraft in the order in which they happened.

        By the date in the log, else in the file's name, else given, else the order of adding;
        ``BookFlight.start_source`` says which. See :func:`telemetry.book.records.in_order`.
        """
        key = aircraft_key(aircraft)
        notes = [load_note(p) for p in self._places.files(f"notes/aircraft={key}/*.json")]
        return in_order(self.recordings(key), notes)

    def flights(self, aircraft: str) -> tuple[BookFlight, ...]:
        """The flights of an aircraft in the order in which they happened."""
        return tuple(e for e in self.timeline(aircraft) if isinstance(e, BookFlight))

    def notes(self, aircraft: str) -> tuple[Note, ...]:
        """The notes of an aircraft in the order in which they happened."""
        return tuple(e for e in self.timeline(aircraft) if isinstance(e, Note))

    def flight(self, flight: str) -> BookFlight:
        """One flight by its id.

        Raises
        ------
        BookError
            If the book has no such flight.
        """
        path = self._places.record(checked_flight(flight).partition("-")[0])
        recording = load_recording(path) if path.exists() else None
        found = () if recording is None else flights_of(recording)
        for one in found:
            if one.id == flight:
                return one
        raise BookError(
            f"the book has no flight {flight}", path=self.path, hint="see busbook flights"
        )

    def read(self, flight: str) -> Log:
        """The samples of one flight as a log of its own, which begins at 0 s.

        Raises
        ------
        BookError
            If the book has no such flight, or its table is damaged.
        """
        found = self.flight(flight)
        path = self._places.flight(found.aircraft, flight)
        return log_of(read_table(path, found.rows), path)

    def original(self, recording: str) -> bytes:
        """The original file, byte for byte, verified.

        Raises
        ------
        BookError
            If the book has no such recording, or its original is damaged.
        """
        found = self._recording(recording)
        return originals.fetch(self._places.original(recording), found.sha256, found.size_bytes)

    def knows(self, sha256: str) -> Recording | None:
        """The recording of that content; None where the book lacks it or any file of it."""
        checked_recording(recording_id(sha256))
        return known_recording(self._places, sha256)

    def _recording(self, recording: str) -> Recording:
        path = self._places.record(checked_recording(recording))
        if not path.exists():
            raise BookError(
                f"the book has no recording {recording}", path=self.path, hint="see busbook flights"
            )
        return load_recording(path)

    # Adding.

    def add(
        self,
        log: Log,
        *,
        aircraft: str | None = None,
        source: bytes | str | Path | None = None,
        flights: Sequence[Flight] = (),
        on: str | None = None,
        settings: Mapping[str, str] | None = None,
        row_interval_s: float | None = None,
    ) -> Outcome:
        """Add a log. Adding the same content again changes nothing.

        Parameters
        ----------
        log : Log
        aircraft : str, optional
            Whose it is; a new one is made with a default profile. Without it the columns, the
            preamble and the file's name decide, see :meth:`guess`.
        source : bytes or path, optional
            The original; without it the file named in the log's provenance.
        flights : sequence of Flight
            The flights in it, as the review found them; empty: the whole log is one.
        on : str, optional
            Date, or date and time, of the first row, for a log that has none.
        settings, row_interval_s
            What the log was read with, kept so that the original can be read again.

        Returns
        -------
        Outcome
            "added", or "known" where the book has it already (perhaps for another aircraft).

        Raises
        ------
        BookError
            If it is not sure whose log it is, if the source is not what the log was read from, or
            if the book cannot be written to; nothing is lost then, and nothing half-written.
        """
        data = source
        if not isinstance(data, bytes):
            data = read_file(Path(log.provenance.file if data is None else data))
        return add_log(
            self._places,
            log,
            data,
            aircraft=aircraft,
            guess=self.guess,
            next_order=self._next_order,
            flights=flights,
            on=on,
            settings=settings or {},
            row_interval_s=row_interval_s,
        )

    def _next_order(self) -> int:
        """One more than the highest number so far; the book is searched once."""
        if self._order is None:
            orders = [r.order for r in self.recordings()]
            orders += [load_note(p).order for p in self._places.files("notes/*/*.json")]
            self._order = max(orders, default=0)
        self._order += 1
        return self._order

    def assign(self, recording: str, aircraft: str) -> None:
        """Give a recording, with its flights, to another aircraft.

        Raises
        ------
        BookError
            If the book has no such recording, or cannot be written to.
        """
        old = self._recording(recording)
        key = aircraft_key(aircraft)
        if key != old.aircraft:
            logs = [self.read(p.id) for p in old.flights]
            assign_recording(self._places, old, logs, aircraft)

    # Whose log it is.

    def learnt(self, aircraft: str | None = None) -> tuple[Learnt, ...]:
        """The columns that one aircraft, or any, is known by, and how they are read."""
        who = "*" if aircraft is None else aircraft_key(aircraft)
        return tuple(
            Learnt.of(read_json(p)) for p in self._places.files(f"maps/aircraft={who}/*.json")
        )

    def column_maps(self, aircraft: str | None = None) -> tuple[ColumnMap, ...]:
        """What was settled about columns, for :func:`telemetry.importer.read_log`.

        With an aircraft: its own. Without one: of those headers alone that are read in one way
        whosever they are.
        """
        return column_maps(self.learnt(aircraft))

    def guess(self, log: Log) -> Guess:
        """The aircraft that a log belongs to, or why that is not sure."""
        clues = clues_of(log)
        paths = self._places.files(f"maps/*/{clues.fingerprint}.json")
        return guess(clues, [Learnt.of(read_json(p)) for p in paths], self.aircraft())

    # Profiles.

    def profile_path(self, aircraft: str) -> Path:
        """Where the profile of an aircraft lies, or would lie, for editing by hand."""
        return self._places.profile(aircraft_key(aircraft))

    def profile(self, aircraft: str) -> Aircraft | None:
        """The profile of an aircraft; None where there is none.

        Raises
        ------
        ProfileError
            If there is something wrong in it.
        """
        path = self.profile_path(aircraft)
        return read_profile(path) if path.exists() else None

    def put_profile(self, aircraft: str, text: str) -> Path:
        """Write the profile of an aircraft (TOML); the path it was written to."""
        path = self.profile_path(aircraft)
        write_file(path, text.encode())
        return path

    # Notes.

    def note(
        self,
        aircraft: str,
        text: str,
        *,
        kind: NoteKind | str,
        place: str | None = None,
        on: str | None = None,
    ) -> Note:
        """Write a note on an aircraft the book knows.

        Parameters
        ----------
        aircraft, text : str
        kind : NoteKind or str
            repaired, changed, checked or charged.
        place : str, optional
            Where, such as "left wing"; without it the whole aircraft.
        on : str, optional
            Date, or date and time; without it now.

        Raises
        ------
        BookError
            If the book does not know the aircraft or cannot be written to.
        UnknownSetting
            If the kind or the date is none.
        """
        key = aircraft_key(aircraft)
        everyone = self.aircraft()
        if key not in everyone:
            known = f"it knows {', '.join(everyone)}" if everyone else "add a log of it first"
            raise BookError(f"the book has no aircraft '{key}'", path=self.path, hint=known)
        note = new_note(key, text, kind=kind, place=place, on=on)
        note = replace(note, order=self._next_order())
        write_json(self._places.note(key, note.id), note.document())
        return note

    # Measures: derived by others, kept here.

    def put_measures(self, flight: str, version: str, doc: Mapping[str, Any]) -> None:
        """Keep the measures of a flight; ``doc`` holds plain JSON values, null for not measured.

        Raises
        ------
        ValueError
            If it holds NaN or infinity.
        BookError
            If the book cannot be written to.
        """
        path = self._places.measures(checked_flight(flight))
        write_json(path, {"version": version, "measures": dict(doc)})

    def get_measures(self, flight: str, version: str) -> dict[str, Any] | None:
        """The measures of a flight; None where missing, damaged or of another version."""
        path = self._places.measures(checked_flight(flight))
        if not path.exists():
            return None
        with suppress(BookError):
            kept = read_json(path)
            doc = kept.get("measures")
            if kept.get("version") == version and isinstance(doc, dict):
                return doc
        return None

    # Checking and handing on.

    def check_book(self, read: Read | None = None) -> CheckReport:
        """Verify every hash, make again what is derived, sweep out what crashes left.

        Parameters
        ----------
        read : callable, optional
            Reads an original again: ``read(path, settings, row_interval_s) -> Log``; by default
            with :func:`telemetry.importer.read_log`.
        """
        return check(self._places, read)

    def export(self, what: str, to: str | Path) -> None:
        """Write one flight (by id), or all flights of an aircraft, as Parquet or clean CSV.

        The ending of ``to`` tells which. All flights of an aircraft become one table with a first
        column ``flight`` and every column that any of them has.

        Raises
        ------
        BookError
            If the book has no such flight or aircraft.
        OutputError
            If the file cannot be written, or its ending tells no format.
        """
        if is_flight(what):
            export_log(self.read(what), Path(to), book=self.path)
            return
        flights = self.flights(what)
        if not flights:
            raise BookError(
                f"the book has no flights of '{what}'", path=self.path, hint="see busbook flights"
            )
        paths = [(f.id, self._places.flight(f.aircraft, f.id), f.rows) for f in flights]
        export_flights(paths, Path(to), book=self.path)
