"""The index of a book is never the truth: it counts where the records are as it knew them."""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from telemetry.book import Logbook, index
from telemetry.book.files.writing import json_bytes, read_sealed, write_sealed
from telemetry.book.records import Recording
from tests.bench.books import stored_book
from tests.simulated.books import random_book

Rows = list[list[Any]]


@pytest.fixture
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Logbook:
    """Three aircraft of two flights each, of long ago; any book of two logs has an index."""
    monkeypatch.setattr(index, "FEW_RECORDS", 1)
    flights = random_book(1, 2).flights
    made = stored_book(tmp_path / "book", dict.fromkeys(("tern", "wren", "kite"), flights))
    for path in (made.path / "originals").iterdir():
        os.utime(path, ns=(0, time.time_ns() - int(1e12)))
    return made


def index_of(book: Logbook) -> Path:
    return book.path / "measures" / "index" / "recordings.json"


def change_rows(book: Logbook, change: Callable[[Rows], object]) -> None:
    """Write the index with other rows, sealed as it should be."""
    rows = read_sealed(index_of(book))["rows"]
    change(rows)
    write_sealed(index_of(book), {"rows": rows})


def test_a_book_lists_from_its_index(book: Logbook, monkeypatch: pytest.MonkeyPatch) -> None:
    before = book.timelines()
    assert {name: len(flights) for name, flights in before.items()} == dict.fromkeys(before, 2)
    assert index_of(book).exists()
    monkeypatch.setattr(index, "load_recording", None)
    assert book.timelines() == before
    monkeypatch.setattr(index, "documents_read", {})  # as after a start
    assert book.timelines() == before
    assert book.flights("wren") == before["wren"]


def test_without_its_index_a_book_is_the_same(book: Logbook) -> None:
    before = book.timelines()
    index_of(book).unlink()
    assert book.timelines() == before
    assert index_of(book).exists()


def test_a_record_that_changed_is_read(book: Logbook) -> None:
    one = book.recordings("tern")[0]
    path = book.path / "originals" / f"{one.id}.json"
    path.write_bytes(json_bytes(replace(one, file="other.csv").document()))
    assert "other.csv" in {r.file for r in book.recordings("tern")}


def test_a_record_that_is_gone_is_not_listed(book: Logbook) -> None:
    one = book.recordings("tern")[0]
    (book.path / "originals" / f"{one.id}.json").unlink()
    assert one.id not in {r.id for r in book.recordings()}


def test_of_one_size_and_written_just_now_a_record_is_read(book: Logbook) -> None:
    one = book.recordings("tern")[0]
    path = book.path / "originals" / f"{one.id}.json"
    now = time.time_ns()
    os.utime(path, ns=(now, now))
    index_of(book).unlink()
    book.recordings()
    path.write_bytes(path.read_bytes().replace(b"tern 1.csv", b"tern X.csv"))
    os.utime(path, ns=(now, now))  # within one tick of the clock of the disk
    assert "tern X.csv" in {r.file for r in book.recordings("tern")}


@pytest.mark.parametrize(
    "data",
    [b"", b"{", b"null", b'{"rows": []}', b"\xff" * 99, b"[" * 100_000],
    ids=["empty", "cut", "null", "not sealed", "no text", "deep"],
)
def test_a_damaged_index_is_ignored(book: Logbook, data: bytes) -> None:
    before = book.timelines()
    index_of(book).write_bytes(data)
    assert book.timelines() == before


@pytest.mark.parametrize(
    "change",
    [
        lambda rows: rows.append(7),
        lambda rows: rows.append([1, 2]),
        lambda rows: rows.append([1, 2, {"id": "x"}]),
        lambda rows: rows[0].append(1),
        lambda rows: rows[0].__setitem__(2, None),
        lambda rows: rows[0][2].update(aircraft="../../x"),
        lambda rows: rows[0][2].update(file="../x.csv"),
        lambda rows: rows[0][2]["flights"][0].update(id="../../x-0"),
    ],
)
def test_an_index_of_another_program_is_ignored(
    book: Logbook, change: Callable[[Rows], object]
) -> None:
    before = book.timelines()
    change_rows(book, change)
    assert book.timelines() == before


def test_a_check_removes_an_index_that_says_otherwise(book: Logbook) -> None:
    before = book.timelines()
    assert book.check_book().removed == ()
    assert index_of(book).exists()
    change_rows(book, lambda rows: rows[0][2].update(file="other.csv"))
    assert book.timelines() != before
    report = book.check_book()
    assert (report.removed, report.problems) == (("measures/index/recordings.json",), ())
    assert book.timelines() == before


def test_a_check_leaves_an_index_that_is_only_old(book: Logbook) -> None:
    book.recordings()
    change_rows(book, lambda rows: rows[0].__setitem__(0, 1))
    assert book.check_book().removed == ()


def test_a_book_that_cannot_be_written_to_lists(
    book: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise index.BookError("the disk is full")

    monkeypatch.setattr(index, "write_sealed", full)
    assert len(book.recordings()) == 6
    assert not index_of(book).exists()


def test_the_index_is_a_document_like_all_others(book: Logbook) -> None:
    recordings = book.recordings()
    rows = json.loads(index_of(book).read_bytes())["rows"]
    assert sorted((Recording.of(doc) for _, _, doc in rows), key=lambda r: r.order) == [*recordings]


def test_flights_that_were_moved_or_removed_are_listed_where_they_are(book: Logbook) -> None:
    book.recordings()
    one, other = (flight.id for flight in book.flights("tern"))
    book.move([one], "kite")
    book.remove([other])
    assert one in {flight.id for flight in book.flights("kite")}
    assert book.flights("tern") == ()
    by_name = {name: {e.id for e in entries} for name, entries in book.timelines().items()}
    assert (by_name["tern"], one in by_name["kite"]) == (set(), True)
