"""What the logbook lists of its aircraft, on a screen of plain characters."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from telemetry.book import BookFlight, FlightMark, Note
from telemetry.book.files.dates import ADDED, GIVEN, IN_LOG, IN_NAME
from telemetry.model.text import plain
from telemetry.report.words import LEVEL_SIGN, LEVEL_STATE, clock, flights_counted, sentence
from telemetry.report.writers.screen import cut, pad, wrap
from telemetry.results import AircraftStanding, Level

Timeline = Sequence[BookFlight | Note]

_WIDTH = 80
_SIZES = (3, 16, 6, 6, 18, 21)
_FLEET_HEAD = ("Answer", "Aircraft", "Flights", "Bench", "Notes", "Newest", "Since")
_FLEET_SIZES = (20, 14, 7, 5, 5, 10, 7)
_ORDER = {
    IN_LOG: "dated by the log",
    IN_NAME: "by the file's name",
    GIVEN: "as given",
    ADDED: "not at all: these stand where they were added",
}


def render(timeline: Timeline, marks: Sequence[FlightMark] = ()) -> str:
    """Flights, their marks and notes of one aircraft in order, at most 80 columns wide."""
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
            lines += _flight(number, entry)
            lines += [line for m in marks if m.flight == entry.id for line in _mark(m)]
    return "\n".join(plain(line.rstrip()) for line in (*lines, *_orders(timeline))) + "\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetEntry:
    """One aircraft of a book: what it holds and how it stands.

    Where there is no answer, for there is no flight or it could not be judged, ``why`` says so.
    """

    name: str
    standing: AircraftStanding
    why: str = "no flights yet"


def render_fleet(fleet: Sequence[FleetEntry]) -> str:
    """All aircraft of a book, the worst first: how each stands, since when, and why."""
    if not fleet:
        return "the book holds no aircraft yet\n"
    lines = [_fleet_row(_FLEET_HEAD), "  ".join("-" * size for size in _FLEET_SIZES)]
    for one in sorted(fleet, key=_gravity):
        lines += _standing(one)
    return "\n".join(plain(line.rstrip()) for line in lines) + "\n"


def _gravity(one: FleetEntry) -> tuple[int, str]:
    answer = one.standing.answer
    return (0 if answer is None else -answer.level.rank, one.name)


def _standing(one: FleetEntry) -> list[str]:
    """An aircraft in two lines or more: the numbers, and the reason below them."""
    held, answer = one.standing, one.standing.answer
    level = Level.UNKNOWN if answer is None else answer.level
    since = None if answer is None else answer.since_number
    row = _fleet_row(
        (
            f"{LEVEL_SIGN[level]} {LEVEL_STATE[level]}",
            cut(plain(one.name), _FLEET_SIZES[1]),
            str(held.flights),
            str(held.benches),
            str(held.notes),
            held.newest or "no date",
            "" if since is None else f"No. {since}",
        )
    )
    why = one.why if answer is None else answer.title
    return [row, *wrap(sentence(why), _WIDTH, "    ", "    ")]


def _fleet_row(texts: Sequence[str]) -> str:
    right = (2, 3, 4)
    return "  ".join(
        pad(text, size, k in right)
        for k, (text, size) in enumerate(zip(texts, _FLEET_SIZES, strict=True))
    )


def _row(texts: Sequence[str]) -> str:
    right = (0, 3)
    return "  ".join(
        pad(text, size, k in right)
        for k, (text, size) in enumerate(zip(texts, _SIZES, strict=True))
    )


def _flight(number: int, flight: BookFlight) -> list[str]:
    start = "no date" if flight.start is None else flight.start[:16].replace("T", " ")
    length = clock(flight.duration_s)
    file = cut(plain(flight.file), _SIZES[-1])
    row = _row((str(number), start, flight.kind or "log", length, flight.id, file))
    packs = () if flight.packs is None else wrap(f"packs: {plain(flight.packs)}", _WIDTH, " " * 23)
    return [row, *packs]


def _mark(mark: FlightMark) -> list[str]:
    told = plain(f"mark at {clock(mark.at_s)}: {mark.text} ({mark.id})")
    return wrap(told, _WIDTH, " " * 23, " " * 25)


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
    held = flights_counted(f.kind for f in flights)
    return ["", *wrap(f"{held}. Ordered by date: {told}.", _WIDTH)]


def entry_words(one: BookFlight | Note | FlightMark) -> str:
    """A flight, note or mark in a line: whose, which, when, what."""
    if isinstance(one, FlightMark):
        return f"mark of flight {one.flight} at {clock(one.at_s)}: {one.text}"
    number = "" if one.number is None else f" {one.number}"
    if isinstance(one, BookFlight):
        start = "no date" if one.start is None else one.start[:16].replace("T", " ")
        return f"{one.aircraft}{number}, {start}, {one.file}"
    place = "" if one.place is None else f", {one.place}"
    return f"{one.aircraft}, note{number} of {one.date[:10]}, {one.kind}{place}: {one.text}"
