"""The notes of a book among its flights."""

from __future__ import annotations

from collections.abc import Iterable

from telemetry.aircraft import Aircraft
from telemetry.book import BookFlight, Note
from telemetry.results import NoteMark


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


def first_since(notes: Iterable[NoteMark], aircraft: Aircraft, *places: str) -> int:
    """Index of the first flight since the last note that restarts a baseline at these places."""
    return max(
        (n.before for n in notes if any(n.restarts_at(p, aircraft) for p in places)),
        default=0,
    )
