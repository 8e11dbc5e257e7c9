"""What the logbook lists of its aircraft, on a screen of plain characters."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from telemetry.book import BookFlight, Note
from telemetry.book.files.dates import ADDED, GIVEN, IN_LOG, IN_NAME
from telemetry.model.text import plain
from telemetry.report.words import clock, counted
from telemetry.report.writers.screen import cut, pad, wrap

Timeline = Sequence[BookFlight | Note]

_WIDTH = 80
_SIZES = (3, 16, 6, 6, 18, 21)
_ORDER = {
    IN_LOG: "dated by the log",
    IN_NAME: "by the file's name",
    GIVEN: "as given",
    ADDED: "not at all: these stand where they were added",
}


def render(timeline: Timeline) -> str:
    """The flights and notes of one aircraft in their order, at most 80 columns wide."""
    lines = [
        _row(("No.", "Start", "Kind", "Length", "Flight", "File")),
        "  ".join("-" * size for size in _SIZES),
    ]
    number = 0
    for entry in timeline:
        if isinstance(entry, Note):
            lines += _note(entry)
        else:
            number += 1
            lines.append(_flight(number, entry))
    return "\n".join(plain(line.rstrip()) for line in (*lines, *_orders(timeline))) + "\n"


def render_aircraft(everyone: Mapping[str, Timeline]) -> str:
    """All aircraft of a book with what it holds of them."""
    if not everyone:
        return "the book holds no aircraft yet\n"
    return "".join(f"{plain(name)}: {_held(timeline)}\n" for name, timeline in everyone.items())


def _held(timeline: Timeline) -> str:
    flights = [e for e in timeline if isinstance(e, BookFlight)]
    notes = len(timeline) - len(flights)
    days = [e.start[:10] for e in flights if e.start is not None]
    span = "" if not days else f", {min(days)} to {max(days)}"
    return f"{counted(len(flights), 'flight')}{span}; {counted(notes, 'note')}"


def _row(texts: Sequence[str]) -> str:
    right = (0, 3)
    return "  ".join(
        pad(text, size, k in right)
        for k, (text, size) in enumerate(zip(texts, _SIZES, strict=True))
    )


def _flight(number: int, flight: BookFlight) -> str:
    start = "no date" if flight.start is None else flight.start[:16].replace("T", " ")
    length = clock(flight.duration_s)
    file = cut(plain(flight.file), _SIZES[-1])
    return _row((str(number), start, flight.kind or "log", length, flight.id, file))


def _note(note: Note) -> list[str]:
    place = "" if note.place is None else f", {note.place}"
    day = note.date[:16].replace("T", " ")
    number = "" if note.number is None else f" {note.number}"
    told = plain(f"note{number}: {note.kind}{place}: {note.text}")
    return wrap(told, _WIDTH, f"     {day:<16}  ", " " * 23)


def _orders(timeline: Timeline) -> list[str]:
    """What the order rests on."""
    flights = [e for e in timeline if isinstance(e, BookFlight)]
    count = Counter(e.start_source for e in flights)
    if not flights:
        return ["no flights yet"]
    told = "; ".join(f"{n} {_ORDER.get(source, source)}" for source, n in count.items())
    return ["", *wrap(f"{counted(len(flights), 'flight')}. Ordered by date: {told}.", _WIDTH)]
