"""The notes of a book among its flights."""

from __future__ import annotations

from collections.abc import Iterable

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
