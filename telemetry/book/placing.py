"""Files of flights and notes in the place that the book's changes give them.

A file that a crash left in its old place is found there all the same, and is put in its place when
the book is opened the next time. Whoever moves a file asks the changes again afterwards: of two
that move it at once the last one sees what holds.
"""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from telemetry.book.changes import Changes, load_changes
from telemetry.book.files.layout import Places
from telemetry.book.files.names import is_flight
from telemetry.book.files.writing import book_error, make_folder, remove, rename
from telemetry.book.maps import Learnt, clues_of_flight
from telemetry.book.records import Recording, load_recording
from telemetry.model.errors import BookError

# Of two writers that move a file to and fro, one gives up after so many turns: the next opening
# of the book goes on.
_TURNS = 4


def right_place(places: Places, changes: Changes, recording: Recording, flight: str) -> Path:
    """Where the samples of a flight of that recording should lie."""
    whose = changes.moved.get(flight, recording.aircraft)
    if flight in changes.removed:
        return places.removed_flight(whose, flight)
    return places.flight(whose, flight)


def found_place(places: Places, changes: Changes, recording: Recording, flight: str) -> Path:
    """Where the samples of a flight lie; where they should if they lie nowhere."""
    right = right_place(places, changes, recording, flight)
    return right if right.exists() else next(iter(_copies(places, flight)), right)


def finish(places: Places, only: Iterable[str] | None = None) -> None:
    """Put the files of everything that changes name in their place, or of some of it.

    Derived things follow: where that fails, it is done when the book is opened the next time.
    """
    with suppress(BookError):
        changes = load_changes(places)
        unfinished = [
            one
            for one in (changes.named if only is None else only)
            if (right := _right(places, changes, one)) is not None and not right.exists()
        ]
        if not unfinished:
            return
        _follow_maps(places, changes, unfinished)
        for one in unfinished:
            put(places, one)


def _right(places: Places, changes: Changes, one: str) -> Path | None:
    """Where the file of a flight or note should lie; None where the book does not know it."""
    if is_flight(one):
        record = places.record(one.partition("-")[0])
        with suppress(BookError):
            return right_place(places, changes, load_recording(record), one)
        return None
    for path in _copies(places, one):
        whose = path.parent.name.removeprefix("aircraft=")
        aside = one in changes.removed
        return places.removed_note(whose, one) if aside else places.note(whose, one)
    return None


def _copies(places: Places, one: str) -> list[Path]:
    """Where a flight or note lies, wherever that is."""
    kind, ending = ("flights", "parquet") if is_flight(one) else ("notes", "json")
    name = f"{one}.{ending}"
    return [*places.files(f"{kind}/*/{name}"), *places.files(f"removed/{kind}/*/{name}")]


def put(places: Places, one: str) -> None:
    """Put the file of a flight or note where the book's changes say."""
    for _ in range(_TURNS):
        right = _right(places, load_changes(places), one)
        if right is None:
            return
        wrong = [path for path in _copies(places, one) if path != right]
        if not wrong:
            return
        for path in wrong:
            if right.exists():
                remove(path)  # a copy: flights are made of their originals
            else:
                _moved(path, right)


def _moved(path: Path, to: Path) -> None:
    try:
        make_folder(to.parent)
        rename(path, to)
    except FileNotFoundError:
        return  # another writer was first
    except OSError as error:
        raise book_error(error, path, "moved") from error


def _follow_maps(places: Places, changes: Changes, flights: Iterable[str]) -> None:
    """Learn anew whose columns these flights' are, for every aircraft that had or has one."""
    touched = set()
    for flight in filter(is_flight, flights):
        for path in _copies(places, flight):
            with suppress(BookError):
                touched.add(clues_of_flight(path).fingerprint)
    for fingerprint in touched:
        relearn(places, changes, fingerprint)


def relearn(places: Places, changes: Changes, fingerprint: str) -> None:
    """Learn one set of columns anew from all flights that the book holds."""
    learnt: dict[str, Learnt] = {}
    for path in places.files("originals/*.json"):
        recording = load_recording(path)
        for own in changes.left(recording):
            for part in own.flights[:1]:  # all flights of a recording have its columns
                with suppress(BookError):
                    clues = clues_of_flight(found_place(places, changes, recording, part.id))
                    if clues.fingerprint == fingerprint:
                        old = learnt.get(own.aircraft) or clues.new(own.aircraft)
                        learnt[own.aircraft] = old.with_log(clues, recording.settings)
    for path in places.files(f"maps/*/{fingerprint}.json"):
        if path.parent.name.removeprefix("aircraft=") not in learnt:
            remove(path)
    for one in learnt.values():
        one.keep(places)
