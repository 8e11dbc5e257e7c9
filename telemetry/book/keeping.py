"""What people change of what a logbook holds: flights and notes taken out, put back, given away."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from telemetry.aircraft.profile import new_profile
from telemetry.book.changes import BookChange, ChangeKind, FlightMark, load_changes, new_change
from telemetry.book.files.dates import refuse_future
from telemetry.book.files.names import aircraft_key
from telemetry.book.files.writing import json_bytes
from telemetry.book.ledger.entries import write_entered
from telemetry.book.placing import finish
from telemetry.book.records import Note, NoteKind, new_note
from telemetry.book.shelf import Shelf
from telemetry.model.errors import BookError, UnknownSetting


class Keeper(Shelf):
    """The half of :class:`telemetry.book.Logbook` by which people change it; nothing is deleted.

    Parameters
    ----------
    path : path
    make : bool
        Whether one is made where there is none.

    Raises
    ------
    BookError
        If the folder is no logbook, was written by a newer version, or cannot be made.
    """

    def __init__(self, path: str | Path, *, make: bool = True) -> None:
        super().__init__(path, make=make)
        self._order: int | None = None

    def _next_order(self) -> int:
        """One more than the highest number so far; the book is searched once."""
        if self._order is None:
            orders = [r.order for r in self.recordings()]
            orders += [note.order for note in self._lying()]
            self._order = max(orders, default=0)
        # What comes after a change has to say so, whoever made it.
        self._order = 1 + max(self._order, load_changes(self._places).order)
        return self._order

    # Taking out, putting back, giving to another.

    def remove(self, what: Sequence[str]) -> BookChange:
        """Take flights, notes or marks out of the book; they are kept aside in it.

        Parameters
        ----------
        what : sequence of str
            Ids of flights, of notes, or of marks.

        Raises
        ------
        BookError
            If the book has not one of them, or cannot be written to; nothing is changed then.
        """
        held = {entry.id for entries in self.timelines().values() for entry in entries}
        held |= {mark.id for mark in self.marks()}
        for one in set(what) - held:
            raise BookError(
                f"the book has no flight, note or mark '{one}'",
                path=self.path,
                hint="see busbook flights",
            )
        return self._change(ChangeKind.REMOVED, what)

    def restore(self, what: Sequence[str]) -> BookChange:
        """Put back flights, notes or marks that were removed; parameters and errors likewise."""
        aside = (*self.removed(), *self.removed_marks())
        for one in set(what) - {entry.id for entry, _ in aside}:
            raise BookError(
                f"'{one}' was not removed", path=self.path, hint="busbook restore lists what was"
            )
        return self._change(ChangeKind.RESTORED, what)

    def move(self, flights: Sequence[str], to: str) -> BookChange | None:
        """Give flights to another aircraft, which is made where the book lacks it.

        Parameters
        ----------
        flights : sequence of str
            Ids of flights of the book.
        to : str
            The aircraft.

        Returns
        -------
        BookChange or None
            None where they are all its own already.

        Raises
        ------
        BookError
            As of :meth:`remove`.
        """
        key = aircraft_key(to)
        found = [self.flight(one) for one in flights]
        strange = [one for one in found if one.aircraft != key]
        if not strange:
            return None
        change = self._change(ChangeKind.MOVED, [one.id for one in strange], to=key)
        profile = self.profile_path(key)
        with suppress(BookError):  # the flights are its own, with a profile or without
            if not profile.exists():
                data = new_profile(to.strip(), self.read(strange[0].id)).encode()
                write_entered(self._places, profile, data)
        return change

    def say_packs(self, flights: Sequence[str], label: str) -> BookChange:
        """Say which set of packs flights were flown with; "" takes back what was said.

        Parameters
        ----------
        flights : sequence of str
            Ids of flights of the book.
        label : str
            What is written on the set.

        Raises
        ------
        BookError
            As of :meth:`remove`.
        """
        found = [self.flight(one) for one in flights]
        return self._change(ChangeKind.PACKS, [one.id for one in found], to=" ".join(label.split()))

    def mark(self, flight: str, at_s: float, text: str) -> FlightMark:
        """Mark a moment of a flight in words; its report shows them.

        Parameters
        ----------
        flight : str
            Id of a flight of the book.
        at_s : float
            Seconds from the first row of that flight.
        text : str

        Raises
        ------
        BookError
            If the book has no such flight or cannot be written to.
        UnknownSetting
            If there are no words, or the flight has no such moment.
        """
        found = self.flight(flight)
        words = " ".join(text.split())
        if not words:
            raise UnknownSetting("a mark needs words", hint="say what happened at that moment")
        if not 0 <= at_s <= found.duration_s:
            raise UnknownSetting(
                f"the flight has no moment at {at_s:g} s: it lasts {found.duration_s:.1f} s",
                hint="count from its first row, as its own report does",
            )
        change = self._change(ChangeKind.MARKED, [found.id], to=words, at_s=float(at_s))
        return load_changes(self._places).marked[change.id]

    def _change(
        self,
        kind: ChangeKind,
        what: Sequence[str],
        *,
        to: str | None = None,
        at_s: float | None = None,
    ) -> BookChange:
        change = new_change(kind, what, self._next_order(), to=to, at_s=at_s)
        path = self._places.change(change.id)
        write_entered(self._places, path, json_bytes(change.document()))
        # It is done; what follows of it is finished by the next one who opens the book.
        finish(self._places, what)
        return change

    # Notes.

    def note(
        self,
        aircraft: str,
        text: str,
        *,
        kind: NoteKind | str,
        place: str | None = None,
        on: str | None = None,
    ) -> Note:
        """Write a note on an aircraft the book knows.

        Parameters
        ----------
        aircraft, text : str
        kind : NoteKind or str
            repaired, changed, checked or charged.
        place : str, optional
            Where, such as "left wing", or "all" for every place. Without it the note is on the
            aircraft as a whole, and closes nothing.
        on : str, optional
            Date, or date and time, not later than today or the newest flight; without it now.

        Raises
        ------
        BookError
            If the book does not know the aircraft or cannot be written to.
        UnknownSetting
            If the kind or the date is none, or the date is still to come.
        """
        return self.keep_note(self.draft_note(aircraft, text, kind=kind, place=place, on=on))

    def draft_note(
        self,
        aircraft: str,
        text: str,
        *,
        kind: NoteKind | str,
        place: str | None = None,
        on: str | None = None,
    ) -> Note:
        """The note that :meth:`note` would write, with all its errors; nothing is written yet."""
        key = aircraft_key(aircraft)
        everyone = self.aircraft()
        if key not in everyone:
            known = f"it knows {', '.join(everyone)}" if everyone else "add a log of it first"
            raise BookError(f"the book has no aircraft '{key}'", path=self.path, hint=known)
        note = new_note(key, text, kind=kind, place=place, on=on)
        if note.given:
            # A clock that is behind must not refuse the day of a flight.
            flown = max((f.start[:10] for f in self.flights(key) if f.start), default="")
            refuse_future(note.date, flown)
        return replace(note, order=self._next_order())

    def keep_note(self, note: Note) -> Note:
        """Write a note that was drafted; the note as the book lists it."""
        path = self._places.note(note.aircraft, note.id)
        write_entered(self._places, path, json_bytes(note.document()))
        return next((n for n in self.notes(note.aircraft) if n.id == note.id), note)
