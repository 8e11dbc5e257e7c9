"""Flights and notes taken out, put back, given to another aircraft: nothing is lost."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from telemetry.book import Logbook, removed_named
from telemetry.book.changes import Changes
from telemetry.book.files.layout import LAYOUT
from telemetry.model.errors import BookError
from telemetry.results import Flight

Make = Callable[..., Any]


def _span(start_s: float, end_s: float) -> Flight:
    return Flight(kind="flight", start_s=start_s, end_s=end_s, phases=())


@pytest.fixture
def filled(book: Logbook, make: Make) -> Logbook:
    """Three logs of tern, the second with two flights, and two notes."""
    for seed in (1, 2, 3):
        made = make(seed=seed, rows=60, file=f"{seed}.csv", start=f"2026-05-0{seed}T10:00:00")
        spans = (_span(0, 2), _span(3, 6)) if seed == 2 else ()
        book.add(made.log, aircraft="tern", source=made.data, flights=spans)
    for day in (2, 3):
        book.note("tern", f"day {day}", kind="repaired", place="tail", on=f"2026-05-0{day}")
    return book


def test_what_is_kept_is_counted_from_one(book: Logbook, make: Make) -> None:
    made = make(seed=1, rows=60, file="1.csv", start="2026-05-01T10:00:00")
    book.add(made.log, aircraft="tern", source=made.data)
    book.note("tern", "new plug", kind="repaired", place="tail", on="2026-05-02")
    assert [one.order for one in book.recordings()] == [1]
    assert [one.order for one in book.notes("tern")] == [2]
    assert Changes.of(()).order == 0


def _shown(book: Logbook, name: str = "tern") -> list[str]:
    return [f"{f.file} {f.first_row}" for f in book.flights(name)]


def _tables(book: Logbook) -> int:
    """What an engine that knows nothing of this program reads."""
    return len(list(book.path.glob("flights/*/*.parquet")))


def test_a_flight_that_is_removed_leaves_the_others_of_its_log(filled: Logbook) -> None:
    before = filled.flights("tern")
    frame = filled.read(before[1].id).frame
    filled.remove([before[1].id])
    assert _shown(filled) == ["1.csv 0", "2.csv 30", "3.csv 0"]
    assert [f.number for f in filled.flights("tern")] == [1, 2, 3]
    assert _tables(filled) == 3
    with pytest.raises(BookError, match=f"was removed from the book; .* {before[1].id}"):
        filled.read(before[1].id)
    (aside,) = filled.removed()
    assert aside[0] == before[1]
    filled.restore([before[1].id])
    assert filled.flights("tern") == before
    assert filled.removed() == ()
    pd.testing.assert_frame_equal(filled.read(before[1].id).frame, frame)
    assert _tables(filled) == 4


def test_flights_removed_together_are_listed_in_the_order_of_the_book(filled: Logbook) -> None:
    first, _, third, *_ = (f.id for f in filled.flights("tern"))
    filled.remove([third, first])
    assert [entry.id for entry, _ in filled.removed()] == [first, third]


def test_a_note_that_is_removed_is_kept_aside(filled: Logbook) -> None:
    first, second = filled.notes("tern")
    filled.remove([first.id])
    assert filled.notes("tern") == (second,)
    assert [n.number for n in filled.notes("tern")] == [1]
    assert [e for e, _ in filled.removed()] == [first]
    assert len(list(filled.path.glob("notes/*/*.json"))) == 1
    filled.restore([first.id])
    assert filled.notes("tern") == (first, second)


def test_a_flight_is_given_to_another_and_back(filled: Logbook, make: Make) -> None:
    before = filled.flights("tern")
    filled.move([before[2].id], " Große Möwe ")
    assert _shown(filled) == ["1.csv 0", "2.csv 0", "3.csv 0"]
    assert _shown(filled, "große möwe") == ["2.csv 30"]
    assert filled.profile("große möwe") is not None
    folders = {p.parent.name for p in filled.path.glob("flights/*/*.parquet")}
    assert folders == {"aircraft=tern", "aircraft=große möwe"}
    known = make(seed=2, rows=60, file="2.csv", start="2026-05-02T10:00:00")
    again = filled.add(known.log, aircraft="tern", source=known.data)
    assert (again.status, again.reason) == ("known", "")
    assert filled.move([before[0].id], "tern") is None
    filled.move([before[2].id], "tern")
    assert filled.flights("tern") == before
    assert filled.flights("große möwe") == ()


def test_removed_and_given_to_another_are_two_things(filled: Logbook) -> None:
    one = filled.flights("tern")[0].id
    filled.move([one], "petrel")
    filled.remove([one])
    assert filled.flights("petrel") == ()
    filled.restore([one])
    assert [f.id for f in filled.flights("petrel")] == [one]
    assert one not in {f.id for f in filled.flights("tern")}


def test_what_was_removed_is_not_added_again_and_says_what_to_do(
    filled: Logbook, make: Make
) -> None:
    third = make(seed=3, rows=60, file="3.csv", start="2026-05-03T10:00:00")
    whole = filled.flights("tern")[3]
    filled.remove([whole.id])
    again = filled.add(third.log, aircraft="tern", source=third.data)
    assert again.status == "known"
    assert again.flights == ()
    start = whole.recording[:8]
    assert again.reason == f"it was removed from the book; busbook restore {start} takes it back"
    assert removed_named(filled, [start]) == removed_named(filled, ["3.csv"]) == (whole.id,)
    second = make(seed=2, rows=60, file="2.csv", start="2026-05-02T10:00:00")
    filled.remove([filled.flights("tern")[1].id])
    part = filled.add(second.log, aircraft="tern", source=second.data)
    assert part.reason.startswith("1 of its 2 flights was removed from the book; busbook restore")
    assert len(_shown(filled)) == 2


def test_what_was_learnt_of_columns_follows(book: Logbook, make: Make) -> None:
    """A log that was given to the wrong aircraft no longer draws others there."""
    own = make(seed=1, places=("bus",), file="a.csv", model="Big One")
    strange = make(seed=2, places=("bus", "tail"), file="b.csv")
    shared = make(seed=3, places=("bus",), file="c.csv", model="Gull")
    ids = [
        book.add(one.log, aircraft="tern", source=one.data).flights[0]
        for one in (own, strange, shared)
    ]
    assert {len(one.columns) for one in book.learnt("tern")} == {4, 6}
    book.remove([ids[1]])
    (left,) = book.learnt("tern")
    assert (len(left.columns), left.models) == (4, ("big one", "gull"))
    assert book.guess(strange.log).aircraft is None
    book.move([ids[2]], "gull")
    assert [one.models for one in book.learnt("tern")] == [("big one",)]
    assert [one.models for one in book.learnt("gull")] == [("gull",)]
    again = make(seed=4, places=("bus",), file="d.csv", model="Gull")
    assert book.guess(again.log).aircraft == "gull"
    book.restore([ids[1]])
    assert {len(one.columns) for one in book.learnt("tern")} == {4, 6}


def test_what_is_not_there_cannot_be_changed(filled: Logbook) -> None:
    one = filled.flights("tern")[0].id
    before = sorted(p.name for p in filled.path.rglob("*"))
    with pytest.raises(
        BookError, match="the book has no flight, note or mark '0123456789abcdef-0'"
    ):
        filled.remove([one, "0123456789abcdef-0"])
    with pytest.raises(BookError, match=f"'{one}' was not removed; busbook restore lists what was"):
        filled.restore([one])
    with pytest.raises(BookError, match="the book has no flight"):
        filled.move([one, "0123456789abcdef-0"], "petrel")
    with pytest.raises(BookError, match="cannot be the name of an aircraft"):
        filled.move([one], "con")
    assert sorted(p.name for p in filled.path.rglob("*")) == before
    filled.remove([one])
    with pytest.raises(BookError, match="was removed from the book"):
        filled.move([one], "petrel")


def test_files_that_a_crash_left_in_their_old_place_are_found_and_moved(filled: Logbook) -> None:
    flight, note = filled.flights("tern")[0], filled.notes("tern")[0]
    filled.remove([flight.id, note.id])
    for path in list(filled.path.glob("removed/*/*/*")):
        path.rename(filled.path / path.relative_to(filled.path / "removed"))
    assert len(filled.flights("tern")) == 3, "what holds is what the changes say"
    assert len(filled.notes("tern")) == 1
    assert len(filled.removed()) == 2
    again = Logbook(filled.path)
    assert _tables(again) == 3
    assert len(list(again.path.glob("removed/*/*/*"))) == 2
    again.restore([flight.id, note.id])
    for path in list(filled.path.glob("flights/*/*")):
        path.rename(filled.path / "removed" / path.relative_to(filled.path))
    assert again.read(flight.id).frame.shape[0] == 60
    assert _tables(Logbook(filled.path)) == 1, "only what a change names is looked after"
    assert Logbook(filled.path).check_book().problems == ()
    assert _tables(filled) == 4


def test_check_book_knows_what_is_kept_aside(filled: Logbook) -> None:
    flights = filled.flights("tern")
    filled.remove([flights[1].id, filled.notes("tern")[0].id])
    filled.move([flights[0].id], "petrel")
    report = filled.check_book()
    assert (report.recordings, report.flights, report.aside) == (3, 3, 2)
    assert (report.problems, report.rebuilt, report.removed) == ((), (), ())
    # Lost samples are made again where they belong; a lost record comes back from them.
    kept = filled.path / "removed" / "flights" / "aircraft=tern" / f"{flights[1].id}.parquet"
    frame = pd.read_parquet(kept)
    record = filled.path / "originals" / f"{flights[1].recording}.json"
    record.unlink()
    assert filled.check_book().rebuilt == (f"originals/{record.name}",)
    assert len(filled.flights("tern")) == 2
    pd.testing.assert_frame_equal(pd.read_parquet(kept), frame)


def test_a_damaged_change_without_an_entry_is_told_and_costs_nothing(filled: Logbook) -> None:
    flights = filled.flights("tern")
    filled.move([flights[0].id], "petrel")
    filled.remove([flights[1].id])
    before = sorted(p.name for p in filled.path.rglob("*.parquet"))
    shutil.rmtree(filled.path / "entries")
    (filled.path / "format.toml").write_text("layout = 2\n")
    for path in filled.path.glob("changes/*.json"):
        path.write_text("{")
    report = Logbook(filled.path).check_book()
    assert len(report.problems) == 2
    assert "this file of the book is damaged" in str(report.problems[0])
    assert sorted(p.name for p in filled.path.rglob("*.parquet")) == before
    with pytest.raises(BookError, match="this file of the book is damaged"):
        filled.flights("tern")


def test_a_book_of_an_older_layout_is_entered_before_its_first_change(filled: Logbook) -> None:
    form = filled.path / "format.toml"
    form.write_text("layout = 1\n")
    shutil.rmtree(filled.path / "entries")
    book = Logbook(filled.path)
    assert len(book.flights("tern")) == 4
    assert form.read_text() == "layout = 1\n"
    book.note("tern", "looked", kind="checked")
    assert f"layout = {LAYOUT}\n" in form.read_text()
    report = book.check_book()
    assert (report.problems, report.rebuilt) == ((), ())
    next(filled.path.glob("flights/*/*.parquet")).unlink()
    assert len(book.check_book().rebuilt) == 1


def test_a_change_is_one_small_file_that_tells_what_it_did(filled: Logbook) -> None:
    one = filled.flights("tern")[0].id
    change = filled.move([one], "petrel")
    assert change is not None
    (path,) = filled.path.glob("changes/*.json")
    told = json.loads(Path(path).read_text(encoding="utf-8"))
    assert {k: told[k] for k in ("kind", "what", "to")} == {
        "kind": "moved",
        "what": [one],
        "to": "petrel",
    }


def test_the_last_change_of_two_books_open_at_once_holds(filled: Logbook) -> None:
    other = Logbook(filled.path)
    one = filled.flights("tern")[0].id
    for _ in range(3):
        filled.remove([one])
        other.restore([one])
    assert len(Logbook(filled.path).flights("tern")) == 4
    other.remove([one])
    assert len(filled.flights("tern")) == 3
