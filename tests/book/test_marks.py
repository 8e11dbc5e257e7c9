"""Moments of a flight that somebody marked: kept, taken back, found again."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from typing import Any

import pytest

from telemetry.book import Logbook, marks_named
from telemetry.book.changes import BookChange
from telemetry.model.errors import BookError, UnknownSetting
from telemetry.results import Flight

Make = Callable[..., Any]


@pytest.fixture
def filled(book: Logbook, make: Make) -> Logbook:
    """A log of tern with two flights of 2 s and 3 s, the second from 3 s on."""
    made = make(rows=60, file="one.csv", start="2026-05-01T10:00:00")
    spans = [
        Flight(kind="flight", start_s=a, end_s=b, phases=()) for a, b in ((0.0, 2.0), (3.0, 6.0))
    ]
    book.add(made.log, aircraft="tern", source=made.data, flights=spans)
    return book


def test_a_mark_is_kept_with_its_entry_and_told_in_the_time_of_the_log(filled: Logbook) -> None:
    first, second = filled.flights("tern")
    late = filled.mark(second.id, 1.5, "  thud\n\theard ")
    early = filled.mark(second.id, 0.0, "gear up")
    assert late.text == "thud heard"
    again = Logbook(filled.path)
    assert again.marks(second.id) == (early, late)
    assert again.marks(first.id) == ()
    assert again.marks() == (early, late)
    (recording,) = again.recordings()
    begins = recording.flights[1].start_s
    assert again.marks_of_log(recording.sha256) == ((begins, early), (begins + 1.5, late))
    assert again.marks_of_log("0" * 64) == ()
    assert again.flights("tern") == (first, second)
    report = again.check_book()
    assert report.problems == ()
    assert report.rebuilt == ()


def test_a_mark_that_was_changed_by_hand_is_written_back(filled: Logbook) -> None:
    made = filled.mark(filled.flights("tern")[0].id, 1.0, "thud")
    path = filled.path / "changes" / f"{made.id}.json"
    path.write_text(path.read_text().replace("thud", "nothing"))
    assert filled.check_book().rebuilt == (f"changes/{made.id}.json",)
    assert filled.marks() == (made,)


def test_a_mark_is_taken_back_and_put_back(filled: Logbook) -> None:
    made = filled.mark(filled.flights("tern")[0].id, 1.0, "thud")
    assert marks_named(filled, [made.id[:15]]) == (made,)
    filled.remove([made.id])
    assert filled.marks() == ()
    assert [one for one, _ in filled.removed_marks()] == [made]
    assert filled.removed() == ()
    with pytest.raises(BookError, match="no flight, note or mark"):
        filled.remove([made.id])
    with pytest.raises(BookError, match="names no mark"):
        marks_named(filled, [made.id])
    filled.restore([made.id])
    assert filled.marks() == (made,)
    with pytest.raises(BookError, match="was not removed"):
        filled.restore([made.id])
    assert filled.check_book().problems == ()


def test_a_mark_goes_where_its_flight_goes(filled: Logbook) -> None:
    flight = filled.flights("tern")[1].id
    made = filled.mark(flight, 1.0, "thud")
    (recording,) = filled.recordings()
    filled.move([flight], "gull")
    assert filled.marks(filled.flights("gull")[0].id) == (made,)
    filled.remove([flight])
    assert filled.marks_of_log(recording.sha256) == ()
    filled.restore([flight])
    assert [m for _, m in filled.marks_of_log(recording.sha256)] == [made]


@pytest.mark.parametrize(
    ("at_s", "text", "why"),
    [
        (1.0, " \n ", "needs words"),
        (-0.1, "thud", "no moment at -0.1 s"),
        (3.5, "thud", "it lasts "),
        (math.nan, "thud", "no moment at nan s"),
        (math.inf, "thud", "no moment at inf s"),
    ],
)
def test_what_is_no_moment_is_refused_and_nothing_is_written(
    filled: Logbook, at_s: float, text: str, why: str
) -> None:
    with pytest.raises(UnknownSetting, match=why):
        filled.mark(filled.flights("tern")[0].id, at_s, text)
    with pytest.raises(BookError, match="no flight"):
        filled.mark("0" * 16 + "-0", 1.0, "thud")
    assert not list(filled.path.glob("changes/*.json"))


def test_a_damaged_mark_is_no_mark(filled: Logbook) -> None:
    made = filled.mark(filled.flights("tern")[0].id, 1.0, "thud")
    doc = json.loads((filled.path / "changes" / f"{made.id}.json").read_text())
    assert BookChange.of(doc).at_s == 1.0
    for damage in (
        {"at_s": None}, {"at_s": "1"}, {"at_s": math.nan}, {"to": None}, {"what": []},
        {"kind": "removed"}, {"kind": "packs"},
    ):  # fmt: skip
        with pytest.raises(BookError, match="damaged"):
            BookChange.of(doc | damage)
