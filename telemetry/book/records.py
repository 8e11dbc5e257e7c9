"""What the book knows of a recording, a flight and a note, and their order."""

from __future__ import annotations

import itertools
import secrets
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field, fields, replace
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import Any, Literal

from telemetry.book.files.dates import checked_date, shifted, sortable
from telemetry.book.files.names import aircraft_key, checked_flight, file_name
from telemetry.book.files.writing import damaged, read_json
from telemetry.model.errors import BookError, BusbookError, UnknownSetting

Status = Literal["added", "known", "unsure", "skipped", "failed"]


class NoteKind(StrEnum):
    """What a note tells. Only repaired and changed restart a baseline, at their place."""

    REPAIRED = "repaired"
    CHANGED = "changed"
    CHECKED = "checked"
    CHARGED = "charged"


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingPart:
    """One flight of a recording.

    ``start_s`` and ``end_s`` are those of its first and last row, in s from the first row of the
    recording. ``kind`` is what the review called it, such as "flight" or "bench"; "" if none did.
    """

    id: str
    first_row: int
    rows: int
    start_s: float
    end_s: float
    kind: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """One original and everything the book was told of it: the book's own record.

    Attributes
    ----------
    id, sha256 : str
        The hash of the bytes, short and whole.
    size_bytes, stored_bytes : int
        Of the original and of its compressed copy.
    file : str
        Its name, without folders.
    aircraft : str
    order : int
        Counts what was added to the book and noted in it, from 1; two writers at once may give
        the same number twice.
    added : str
        When it was added by the clock of that machine, ISO 8601 in UTC.
    start : str or None
        Date or date and time of the first row, ISO 8601.
    start_source : str
        "log", "file name", "given" or "order of adding".
    flights : tuple of RecordingPart
    settings, row_interval_s
        How the original was read, beyond what the importer finds by itself.
    """

    id: str
    sha256: str
    size_bytes: int
    stored_bytes: int
    file: str
    aircraft: str
    order: int
    added: str
    start: str | None
    start_source: str
    flights: tuple[RecordingPart, ...]
    settings: Mapping[str, str] = field(default_factory=dict)
    row_interval_s: float | None = None

    def document(self) -> dict[str, Any]:
        """As plain values for JSON."""
        doc = {f.name: getattr(self, f.name) for f in fields(self)}
        return doc | {"flights": [asdict(p) for p in self.flights], "settings": dict(self.settings)}

    @classmethod
    def of(cls, doc: Mapping[str, Any]) -> Recording:
        """From plain values; keys that this version does not know are passed over.

        Raises
        ------
        BookError
            If something is missing or of another kind.
        """
        try:
            flights = tuple(RecordingPart(**known_keys(RecordingPart, p)) for p in doc["flights"])
            settings = {str(k): str(v) for k, v in doc["settings"].items()}
            found = cls(**(known_keys(cls, doc) | {"flights": flights, "settings": settings}))
            if found.start is not None:
                sortable(found.start)
            # These become paths.
            names = (aircraft_key(found.aircraft), file_name(found.file))
            ids = {checked_flight(p.id).partition("-")[0] for p in flights}
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise BookError("this record of a recording is damaged") from error
        if names != (found.aircraft, found.file) or ids != {found.id}:
            raise BookError("this record of a recording is damaged")
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class BookFlight:
    """One flight as the book lists it.

    Attributes
    ----------
    id, recording : str
    aircraft, file : str
    start : str or None
        ISO 8601; None where nobody knows.
    start_source : str
        What its place in the order rests on: "log", "file name", "given" or "order of adding".
    kind : str
        As the review called it: "flight", "bench" or "".
    first_row, rows : int
    duration_s : float
    order : int
        Order of adding.
    added : str
    packs : str or None
        Label of the packs that it was flown with, as it was said; None where nobody said it.
    number : int or None
        Among the flights of its aircraft, from 1, as they happened; None where they were not asked.
    """

    id: str
    recording: str
    aircraft: str
    file: str
    start: str | None
    start_source: str
    kind: str
    first_row: int
    rows: int
    duration_s: float
    order: int
    added: str
    packs: str | None = None
    number: int | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """One line of the maintenance record.

    ``date`` is the day or moment given (``given`` is True), else the clock's when it was written.
    ``place`` None is the aircraft as a whole, "all" every place of it. ``order`` counts as in
    :class:`Recording`. ``number`` is its own among the notes of its aircraft, from 1; None where
    they were not asked.
    """

    id: str
    aircraft: str
    kind: NoteKind
    text: str
    place: str | None
    date: str
    given: bool
    order: int
    made: str
    number: int | None = field(default=None, compare=False)

    def document(self) -> dict[str, Any]:
        """As plain values for JSON."""
        doc = asdict(self) | {"kind": str(self.kind)}
        del doc["number"]  # another note or flight may change it
        return doc

    @classmethod
    def of(cls, doc: Mapping[str, Any]) -> Note:
        """From plain values; keys that this version does not know are passed over.

        Raises
        ------
        BookError
            If something is missing or of another kind.
        """
        try:
            note = cls(**(known_keys(cls, doc) | {"kind": NoteKind(doc["kind"])}))
            sortable(note.date)
        except (KeyError, TypeError, ValueError) as error:
            raise BookError("this note is damaged") from error
        return note


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of one file that was to be added.

    Attributes
    ----------
    file : str
    status : str
        "added"; "known": the book had it; "unsure": whose it is has to be asked; "skipped": found
        in a folder and no log, or too short to be a flight; "failed": see ``error``.
    aircraft, recording : str or None
    flights : tuple of str
        Ids of its flights in the book.
    candidates : tuple of str
        Where it is unsure: the aircraft it may belong to.
    reason : str
        Why it went to this aircraft, or did not; one clause.
    named : bool
        True where it went to the aircraft that the user named.
    error : BusbookError or None
    """

    file: str
    status: Status
    aircraft: str | None = None
    recording: str | None = None
    flights: tuple[str, ...] = ()
    candidates: tuple[str, ...] = ()
    reason: str = ""
    named: bool = False
    error: BusbookError | None = None


def new_note(
    aircraft: str, text: str, *, kind: NoteKind | str, place: str | None, on: str | None
) -> Note:
    """A note made now, order 0; UnknownSetting if its kind or date is none."""
    try:
        kind = NoteKind(kind)
    except ValueError as error:
        raise UnknownSetting(
            f"'{kind}' is no kind of note", hint=f"use one of {', '.join(NoteKind)}"
        ) from error
    made = datetime.now(UTC)
    # Flights go by the clock on the wall, and so does a note.
    wall = made.astimezone().replace(tzinfo=None).isoformat(timespec="seconds")
    return Note(
        id=f"{made:%Y%m%dT%H%M%S}-{secrets.token_hex(4)}",
        aircraft=aircraft,
        kind=kind,
        text=text.strip(),
        place=None if place is None else " ".join(place.lower().split()) or None,
        date=wall if on is None else checked_date(on),
        given=on is not None,
        order=0,
        made=made.isoformat(timespec="microseconds"),
    )


def load_recording(path: Path) -> Recording:
    """The record in a file of the book; BookError if it is missing, damaged or another's."""
    doc = read_json(path)
    try:
        found = Recording.of(doc)
    except BookError as error:
        raise damaged(path) from error
    if found.id != path.stem:
        raise damaged(path)
    return found


def load_note(path: Path) -> Note:
    """The note in a file of the book; BookError if it is missing or damaged."""
    doc = read_json(path)
    try:
        return Note.of(doc)
    except BookError as error:
        raise damaged(path) from error


# What JSON gives for each kind of attribute.
_KINDS: dict[str, tuple[type, ...]] = {
    "str": (str,),
    "str | None": (str, type(None)),
    "int": (int,),
    "float": (float, int),
    "float | None": (float, int, type(None)),
    "bool": (bool,),
}


def known_keys(kind: type, doc: Mapping[str, Any]) -> dict[str, Any]:
    """What a document says of a record's attributes; TypeError if one is of another kind."""
    found = {}
    for name, kinds in _kinds_of(kind):
        if name in doc:
            value = found[name] = doc[name]
            if not isinstance(value, kinds):
                raise TypeError(f"{name} is {value!r}")
    return found


@cache
def _kinds_of(kind: type) -> tuple[tuple[str, tuple[type, ...]], ...]:
    return tuple((one.name, _KINDS.get(str(one.type), (object,))) for one in fields(kind))


def flights_of(recording: Recording) -> tuple[BookFlight, ...]:
    """The flights of a recording, as listed."""
    return tuple(_flight_of(recording, part) for part in recording.flights)


def _flight_of(recording: Recording, part: RecordingPart, number: int | None = None) -> BookFlight:
    return BookFlight(
        id=part.id,
        recording=recording.id,
        aircraft=recording.aircraft,
        file=recording.file,
        start=shifted(recording.start, part.start_s),
        start_source=recording.start_source,
        kind=part.kind,
        first_row=part.first_row,
        rows=part.rows,
        duration_s=part.end_s - part.start_s,
        order=recording.order,
        added=recording.added,
        number=number,
    )


def _written(note: Note) -> str:
    """The day after a note was written, as text that sorts by time: no time zone is later."""
    try:
        made = datetime.fromisoformat(note.made).replace(tzinfo=None)
        return (made + timedelta(days=1)).isoformat(timespec="microseconds")
    except (ValueError, OverflowError):
        return "9999"


def in_order(
    recordings: Iterable[Recording], notes: Iterable[Note] = ()
) -> tuple[BookFlight | Note, ...]:
    """Flights and notes of one aircraft in the order in which they happened.

    What has a date goes by it; a day without a time comes before that day's times, as "since" does
    in a profile. A flight without a date comes after everything that the book held when it was
    added; a note whose date was not given likewise, and not before the clock's time either, so
    that a machine whose clock is behind does not put it before flights that it followed. A day
    that was still to come when a note was written is no later than the day after that. Equal dates
    go by the order of adding.
    """
    entries: list[Note | tuple[Recording, RecordingPart]] = [
        (recording, part) for recording in recordings for part in recording.flights
    ]
    entries += notes
    entries.sort(key=_order)
    keyed = []
    latest = ""
    for place, entry in enumerate(entries):
        if isinstance(entry, Note):
            when = sortable(entry.date)
            # No note tells what is still to come, whatever day was typed.
            when = min(when, max(_written(entry), latest)) if entry.given else max(when, latest)
        else:
            start = shifted(entry[0].start, entry[1].start_s)
            when = latest if start is None else sortable(start)
        latest = max(latest, when)
        keyed.append((when, place, entry))
    keyed.sort(key=lambda k: k[:2])
    flown, noted = itertools.count(1), itertools.count(1)
    return tuple(
        replace(entry, number=next(noted))
        if isinstance(entry, Note)
        else _flight_of(*entry, number=next(flown))
        for _, _, entry in keyed
    )


def _order(entry: Note | tuple[Recording, RecordingPart]) -> tuple[int, str]:
    """When an entry was written, by the book's count and by the clock."""
    if isinstance(entry, Note):
        return entry.order, entry.made
    return entry[0].order, entry[0].added
