"""``busbook remove``, ``restore``, ``move``: out of the book, back, and to another aircraft."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from telemetry.cli.keeping.completing import (
    complete_aircraft,
    complete_flights,
    complete_marks,
    complete_removed,
)
from telemetry.cli.shared import CommandGroup, next_step, open_book, tell, with_book

if TYPE_CHECKING:
    from telemetry.book import BookFlight, Logbook, Note

_FLIGHTS = click.argument(
    "what", metavar="ID...", nargs=-1, required=True, shell_complete=complete_flights
)


@click.group(cls=CommandGroup)
def remove() -> None:
    """Take a note, a mark, a flight or a log out of the logbook; it is kept aside there.

    \b
    Examples:
      busbook remove flight tern 11
      busbook remove note tern 3
    """


@remove.command("note")
@_FLIGHTS
@with_book
def remove_note(what: tuple[str, ...], book: Path | None) -> None:
    """Take notes out of the book; what they closed is open again.

    ID is the aircraft and the note's number in the listing of its flights.

    \b
    Examples:
      busbook remove note tern 3
      busbook remove note tern 3 4
    """
    from telemetry.book import notes_named

    shelf = open_book(book)
    _remove(shelf, notes_named(shelf, what), book)


@remove.command("mark")
@click.argument("what", metavar="ID...", nargs=-1, required=True, shell_complete=complete_marks)
@with_book
def remove_mark(what: tuple[str, ...], book: Path | None) -> None:
    """Take marks out of the book.

    ID is the start of the id that 'busbook flights NAME' shows.

    \b
    Examples:
      busbook remove mark 20260514T1032
      busbook remove mark 20260514T103207-5e2ca6b1
    """
    from telemetry.book import marks_named
    from telemetry.report.documents.flights import entry_words

    shelf = open_book(book)
    marks = marks_named(shelf, what)
    shelf.remove([one.id for one in marks])
    for one in marks:
        tell(f"removed, and kept aside: {entry_words(one)}")
    tell(f"back again: busbook restore {' '.join(one.id for one in marks)}")


@remove.command("flight")
@_FLIGHTS
@with_book
def remove_flight(what: tuple[str, ...], book: Path | None) -> None:
    """Take flights out of the book; other flights of the same log stay.

    ID is the aircraft and the flight's number, the name of its log, or the start of its id.

    \b
    Examples:
      busbook remove flight tern 11
      busbook remove flight 5e2ca6
    """
    from telemetry.book import flights_named

    shelf = open_book(book)
    _remove(shelf, flights_named(shelf, what), book)


@remove.command("log")
@_FLIGHTS
@with_book
def remove_log(what: tuple[str, ...], book: Path | None) -> None:
    """Take logs out of the book, with all their flights.

    ID is the log's name, the start of its id, or any flight of it.

    \b
    Examples:
      busbook remove log may-14.csv
      busbook remove log tern 11
    """
    from telemetry.book import logs_named

    shelf = open_book(book)
    logs = logs_named(shelf, what)
    flights = [
        flight
        for one in shelf.aircraft()
        for flight in shelf.flights(one)
        if flight.recording in logs
    ]
    _remove(shelf, flights, book)


@click.command()
@click.argument("what", metavar="ID...", nargs=-1, shell_complete=complete_removed)
@with_book
def restore(what: tuple[str, ...], book: Path | None) -> None:
    """Put back what was removed; without an ID, list it.

    ID is the start of the id that the list shows, or the name of a log.

    \b
    Examples:
      busbook restore
      busbook restore 5e2ca6
      busbook restore may-14.csv
    """
    from telemetry.book import removed_named
    from telemetry.report.documents.flights import entry_words

    shelf = open_book(book)
    if not what:
        _list_removed(shelf)
        return
    ids = removed_named(shelf, what)
    shelf.restore(ids)
    back = [e for t in shelf.timelines().values() for e in t if e.id in ids]
    for entry in (*back, *(mark for mark in shelf.marks() if mark.id in ids)):
        tell(f"back in the book: {entry_words(entry)}")
    if back:
        _sum_up(shelf, [one.aircraft for one in back], book)


@click.command()
@_FLIGHTS
@click.option(
    "--to",
    required=True,
    metavar="NAME",
    shell_complete=complete_aircraft,
    help="The aircraft that they belong to; a new one is made.",
)
@with_book
def move(what: tuple[str, ...], to: str, book: Path | None) -> None:
    """Give flights, or logs with all their flights, to another aircraft.

    ID is an aircraft and the flight's number, the start of an id, or the name of a log.

    \b
    Examples:
      busbook move tern 11 12 --to gull
      busbook move may-14.csv --to gull
    """
    from telemetry.book import aircraft_key, parts_named
    from telemetry.report.documents.flights import entry_words

    shelf = open_book(book)
    key = aircraft_key(to)
    new = key not in shelf.aircraft()
    flights = parts_named(shelf, what)
    strange = [one for one in flights if one.aircraft != key]
    change = shelf.move([one.id for one in flights], to)
    if change is None:
        tell(f"nothing to move: {key} has them already")
    for one in strange:
        tell(f"moved to {key}: {entry_words(one)}")
    if new:
        tell(f"{key} is new; its profile: {shelf.profile_path(key)}")
    for name in sorted({one.aircraft for one in strange}):
        ids = " ".join(one.id for one in strange if one.aircraft == name)
        tell(f"back again: busbook move {ids} --to {_quoted(name)}")
    for name in sorted({one.aircraft for one in strange}):
        if not shelf.timeline(name):
            tell(f"{name} holds nothing now; its profile stays: {shelf.profile_path(name)}")
    _sum_up(shelf, [key, *(one.aircraft for one in strange)], book)


def _remove(shelf: Logbook, what: Sequence[BookFlight | Note], book: Path | None) -> None:
    from telemetry.report.documents.flights import entry_words

    shelf.remove([one.id for one in what])
    for one in what:
        tell(f"removed, and kept aside: {entry_words(one)}")
    tell(f"back again: busbook restore {' '.join(one.id for one in what)}")
    last = {name: len(shelf.flights(name)) for name in {one.aircraft for one in what}}
    for one in what:
        if _is_flight(one) and one.number is not None and one.number <= last[one.aircraft]:
            tell("the flights after it have lower numbers now; 'busbook flights' lists them")
            break
    _sum_up(shelf, [one.aircraft for one in what], book)


def _sum_up(shelf: Logbook, names: Iterable[str], book: Path | None) -> None:
    from telemetry.report.words import counted

    touched = list(dict.fromkeys(names))
    held = (f"{name} {counted(len(shelf.flights(name)), 'flight')}" for name in touched)
    tell(f"the book holds: {', '.join(held)}")
    flown = [name for name in touched if shelf.flights(name)]
    if flown:
        tell(next_step("history", flown[0], book=book))


def _list_removed(shelf: Logbook) -> None:
    from telemetry.report.documents.flights import entry_words

    aside = (*shelf.removed(), *shelf.removed_marks())
    if not aside:
        tell("nothing was removed")
    for one, why in aside:
        tell(f"{one.id}  {entry_words(one)}; removed {why.made[:10]}")
    if aside:
        tell(f"next: busbook restore {aside[-1][0].id}")


def _is_flight(one: BookFlight | Note) -> bool:
    from telemetry.book import BookFlight

    return isinstance(one, BookFlight)


def _quoted(name: str) -> str:
    from telemetry.report.words import quoted

    return quoted(name)
