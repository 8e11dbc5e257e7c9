"""What a logbook holds: everything that only reads."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any
from unicodedata import normalize

from telemetry.aircraft import Aircraft
from telemetry.aircraft.profile import read_profile
from telemetry.book import adding
from telemetry.book.changes import BookChange, FlightMark, load_change, load_changes
from telemetry.book.files import originals
from telemetry.book.files.layout import Stamp, open_book
from telemetry.book.files.names import (
    aircraft_key,
    checked_change,
    checked_flight,
    checked_recording,
    recording_id,
)
from telemetry.book.files.tables import channels_in, log_of, read_table, schema_of
from telemetry.book.files.writing import read_sealed
from telemetry.book.index import recordings_in
from telemetry.book.maps import (
    AircraftGuess,
    Learnt,
    clues_of,
    column_maps,
    guess,
    load_learnt,
    owners,
)
from telemetry.book.placing import finish, found_place
from telemetry.book.records import (
    BookFlight,
    Note,
    Outcome,
    Recording,
    flights_of,
    in_order,
    load_note,
    load_recording,
)
from telemetry.model.channels import Channel
from telemetry.model.errors import BookError
from telemetry.model.log import Log

if TYPE_CHECKING:
    from telemetry.importer import ColumnMap

# Times that notes are looked for while another process moves some.
_TURNS = 5


class Shelf:
    """The reading half of :class:`telemetry.book.Logbook`.

    Parameters
    ----------
    path : path
    make : bool
        Whether one is made where there is none.

    Raises
    ------
    BookError
        If the folder is no logbook, was written by a newer version, or cannot be made.
    """

    def __init__(self, path: str | Path, *, make: bool = True) -> None:
        self.path = Path(path)
        self._places = open_book(self.path, make=make)
        finish(self._places)

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
        changes = load_changes(self._places)
        # A flight may have been moved from any aircraft to this one.
        moved = {flight.partition("-")[0] for flight, to in changes.moved.items() if to == key}
        found = recordings_in(
            self._places,
            None if key is None else lambda name, aircraft: aircraft == key or name in moved,
        )
        kept = [own for r in found for own in changes.left(r) if key in (None, own.aircraft)]
        return tuple(sorted(kept, key=lambda r: (r.order, r.added, r.id)))

    def timeline(self, aircraft: str, *more: Recording | Note) -> tuple[BookFlight | Note, ...]:
        """Flights and notes of an aircraft in the order in which they happened.

        By the date in the log, else in the file's name, else given, else the order of adding;
        ``BookFlight.start_source`` says which. See :func:`telemetry.book.records.in_order`.
        ``more`` are recordings and notes that the book lacks, as if it had them.
        """
        key = aircraft_key(aircraft)
        recordings, notes = [*self.recordings(key)], self._notes(key)
        for one in more:
            if isinstance(one, Note):
                notes.append(one)
            else:
                recordings.append(one)
        return self._labelled(in_order(recordings, notes))

    def _labelled(self, entries: tuple[BookFlight | Note, ...]) -> tuple[BookFlight | Note, ...]:
        """The entries, each flight with the packs that were said to be flown."""
        packs = load_changes(self._places).packs
        if not packs:
            return entries
        return tuple(
            replace(e, packs=packs[e.id]) if isinstance(e, BookFlight) and e.id in packs else e
            for e in entries
        )

    def timelines(self) -> dict[str, tuple[BookFlight | Note, ...]]:
        """The timeline of every aircraft, by name; the records are read once."""
        flown: dict[str, list[Recording]] = {name: [] for name in self.aircraft()}
        for one in self.recordings():
            flown.setdefault(one.aircraft, []).append(one)
        return {
            name: self._labelled(in_order(flown[name], self._notes(name))) for name in sorted(flown)
        }

    def _notes(self, aircraft: str) -> list[Note]:
        return load_changes(self._places).notes(self._lying(aircraft))

    def _lying(self, aircraft: str = "*") -> list[Note]:
        """Notes of an aircraft, or of all, wherever they lie, those that were removed among them.

        One that was removed may still lie among the others, or one that was restored aside; one
        that another process moves at this moment is looked for again.
        """
        found: dict[str, Note] = {}
        for turn in range(_TURNS):
            paths = self._note_paths(aircraft)
            try:
                found = {path.stem: load_note(path) for path in paths}
            except BookError:
                if turn == _TURNS - 1:
                    raise
            else:
                if self._note_paths(aircraft) == paths:
                    break
        return list(found.values())

    def _note_paths(self, aircraft: str) -> list[Path]:
        folders = ("notes", "removed/notes")
        return [p for f in folders for p in self._places.files(f"{f}/aircraft={aircraft}/*.json")]

    def state(self, aircraft: str) -> str:
        """A word that changes with anything that is judged of an aircraft, and with nothing else.

        It is made of the names, sizes and times of its files, none of which is read.
        """
        key = aircraft_key(aircraft)
        folders = (f"flights/aircraft={key}", f"notes/aircraft={key}", "changes")
        return self._stamped((key, *self.get_fleet(key).get("others", ())), folders)

    def state_of_profiles(self, aircraft: Iterable[str]) -> str:
        """Likewise, with these profiles and with what is removed, restored or moved anywhere."""
        return self._stamped(aircraft, ("changes",))

    def _stamped(self, aircraft: Iterable[str], folders: Iterable[str]) -> str:
        paths = [path for one in aircraft if (path := self.profile_path(one)).exists()]
        found = [(path.name, Stamp.of(path.stat())) for path in paths]
        for folder in folders:
            found += sorted(self._places.stamps(folder).items())
        told = "".join(f"{name} {size} {changed}\n" for name, (size, changed) in found)
        return sha256(told.encode("utf-8", "surrogateescape")).hexdigest()

    def change(self, change: str) -> BookChange:
        """One change of what the book holds, by its id.

        Raises
        ------
        BookError
            If the book has no such change.
        """
        path = self._places.change(checked_change(change))
        if not path.exists():
            raise BookError(f"the book has no change {change}", path=self.path)
        return load_change(path)

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
        changes = load_changes(self._places)
        for own in changes.left(load_recording(path)) if path.exists() else ():
            for one in flights_of(own):
                if one.id == flight:
                    return one
        if flight in changes.removed:
            raise BookError(
                f"flight {flight} was removed from the book",
                path=self.path,
                hint=f"busbook restore {flight} takes it back",
            )
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
        path = self.table_path(found)
        return log_of(read_table(path, found.rows), path)

    def table_path(self, flight: BookFlight) -> Path:
        """Where the samples of a flight lie."""
        changes = load_changes(self._places)
        return found_place(self._places, changes, self._recording(flight.recording), flight.id)

    def channels(self, flight: str) -> tuple[Channel, ...]:
        """How each column of a flight was read, without its samples; errors as of :meth:`read`."""
        path = self.table_path(self.flight(flight))
        return channels_in(schema_of(path), path)

    def original(self, recording: str) -> bytes:
        """The original file, byte for byte, verified.

        Raises
        ------
        BookError
            If the book has no such recording, or its original is damaged.
        """
        found = self._recording(recording)
        path = self._places.original(recording)
        return originals.fetch(path, found.sha256, found.size_bytes, found.file)

    def knows(self, sha256: str) -> Recording | None:
        """The recording of that content; None where the book lacks it or any file of it."""
        checked_recording(recording_id(sha256))
        return adding.known_recording(self._places, sha256)

    def known_outcome(self, file: str, known: Recording, aircraft: str | None) -> Outcome:
        """The outcome for a file that the book has, or had; ``aircraft`` is whose it should be."""
        wanted = None if aircraft is None else aircraft_key(aircraft)
        return adding.known_outcome(file, known, load_changes(self._places), wanted)

    def removed(self) -> tuple[tuple[BookFlight | Note, BookChange], ...]:
        """Flights and notes that are kept aside, each with the change that removed it; in order."""
        changes = load_changes(self._places)
        entries: dict[str, BookFlight | Note] = {note.id: note for note in self._lying()}
        for path in {self._places.record(one.partition("-")[0]) for one in changes.removed}:
            if path.exists():
                for own in changes.aside(load_recording(path)):
                    entries |= {flight.id: flight for flight in flights_of(own)}
        found = [(entries[one], why) for one, why in changes.removed.items() if one in entries]
        return tuple(sorted(found, key=lambda f: (f[1].order, f[1].made, f[0].order)))

    def marks(self, *flights: str) -> tuple[FlightMark, ...]:
        """The marks of these flights by time; without an id those of all flights of the book."""
        changes = load_changes(self._places)
        wanted = flights or dict.fromkeys(mark.flight for mark in changes.marked.values())
        return tuple(mark for one in wanted for mark in changes.marks(one))

    def marks_of_log(self, sha256: str) -> tuple[tuple[float, FlightMark], ...]:
        """The marks of all flights of a log, each with its time in s from the log's first row."""
        path = self._places.record(recording_id(sha256))
        if not path.exists():
            return ()
        changes = load_changes(self._places)
        return tuple(
            (part.start_s + mark.at_s, mark)
            for part in load_recording(path).flights
            if part.id not in changes.removed
            for mark in changes.marks(part.id)
        )

    def removed_marks(self) -> tuple[tuple[FlightMark, BookChange], ...]:
        """Marks that are kept aside, each with the change that removed it."""
        changes = load_changes(self._places)
        return tuple(
            (mark, changes.removed[mark.id])
            for mark in changes.marked.values()
            if mark.id in changes.removed
        )

    def _recording(self, recording: str) -> Recording:
        path = self._places.record(checked_recording(recording))
        if not path.exists():
            raise BookError(
                f"the book has no recording {recording}", path=self.path, hint="see busbook flights"
            )
        return load_recording(path)

    def learnt(self, aircraft: str | None = None) -> tuple[Learnt, ...]:
        """The columns that one aircraft, or any, is known by, and how they are read."""
        who = "*" if aircraft is None else aircraft_key(aircraft)
        return tuple(map(load_learnt, self._places.files(f"maps/aircraft={who}/*.json")))

    def column_maps(self, aircraft: str | None = None) -> tuple[ColumnMap, ...]:
        """What was settled about columns, for :func:`telemetry.importer.read_log`.

        With an aircraft: its own. Without one: of those headers alone that are read in one way
        whosever they are.
        """
        return column_maps(self.learnt(aircraft))

    def guess(self, log: Log) -> AircraftGuess:
        """The aircraft that a log belongs to, or why that is not sure."""
        return guess(clues_of(log), self.learnt(), self.aircraft())

    def owners(self, model: str) -> tuple[str, ...]:
        """The aircraft that logs belong to whose header names that model; none where it is new."""
        return owners(model, self.learnt(), self.aircraft())

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

    def get_replay(self, aircraft: str) -> dict[str, Any]:
        """What was kept by :meth:`Logbook.put_replay`; empty where missing or damaged."""
        return self._kept(self._places.replay(aircraft_key(aircraft)), "replay")

    def get_fleet(self, aircraft: str) -> dict[str, Any]:
        """What was kept by :meth:`Logbook.put_fleet`; empty where missing or damaged."""
        return self._kept(self._places.fleet(aircraft_key(aircraft)), "fleet")

    def _kept(self, path: Path, what: str) -> dict[str, Any]:
        with suppress(BookError):
            kept = read_sealed(path) if path.exists() else {}
            doc = kept.get(what)
            if kept.get("aircraft") == path.stem and isinstance(doc, dict):
                return doc
        return {}

    def get_answer(self, aircraft: str, state: str) -> dict[str, Any] | None:
        """What was kept by :meth:`Logbook.put_answer`; None where missing or of another state."""
        key = aircraft_key(aircraft)
        path = self._places.answer(key)
        with suppress(BookError):
            kept = read_sealed(path) if path.exists() else {}
            doc = kept.get("answer")
            if (kept.get("aircraft"), kept.get("state")) == (key, state) and isinstance(doc, dict):
                return doc
        return None

    def get_measures(self, flight: str, version: str) -> dict[str, Any] | None:
        """The measures of a flight; None where missing, damaged or of another version."""
        path = self._places.measures(checked_flight(flight))
        if not path.exists():
            return None
        with suppress(BookError):
            kept = read_sealed(path)
            doc = kept.get("measures")
            whose = (kept.get("flight"), kept.get("version"))
            if whose == (flight, version) and isinstance(doc, dict):
                return doc
        return None
