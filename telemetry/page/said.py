"""What a write did, said on the page that follows it, with the way to take it back.

The address names the note or the change; what it was is read from the book. So nobody can make the
page say something else, and a page that is opened again says the same.
"""

from __future__ import annotations

from starlette.requests import Request

from telemetry.book import BookChange, BookFlight, ChangeKind, FlightMark, Logbook, Note, NoteKind
from telemetry.book.files.names import aircraft_key
from telemetry.model.channels import EVERY_PLACE
from telemetry.model.errors import BookError
from telemetry.page.answers import Desk
from telemetry.report.documents.flights import entry_words
from telemetry.report.words import sentence
from telemetry.report.writers.templates import template

_MOST_NAMED = 5


def said_in(desk: Desk, book: Logbook, request: Request) -> str:
    """What the write did that led here, as a part of the page; "" where none did."""
    did = request.query_params.get("did", "")
    kind, _, what = did.partition(":")
    back = request.url.path
    try:
        if kind == "note":
            return _note(book, what, back)
        if kind == "change":
            return _change(book, book.change(what), request.query_params.get("from", ""), back)
        if kind == "profile":
            return _profile(desk, what)
    except BookError:
        return ""
    return ""


def _said(words: list[str], button: str = "", action: str = "", **fields: str | list[str]) -> str:
    return template("page/said.html.j2").render(
        words=words, button=button, action=action, fields=fields, figures={}, around=None
    )


def _note(book: Logbook, identity: str, back: str) -> str:
    for name in book.aircraft():
        for note in book.notes(name):
            if note.id == identity:
                words = [sentence(f"noted for {entry_words(note)}"), effect_words(note)]
                return _said(words, "Take the note back", "/remove", what=[note.id], back=back)
    return ""


def effect_words(note: Note) -> str:
    """What a note does to what is judged."""
    if note.kind is NoteKind.CHARGED:
        return "The packs count as charged from there on."
    if note.place is None:
        return "It names no place and closes nothing."
    of = "every place" if note.place == EVERY_PLACE else note.place
    if note.kind in (NoteKind.REPAIRED, NoteKind.CHANGED):
        return f"The baseline of {of} begins anew with the next flight after that."
    return f"What was open at {of} is accepted as it is; what grows beyond it is told again."


def _change(book: Logbook, change: BookChange, origin: str, back: str) -> str:
    entries: dict[str, BookFlight | Note | FlightMark] = {
        e.id: e for entries in book.timelines().values() for e in entries
    }
    entries |= {e.id: e for e, _ in book.removed()}
    entries |= {mark.id: mark for mark in book.marks()}
    entries |= {mark.id: mark for mark, _ in book.removed_marks()}
    named = [entry_words(entries[one]) for one in change.what if one in entries]
    listed = "; ".join(named[:_MOST_NAMED])
    if len(named) > _MOST_NAMED:
        listed += f"; and {len(named) - _MOST_NAMED} more"
    what = list(change.what)
    if change.kind is ChangeKind.MARKED and change.id in entries:
        words = [sentence(f"marked: {entry_words(entries[change.id])}")]
        return _said(words, "Take the mark back", "/remove", what=[change.id], back=back)
    if change.kind is ChangeKind.REMOVED:
        words = [f"Taken out of the book, and kept aside: {listed}."]
        if any(isinstance(entries.get(one), BookFlight) for one in what):
            words.append("The flights after it have lower numbers now.")
        return _said(words, "Put it back", "/restore", what=what, back=back)
    if change.kind is ChangeKind.RESTORED:
        return _said(
            [f"Back in the book: {listed}."], "Take it out again", "/remove", what=what, back=back
        )
    if change.kind is ChangeKind.MOVED:
        words = [f"Moved to {change.to}: {listed}."]
        try:
            key = aircraft_key(origin)
        except BookError:
            return _said(words)
        return _said(words, f"Give it back to {key}", "/move", what=what, to=key)
    return ""


def _profile(desk: Desk, token: str) -> str:
    if token not in desk.undo:
        return _said(["The settings are saved."])
    name, _ = desk.undo[token]
    return _said(
        [f"The settings of {name} are saved. Every page of it was judged with them again."],
        "Take the change back",
        "/undo-settings",
        token=token,
    )
