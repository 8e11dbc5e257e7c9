"""What was taken out of the book, put back, given to another aircraft or said: a small file each.

Nothing is rewritten and nothing is deleted. How the book stands is what its records say and then,
in their order, its changes; so a change that is written is done, at once and as a whole, and two
writers cannot undo each other's. The files of what a change names are put in their place after it.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from enum import StrEnum
from math import isfinite
from pathlib import Path
from typing import Any

from telemetry.book.files.layout import Places
from telemetry.book.files.names import aircraft_key
from telemetry.book.files.writing import damaged, read_json
from telemetry.book.records import Note, Recording, known_keys
from telemetry.model.errors import BookError


class ChangeKind(StrEnum):
    """What a change does with the flights or notes that it names."""

    REMOVED = "removed"
    RESTORED = "restored"
    MOVED = "moved"
    PACKS = "packs"
    MARKED = "marked"


# Kinds that say something of what they name.
_SAYING = (ChangeKind.MOVED, ChangeKind.PACKS, ChangeKind.MARKED)


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightMark:
    """A moment of a flight that somebody marked, in words.

    Attributes
    ----------
    id : str
        That of the change by which it came.
    flight : str
        Id of the flight.
    at_s : float
        Seconds from the first row of that flight.
    text : str
    order : int
        Counts as in :class:`telemetry.book.Recording`.
    made : str
        When, by the clock of that machine, ISO 8601 in UTC.
    """

    id: str
    flight: str
    at_s: float
    text: str
    order: int
    made: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BookChange:
    """One change of what the book holds.

    Attributes
    ----------
    id : str
    kind : ChangeKind
    what : tuple of str
        Ids of flights, or of notes.
    to : str or None
        The aircraft that flights were moved to, the packs that they were flown with, "" where
        that is taken back, or the words of a mark.
    at_s : float or None
        Of a mark: seconds from the first row of the flight.
    order : int
        Counts as in :class:`telemetry.book.Recording`.
    made : str
        When, by the clock of that machine, ISO 8601 in UTC.
    """

    id: str
    kind: ChangeKind
    what: tuple[str, ...]
    to: str | None = None
    order: int
    made: str
    at_s: float | None = None

    def document(self) -> dict[str, Any]:
        """As plain values for JSON."""
        doc = asdict(self) | {"kind": str(self.kind), "what": list(self.what)}
        if self.at_s is None:
            del doc["at_s"]
        return doc

    @classmethod
    def of(cls, doc: Mapping[str, Any]) -> BookChange:
        """From plain values; keys that this version does not know are passed over.

        Raises
        ------
        BookError
            If something is missing or of another kind.
        """
        try:
            what = tuple(str(one) for one in doc["what"])
            found = cls(**(known_keys(cls, doc) | {"kind": ChangeKind(doc["kind"]), "what": what}))
            moved = found.kind is ChangeKind.MOVED
            to = aircraft_key(found.to) if moved and found.to is not None else found.to
        except (KeyError, TypeError, ValueError) as error:
            raise BookError("this change is damaged") from error
        if to != found.to or (found.kind in _SAYING) != (to is not None) or not found._at_fits():
            raise BookError("this change is damaged")
        return found

    def _at_fits(self) -> bool:
        """Whether a mark, and nothing else, has one flight and a time."""
        if self.kind is not ChangeKind.MARKED:
            return self.at_s is None
        return self.at_s is not None and isfinite(self.at_s) and len(self.what) == 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """How the book stands after all its changes.

    Attributes
    ----------
    removed : mapping of str to BookChange
        What is kept aside, by its id, with the change that removed it.
    moved : mapping of str to str
        Flights that belong to another aircraft than their recording says, by their ids.
    packs : mapping of str to str
        The packs that flights were flown with, as it was said, by their ids.
    marked : mapping of str to FlightMark
        Every mark by its id, those that were removed among them.
    order : int
        The highest order of a change; 0 where there is none.
    named : tuple of str
        Every id that a change names.
    """

    removed: Mapping[str, BookChange]
    moved: Mapping[str, str]
    packs: Mapping[str, str]
    marked: Mapping[str, FlightMark]
    order: int
    named: tuple[str, ...]

    @classmethod
    def of(cls, changes: Iterable[BookChange]) -> Changes:
        """How the book stands after these."""
        removed: dict[str, BookChange] = {}
        moved: dict[str, str] = {}
        packs: dict[str, str] = {}
        marked: dict[str, FlightMark] = {}
        named: dict[str, None] = {}
        order = 0
        for one in sorted(changes, key=lambda c: (c.order, c.made, c.id)):
            order = one.order
            if one.kind is ChangeKind.MARKED and one.at_s is not None:
                marked[one.id] = FlightMark(
                    id=one.id,
                    flight=one.what[0],
                    at_s=one.at_s,
                    text=one.to or "",
                    order=one.order,
                    made=one.made,
                )
                continue
            for what in one.what:
                named[what] = None
                if one.kind is ChangeKind.REMOVED:
                    removed.setdefault(what, one)
                elif one.kind is ChangeKind.RESTORED:
                    removed.pop(what, None)
                elif one.kind is ChangeKind.PACKS:
                    packs[what] = one.to or ""
                elif one.to is not None:
                    moved[what] = one.to
        return cls(
            removed=removed,
            moved=moved,
            packs={flight: label for flight, label in packs.items() if label},
            marked=marked,
            order=order,
            named=tuple(named),
        )

    def marks(self, flight: str) -> tuple[FlightMark, ...]:
        """The marks of a flight by time, without those that were removed."""
        found = (m for m in self.marked.values() if m.flight == flight and m.id not in self.removed)
        return tuple(sorted(found, key=lambda m: (m.at_s, m.order, m.id)))

    def left(self, recording: Recording) -> tuple[Recording, ...]:
        """What is left of a recording, for each aircraft that has a flight of it."""
        return self._shared(recording, removed=False)

    def aside(self, recording: Recording) -> tuple[Recording, ...]:
        """What of a recording is kept aside, for each aircraft that had a flight of it."""
        return self._shared(recording, removed=True)

    def _shared(self, recording: Recording, *, removed: bool) -> tuple[Recording, ...]:
        if not self.named:
            return () if removed else (recording,)
        parts: dict[str, list[Any]] = {}
        for part in recording.flights:
            if (part.id in self.removed) is removed:
                parts.setdefault(self.moved.get(part.id, recording.aircraft), []).append(part)
        return tuple(
            replace(recording, aircraft=name, flights=tuple(own)) for name, own in parts.items()
        )

    def notes(self, notes: Iterable[Note]) -> list[Note]:
        """Those that were not removed."""
        return [note for note in notes if note.id not in self.removed]


def new_change(
    kind: ChangeKind,
    what: Sequence[str],
    order: int,
    *,
    to: str | None,
    at_s: float | None = None,
) -> BookChange:
    """A change made now."""
    made = datetime.now(UTC)
    return BookChange(
        id=f"{made:%Y%m%dT%H%M%S}-{secrets.token_hex(4)}",
        kind=kind,
        what=tuple(what),
        to=to,
        order=order,
        made=made.isoformat(timespec="microseconds"),
        at_s=at_s,
    )


def load_change(path: Path) -> BookChange:
    """The change in a file of the book; BookError if it is missing or damaged."""
    doc = read_json(path)
    try:
        return BookChange.of(doc)
    except BookError as error:
        raise damaged(path) from error


def load_changes(places: Places) -> Changes:
    """How the book stands after all its changes; BookError if one is damaged."""
    return Changes.of(load_change(path) for path in places.files("changes/*.json"))
