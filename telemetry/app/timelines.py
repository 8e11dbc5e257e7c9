"""Flights and notes of an aircraft in their order, with a log that the book may lack."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from telemetry.book import BookFlight, Logbook, Note
from telemetry.book.adding import part_of
from telemetry.book.files.dates import start_of
from telemetry.book.files.names import aircraft_key, file_name, recording_id
from telemetry.book.files.tables import cut
from telemetry.book.records import Recording
from telemetry.results import NoteMark, Review
from telemetry.trends.fleet import LEAST_AIRCRAFT, LEAST_FLIGHTS

Timeline = tuple[BookFlight | Note, ...]

# Of other aircraft so many of the last flights are looked at, and of so many of them, those added
# last: more tell hardly more of a scatter, and a new aircraft is to cost no more in a long book.
_FLIGHTS, _AIRCRAFT = 25, 8


def note_marks(timeline: Iterable[BookFlight | Note]) -> tuple[NoteMark, ...]:
    """The notes of a timeline, each with the index of the flight that came next."""
    found = []
    before = 0
    for entry in timeline:
        if isinstance(entry, Note):
            found.append(
                NoteMark(
                    kind=str(entry.kind),
                    place=entry.place,
                    text=entry.text,
                    date=entry.date,
                    before=before,
                )
            )
        else:
            before += 1
    return tuple(found)


class AsIfNoted(Logbook):
    """A book as it would be with one note more, which is not written."""

    def __init__(self, book: Logbook, note: Note) -> None:
        super().__init__(book.path, make=False)
        self.draft = note

    def timeline(self, aircraft: str, *more: Recording | Note) -> Timeline:
        """The timeline, with the note where it is of that aircraft."""
        own = (self.draft,) if aircraft_key(aircraft) == self.draft.aircraft else ()
        return super().timeline(aircraft, *more, *own)

    def put_replay(self, aircraft: str, doc: Mapping[str, Any]) -> None:
        """Nothing is kept of what is only tried."""


def as_if_added(
    book: Logbook, name: str, review: Review | None
) -> tuple[Timeline, tuple[str, ...]]:
    """The timeline as it would be with a log that the book may lack.

    Parameters
    ----------
    book : Logbook
    name : str
        Whose log it is.
    review : Review or None
        Of the log; without one it is the timeline as it is.

    Returns
    -------
    timeline, ids
        ``ids`` are those of the flights of the review that the book lacks; none where it has them.
    """
    key = aircraft_key(name)
    timeline = book.timeline(key)
    if review is None or not review.flights:
        return timeline, ()
    log = review.log
    identity = recording_id(log.provenance.sha256)
    if any(isinstance(e, BookFlight) and e.recording == identity for e in timeline):
        return timeline, ()
    file = file_name(log.provenance.file)
    start, start_source = start_of(log.provenance.start, file, None)
    cuts = cut(log, tuple(f.start_s for f in review.flights))
    recording = Recording(
        id=identity,
        sha256=log.provenance.sha256,
        size_bytes=0,
        stored_bytes=0,
        file=file,
        aircraft=key,
        order=1 + max((e.order for e in timeline), default=0),
        added="",
        start=start,
        start_source=start_source,
        flights=tuple(
            part_of(identity, first, log, own, flight.kind)
            for (first, own), flight in zip(cuts, review.flights, strict=True)
        ),
    )
    return book.timeline(key, recording), tuple(p.id for p in recording.flights)


def others_before(book: Logbook, name: str, first: int) -> dict[str, Timeline]:
    """The last flights of other aircraft, and notes among them, that a book held at some time.

    Parameters
    ----------
    book : Logbook
    name : str
        Of the aircraft that is left out.
    first : int
        What was added or noted before this, by the order of adding, counts.

    Returns
    -------
    dict of str to tuple of BookFlight or Note
        By name; empty where too few have flights enough.
    """
    if len(book.aircraft()) <= LEAST_AIRCRAFT:
        return {}
    own, found = aircraft_key(name), []
    for other, entries in book.timelines().items():
        earlier = [e for e in entries if e.order < first]
        flown = [k for k, e in enumerate(earlier) if isinstance(e, BookFlight)][-_FLIGHTS:]
        if other != own and len(flown) >= LEAST_FLIGHTS:
            last = max(earlier[k].order for k in flown)
            found.append((last, other, tuple(earlier[flown[0] :])))
    found.sort(key=lambda one: one[:2])
    kept = found[-_AIRCRAFT:] if len(found) >= LEAST_AIRCRAFT else []
    return dict(sorted((other, entries) for _, other, entries in kept))
