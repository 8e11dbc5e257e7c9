"""Flights as people name them: "tern 11", the file's name, the start of the id.

One grammar for every command: a word that is an aircraft says whose the next ones are; a number is
that of its listing, as ``busbook flights`` and ``busbook history`` count; anything else is the name
of a log or the start of an id.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from difflib import get_close_matches

from telemetry.book.changes import FlightMark
from telemetry.book.files.names import aircraft_key, file_name
from telemetry.book.records import BookFlight, Note
from telemetry.book.shelf import Shelf
from telemetry.model.errors import BookError

# Fewer characters of an id are a number or a slip, not a name.
_FEWEST = 4
_START = re.compile(rf"[0-9a-f]{{{_FEWEST},16}}(?:-[0-9]*)?")
_MOST_NAMED = 6


def flights_named(
    book: Shelf, words: Sequence[str], *, aircraft: str | None = None
) -> tuple[BookFlight, ...]:
    """The flights that words name, each once, in the order in which they are named.

    Parameters
    ----------
    book : Logbook
    words : sequence of str
        ``("tern", "11", "12")``, ``("tern 11",)``, ``("3fa94c",)`` and the like.
    aircraft : str, optional
        Whose flights the first words are, where that is known already.

    Raises
    ------
    BookError
        If a word names no flight, or more than one.
    """
    search = _Search(book, None if aircraft is None else aircraft_key(aircraft))
    found = [search.only(word) for word in words if not search.turns_to(word)]
    search.complete()
    return tuple(dict.fromkeys(found))


def flights_or_all(book: Shelf, words: Sequence[str]) -> tuple[BookFlight, ...]:
    """The flights that words name; of an aircraft that is named alone all.

    Raises
    ------
    BookError
        As :func:`flights_named`, and if that aircraft has no flight.
    """
    search = _Search(book, None)
    if len(words) != 1 or not search.turns_to(words[0]):
        return flights_named(book, words)
    found = tuple(search.everyone[search.aircraft or ""])
    if not found:
        raise BookError(
            f"the book has no flights of '{search.aircraft}'",
            path=book.path,
            hint="see busbook flights",
        )
    return found


def logs_named(
    book: Shelf, words: Sequence[str], *, aircraft: str | None = None
) -> tuple[str, ...]:
    """Ids of the recordings that words name, as :func:`flights_named`; any flight names its log.

    Raises
    ------
    BookError
        If a word names no log, or more than one.
    """
    search = _Search(book, None if aircraft is None else aircraft_key(aircraft))
    found = [search.log(word)[0].recording for word in words if not search.turns_to(word)]
    search.complete()
    return tuple(dict.fromkeys(found))


def parts_named(book: Shelf, words: Sequence[str]) -> tuple[BookFlight, ...]:
    """As :func:`flights_named`; a log's name, or the start of its id, means all its flights.

    Raises
    ------
    BookError
        If a word names no log and no flight, or more than one log.
    """
    search = _Search(book, None)
    found = [search.log(word) for word in words if not search.turns_to(word)]
    search.complete()
    return tuple(dict.fromkeys(flight for flights in found for flight in flights))


def notes_named(book: Shelf, words: Sequence[str]) -> tuple[Note, ...]:
    """The notes that words name: ``("tern", "3")`` as listed, or the start of the note's id.

    Raises
    ------
    BookError
        If a word names no note, or more than one.
    """
    everyone = book.timelines()
    notes = [e for entries in everyone.values() for e in entries if isinstance(e, Note)]
    whose: str | None = None
    found: list[Note] = []
    for word in words:
        if word.lower() in everyone:
            whose = word.lower()
            continue
        name, _, number = word.rpartition(" ")
        name = name.lower() or whose or ""
        fitting = [n for n in notes if n.aircraft == name and str(n.number) == number]
        fitting = fitting or [n for n in notes if len(word) >= _FEWEST and n.id.startswith(word)]
        if len(fitting) != 1:
            raise BookError(
                f"'{word}' names {len(fitting) or 'no'} note{'s' * bool(fitting)} of the book",
                path=book.path,
                hint="say NAME and its number, as 'busbook flights NAME' lists them",
            )
        found += fitting
    if not found:
        raise BookError(
            f"no note of '{whose}' is named",
            path=book.path,
            hint=f"say its number, as 'busbook flights {whose}' lists them",
        )
    return tuple(dict.fromkeys(found))


def removed_named(book: Shelf, words: Sequence[str]) -> tuple[str, ...]:
    """Ids of what was removed, by the start of an id or a log's name, which means all of it.

    Raises
    ------
    BookError
        If a word names nothing that was removed, or parts of several logs.
    """
    aside = [entry for entry, _ in (*book.removed(), *book.removed_marks())]
    found: list[str] = []
    for word in words:
        start = word.strip().lower()
        exact = [e for e in aside if e.id.lower() == start]
        fitting = exact or [
            e
            for e in aside
            if (len(start) >= _FEWEST and e.id.lower().startswith(start))
            or (isinstance(e, BookFlight) and e.file == file_name(word))
        ]
        if len({e.recording if isinstance(e, BookFlight) else e.id for e in fitting}) != 1:
            several = f"names {len(fitting)} things that were" if fitting else "was not"
            raise BookError(
                f"'{word}' {several} removed", path=book.path, hint="busbook restore lists them"
            )
        found += [e.id for e in fitting]
    return tuple(dict.fromkeys(found))


def marks_named(book: Shelf, words: Sequence[str]) -> tuple[FlightMark, ...]:
    """Marks by their ids or the start of them.

    Raises
    ------
    BookError
        If a word names no mark, or several.
    """
    found = []
    for word in words:
        start = word.strip().lower()
        fitting = [
            m for m in book.marks() if len(start) >= _FEWEST and m.id.lower().startswith(start)
        ]
        exact = [m for m in fitting if m.id.lower() == start] or fitting
        if len(exact) != 1:
            raise BookError(
                f"'{word}' names {len(exact) or 'no'} {'marks' if exact else 'mark'}",
                path=book.path,
                hint="busbook flights NAME lists them",
            )
        found += exact
    return tuple(dict.fromkeys(found))


def names_flight(book: Shelf, word: str) -> bool:
    """Whether one word by itself names a flight of the book, or several."""
    try:
        return bool(_Search(book, None).fitting(word))
    except BookError:
        return False


class _Search:
    """Goes through the words; knows whose flights are meant."""

    def __init__(self, book: Shelf, aircraft: str | None) -> None:
        self.book = book
        self.aircraft = aircraft
        self.everyone = {
            name: [e for e in entries if isinstance(e, BookFlight)]
            for name, entries in book.timelines().items()
        }
        self.waiting = False

    def turns_to(self, word: str) -> bool:
        """Whether the word is an aircraft; the next ones are its flights then."""
        key = self._key(word)
        if key is None:
            return False
        self.complete()
        self.aircraft, self.waiting = key, True
        return True

    def complete(self) -> None:
        """Raise if the last word was an aircraft and no flight of it was named."""
        if self.waiting:
            raise BookError(
                f"'{self.aircraft}' is an aircraft, and no flight of it is named",
                path=self.book.path,
                hint=self._has(self.aircraft or ""),
            )

    def only(self, word: str) -> BookFlight:
        """The one flight that a word names."""
        self.waiting = False
        found = self.fitting(word)
        if not found:
            raise self._none(word)
        if len(found) > 1:
            raise self._several(word, found)
        return found[0]

    def log(self, word: str) -> list[BookFlight]:
        """The flights of one recording that a word names."""
        self.waiting = False
        found = self.fitting(word)
        if not found:
            raise self._none(word)
        if len({f.recording for f in found}) > 1:
            raise self._several(word, found)
        return found

    def _key(self, word: str) -> str | None:
        try:
            key = aircraft_key(word)
        except BookError:
            return None
        return key if key in self.everyone else None

    def fitting(self, word: str) -> list[BookFlight]:
        """The flights that a word may name; BookError for a number that none has."""
        name, _, number = word.strip().rpartition(" ")
        key = self._key(name) if number.isdecimal() else None
        if key is not None:
            return [self._numbered(key, int(number))]
        if word.isdecimal() and len(word) < _FEWEST + 1:
            if self.aircraft is None:
                raise BookError(
                    f"flight {word} of which aircraft is not said",
                    path=self.book.path,
                    hint=f"as in '{next(iter(self.everyone), 'tern')} {word}'",
                )
            return [self._numbered(self.aircraft, int(word))]
        flights = self._reach()
        start = word.strip().lower()
        found = [f for f in flights if f.file == file_name(word)]
        if not found and _START.fullmatch(start):
            found = [f for f in flights if f.id == start] or [
                f for f in flights if f.id.startswith(start)
            ]
        return found

    def _reach(self) -> list[BookFlight]:
        """The flights that a word may name."""
        if self.aircraft is not None:
            return list(self.everyone.get(self.aircraft, ()))
        return [f for flights in self.everyone.values() for f in flights]

    def _numbered(self, aircraft: str, number: int) -> BookFlight:
        flights = self.everyone.get(aircraft, ())
        if not 1 <= number <= len(flights):
            raise BookError(
                f"'{aircraft}' has no flight {number}",
                path=self.book.path,
                hint=self._has(aircraft),
            )
        return flights[number - 1]

    def _has(self, aircraft: str) -> str:
        count = len(self.everyone.get(aircraft, ()))
        if not count:
            return "it has no flights"
        return f"it has 1 to {count}: say '{aircraft} {count}'; 'busbook flights' lists them"

    def _none(self, word: str) -> BookError:
        files = sorted({f.file for f in self._reach()})
        near = get_close_matches(word, [*self.everyone, *files], 3)
        whose = "" if self.aircraft is None else f" of '{self.aircraft}'"
        return BookError(
            f"the book has no flight '{word}'{whose}",
            path=self.book.path,
            hint=f"is it {' or '.join(near)}?"
            if near
            else "say NAME and a number, the log's name or the start of the id, "
            "as 'busbook flights NAME' lists them",
        )

    def _several(self, word: str, found: Sequence[BookFlight]) -> BookError:
        shown = ", ".join(f"{f.aircraft} {f.number}" for f in found[:_MOST_NAMED])
        more = ", ..." if len(found) > _MOST_NAMED else ""
        return BookError(
            f"'{word}' names {len(found)} flights of the book",
            path=self.book.path,
            hint=f"say one of {shown}{more}",
        )
