"""Pages that write what was done: notes, and flights taken out, put back or given to another."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from telemetry.app.noting import closed_by, known_places, moment_named, place_named
from telemetry.book import BookChange, BookFlight, Logbook, Note, NoteKind
from telemetry.book.files.names import aircraft_key
from telemetry.model.channels import EVERY_PLACE
from telemetry.model.errors import BookError, UnknownSetting
from telemetry.page.answers import desk_of, gone, known, one_of, shown, to, told, ways_of
from telemetry.page.looking import numbered
from telemetry.page.said import effect_words, said_in
from telemetry.report.documents.flights import entry_words
from telemetry.report.words import sentence

#: Kinds of notes, and how a person says them.
KINDS = {
    NoteKind.REPAIRED: "Repaired",
    NoteKind.CHANGED: "A part was changed",
    NoteKind.CHECKED: "Checked: leave it as it is",
    NoteKind.CHARGED: "Packs charged",
}
_LONGEST_TEXT = 500


def _draft(book: Logbook, name: str, given: dict[str, str]) -> Note:
    place = given["place"]
    where = place_named(book, name, place) if place else None
    if not given["text"]:
        raise UnknownSetting("the note is empty", hint="say in a few words what was done")
    return book.draft_note(
        name, given["text"], kind=given["kind"], place=where, on=given["on"] or None
    )


def _given(form: Mapping[str, Any]) -> dict[str, str]:
    return {key: one_of(form, key, _LONGEST_TEXT) for key in ("kind", "place", "text", "on")}


def note(request: Request) -> Response:
    """What would this note close? Nothing is written yet."""
    desk = desk_of(request)
    book = desk.open()
    name = known(book, request.path_params["name"])
    given = _given(request.query_params)
    try:
        draft = _draft(book, name, given)
    except (UnknownSetting, BookError) as error:
        return _notes(request, given, f"{sentence(error.what)} {sentence(error.hint)}".strip(), 400)
    closed = [(str(f.level), sentence(f.title)) for f in closed_by(book, draft)]
    return shown(
        "note",
        ways_of(name, "notes"),
        name=name,
        given=given,
        words=KINDS[draft.kind],
        place="every place" if draft.place == EVERY_PLACE else draft.place,
        closed=closed,
        effect=effect_words(draft),
        action=to("aircraft", name, "notes"),
    )


def keep_note(request: Request, form: Mapping[str, Any]) -> Response:
    """Write a note."""
    given = _given(form)
    book = desk_of(request).open()
    name = known(book, request.path_params["name"])
    try:
        made = book.keep_note(_draft(book, name, given))
    except UnknownSetting as error:
        return _notes(request, given, f"{sentence(error.what)} {sentence(error.hint)}".strip(), 400)
    return gone(to("aircraft", name, did=f"note:{made.id}"))


def notes(request: Request) -> Response:
    """What was done to this aircraft, and what was taken out of the book?"""
    return _notes(request, _given(request.query_params))


def _notes(
    request: Request, given: dict[str, str], problem: str = "", status: int = 200
) -> Response:
    desk = desk_of(request)
    book = desk.open()
    name = known(book, request.path_params["name"])
    places: dict[str, str] = {}
    for places in known_places(book, name):
        if len(places) > 3:
            break
    aside = [e for e, _ in book.removed() if e.aircraft == name]
    return shown(
        "notes",
        ways_of(name, "notes"),
        said=said_in(desk, book, request),
        status=status,
        name=name,
        kinds=KINDS,
        given=given,
        problem=problem,
        places=sorted({*places.values()} - {EVERY_PLACE, "total"}),
        notes=[(n, entry_words(n)) for n in reversed(book.notes(name))],
        aside=[(e.id, entry_words(e), isinstance(e, BookFlight)) for e in reversed(aside)],
        back=to("aircraft", name, "notes"),
    )


def keep_mark(request: Request, form: Mapping[str, Any]) -> Response:
    """Mark a moment of a flight."""
    name, number, one = numbered(desk_of(request).open(), request)
    try:
        at_s = moment_named(one_of(form, "at", 20))
        made = desk_of(request).open().mark(one.id, at_s, one_of(form, "text", _LONGEST_TEXT))
    except UnknownSetting as error:
        return told(sentence(error.what), sentence(error.hint), around=ways_of(name))
    return gone(to("aircraft", name, "flights", number, did=f"change:{made.id}"))


def change(request: Request) -> Response:
    """Whose flight is it really, and shall it stay in the book?"""
    book = desk_of(request).open()
    name, number, one = numbered(book, request)
    return shown(
        "change",
        ways_of(name, "flight", number, len(book.flights(name))),
        name=name,
        number=number,
        flight=one,
        words=entry_words(one),
        others=[n for n in book.aircraft() if n != name],
    )


def remove(request: Request, form: Any) -> Response:
    """Take notes or flights out of the book; they are kept aside there."""
    book, what = _chosen(request, form)
    whose = _whose(book, what)
    return _changed_page(whose, book.remove(what))


def restore(request: Request, form: Any) -> Response:
    """Put back what was taken out."""
    book, what = _chosen(request, form)
    whose = _whose(book, what)
    return _changed_page(whose, book.restore(what))


def move(request: Request, form: Any) -> Response:
    """Give flights to another aircraft."""
    book, what = _chosen(request, form)
    key = aircraft_key(one_of(form, "to", 200))
    origin = book.flight(what[0]).aircraft
    moved = book.move(what, key)
    if moved is None:
        return gone(to("aircraft", key))
    return gone(to("aircraft", key, did=f"change:{moved.id}", **{"from": origin}))


def _chosen(request: Request, form: Any) -> tuple[Logbook, list[str]]:
    what = [one[:60] for one in form.getlist("what") if isinstance(one, str)]
    if not what:
        raise BookError("nothing was chosen")
    return desk_of(request).open(), what


def _changed_page(whose: str | None, made: BookChange) -> Response:
    did = f"change:{made.id}"
    return gone(to(did=did) if whose is None else to("aircraft", whose, did=did))


def _whose(book: Logbook, what: list[str]) -> str | None:
    """The aircraft that all of it is of."""
    entries = [e for entries in book.timelines().values() for e in entries]
    entries += [e for e, _ in book.removed()]
    names = {e.aircraft for e in entries if e.id in what}
    marks = (*book.marks(), *(mark for mark, _ in book.removed_marks()))
    marked = {mark.flight for mark in marks if mark.id in what}
    names |= {e.aircraft for e in entries if e.id in marked}
    return names.pop() if len(names) == 1 else None
