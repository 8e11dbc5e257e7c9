"""Notes among the flights of a book, and from which flight on they begin a baseline anew."""

from __future__ import annotations

from typing import Any

from telemetry.aircraft import Aircraft, Node, Servo
from telemetry.app.timelines import note_marks
from telemetry.checks.aircraft_history import first_since
from telemetry.results import NoteMark
from tests.trends.conftest import book_flight, book_note


class TestNotes:
    def test_the_index_is_that_of_the_next_flight(self) -> None:
        timeline: list[Any] = [
            book_note("2026-01-01"),
            book_flight(None),
            book_flight(None),
            book_note("2026-02-02"),
        ]
        timeline += [book_note("2026-02-03"), book_flight(None)]
        marks = note_marks(timeline)
        assert [m.before for m in marks] == [0, 2, 2]
        assert [m.date for m in marks] == ["2026-01-01", "2026-02-02", "2026-02-03"]
        assert (marks[0].kind, marks[0].place, marks[0].text) == ("repaired", None, "")

    @staticmethod
    def mark(before: int, place: str | None = "tail", kind: str = "repaired") -> NoteMark:
        return NoteMark(kind=kind, place=place, text="", date="2026-05-01", before=before)

    def test_the_last_note_that_restarts_any_of_the_places(self) -> None:
        craft = Aircraft(
            servos=(Servo(node="tail", output=1, drives="rudder"),), nodes=(Node(name="tail"),)
        )
        mark = self.mark
        notes = [mark(2), mark(7, "nose"), mark(9, kind="note"), mark(1)]
        assert first_since(notes, craft, "tail") == 2
        assert first_since(notes, craft, "tail", "nose") == 7
        assert first_since(notes, craft, "bus") == 0
        assert first_since([], craft, "tail") == 0
        # A note that names no place closes nothing; one on all places, every one, and what has
        # no place; one on a surface, its node.
        assert first_since([*notes, mark(4, None)], craft, "bus") == 0
        assert first_since([*notes, mark(4, "all")], craft, "bus") == 4
        assert first_since([*notes, mark(4, "all")], craft, "") == 4
        assert first_since(notes, craft, "") == 0
        assert first_since([*notes, mark(5, "rudder", "changed")], craft, "tail") == 5


def test_a_note_dated_in_times_to_come_does_not_close_what_comes() -> None:
    """It counts from when it was written: flights after that begin after it."""
    from dataclasses import replace

    from telemetry.book import NoteKind
    from telemetry.book.records import Note, Recording, RecordingPart, in_order

    def flown(day: str, order: int) -> Recording:
        part = RecordingPart(id=f"{order:016x}-0", first_row=0, rows=1, start_s=0.0, end_s=1.0)
        return Recording(
            id=f"{order:016x}", sha256=f"{order:016x}" * 4, size_bytes=1, stored_bytes=1, file="f",
            aircraft="tern", order=order, added="", start=day, start_source="log", flights=(part,),
        )  # fmt: skip

    note = Note(
        id="n", aircraft="tern", kind=NoteKind.REPAIRED, text="", place="tail",
        date="2099-01-01", given=True, order=2, made="2026-05-02T10:00:00+00:00",
    )  # fmt: skip
    flights = [flown("2026-05-01", 1), flown("2026-05-04", 3)]
    (mark,) = note_marks(in_order(flights, [note]))
    assert (mark.before, mark.date) == (1, "2099-01-01")
    past = replace(note, date="2026-04-01")
    assert note_marks(in_order(flights, [past]))[0].before == 0
    # A clock that is behind: the day of the newest flight that the book held is none to come.
    behind = replace(note, date="2026-05-01", made="2020-01-01T00:00:00+00:00")
    assert note_marks(in_order(flights, [behind]))[0].before == 1
