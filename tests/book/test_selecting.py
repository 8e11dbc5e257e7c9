"""Flights as people name them, in one grammar for every command."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from telemetry.book import (
    Logbook,
    flights_named,
    logs_named,
    names_flight,
    notes_named,
    parts_named,
)
from telemetry.model.errors import BookError
from telemetry.results import Flight

Make = Callable[..., Any]


def _span(start_s: float, end_s: float) -> Flight:
    return Flight(kind="flight", start_s=start_s, end_s=end_s, phases=())


@pytest.fixture
def filled(book: Logbook, make: Make) -> Logbook:
    """Three logs of tern, the second with two flights, and one of gull with a name tern has."""
    for seed, name, day, whose in (
        (1, "a.csv", 1, "tern"),
        (2, "b.csv", 2, "tern"),
        (3, "c.csv", 3, "tern"),
        (4, "c.csv", 4, "große möwe"),
    ):
        made = make(seed=seed, file=name, start=f"2026-05-0{day}T10:00:00")
        spans = (_span(0, 1), _span(2, 3)) if name == "b.csv" else ()
        book.add(made.log, aircraft=whose, source=made.data, flights=spans)
    return book


def _names(book: Logbook, *words: str, aircraft: str | None = None) -> list[str]:
    found = flights_named(book, words, aircraft=aircraft)
    return [f"{f.aircraft} {f.number}" for f in found]


def test_numbers_are_those_of_the_listing(filled: Logbook) -> None:
    assert [f.number for f in filled.flights("tern")] == [1, 2, 3, 4]
    assert flights_named(filled, ["tern", "3"]) == (filled.flights("tern")[2],)


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        (["tern", "3"], ["tern 3"]),
        (["tern 3"], ["tern 3"]),
        (["TERN", "3", "1"], ["tern 3", "tern 1"]),
        (["tern", "3", "3"], ["tern 3"]),
        (["Große  Möwe 1"], ["große möwe 1"]),
        (["große möwe", "1", "tern", "2"], ["große möwe 1", "tern 2"]),
        (["a.csv"], ["tern 1"]),
        (["/media/card/a.csv"], ["tern 1"]),
        (["tern", "c.csv"], ["tern 4"]),
        (["große möwe", "c.csv"], ["große möwe 1"]),
    ],
)
def test_words_name_flights(filled: Logbook, words: list[str], meant: list[str]) -> None:
    assert _names(filled, *words) == meant
    assert names_flight(filled, words[0]) is (len(words) == 1)


def test_the_start_of_an_id_names_a_flight(filled: Logbook) -> None:
    one = filled.flights("tern")[0]
    assert flights_named(filled, [one.id]) == (one,)
    assert flights_named(filled, [one.recording.upper()[:12]]) == (one,)
    first, second = filled.flights("tern")[1:3]
    assert flights_named(filled, [second.id]) == (second,)
    # The id of the first begins every id of its log, and still is itself.
    assert first.id == f"{first.recording}-0"
    assert flights_named(filled, [first.id]) == (first,)


def test_of_a_known_aircraft_numbers_are_enough(filled: Logbook) -> None:
    assert _names(filled, "1", "4", aircraft="Tern") == ["tern 1", "tern 4"]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["tern", "5"], "'tern' has no flight 5; it has 1 to 4"),
        (["tern", "0"], "'tern' has no flight 0"),
        (["7"], "flight 7 of which aircraft is not said; as in 'große möwe 7'"),
        (["tern"], "'tern' is an aircraft, and no flight of it is named; it has 1 to 4"),
        (["tern", "1", "große möwe"], "'große möwe' is an aircraft, and no flight"),
        (["b.csv"], "'b.csv' names 2 flights of the book; say one of tern 2, tern 3"),
        (["c.csv"], "'c.csv' names 2 flights of the book; say one of große möwe 1, tern 4"),
        (["tern", "d.csv"], "the book has no flight 'd.csv' of 'tern'; is it"),
        (["abcdefabcdef"], "the book has no flight 'abcdefabcdef'; say NAME and a number"),
        (["gull", "1"], "the book has no flight 'gull'"),
    ],
)
def test_what_names_no_single_flight_is_told(filled: Logbook, words: list[str], told: str) -> None:
    with pytest.raises(BookError) as caught:
        flights_named(filled, words)
    assert told in str(caught.value)


def test_any_flight_names_its_log(filled: Logbook) -> None:
    second, third = filled.flights("tern")[1:3]
    assert second.recording == third.recording
    assert logs_named(filled, ["tern", "2", "3"]) == (second.recording,)
    assert logs_named(filled, ["b.csv"]) == (second.recording,)
    assert logs_named(filled, [second.recording[:8]]) == (second.recording,)
    with pytest.raises(BookError, match=r"'c.csv' names 2 flights"):
        logs_named(filled, ["c.csv"])


def test_an_aircraft_whose_name_ends_with_a_number(book: Logbook, make: Make) -> None:
    for seed, whose in ((1, "tern"), (2, "tern"), (3, "tern 2")):
        made = make(seed=seed, file=f"{seed}.csv")
        book.add(made.log, aircraft=whose, source=made.data)
    assert _names(book, "tern", "2") == ["tern 2"]
    assert _names(book, "tern 2", "1") == ["tern 2 1"]
    assert _names(book, "tern 2 1") == ["tern 2 1"]
    with pytest.raises(BookError, match="'tern 2' is an aircraft"):
        flights_named(book, ["tern 2"])


def test_words_name_notes(filled: Logbook) -> None:
    one, two = (
        filled.note("tern", text, kind="repaired", place="tail", on=f"2026-05-0{day}")
        for day, text in ((2, "new plug"), (3, "new lead"))
    )
    gull = filled.note("große möwe", "washed", kind="changed", place=None, on="2026-05-05")
    ids = [note.id for note in (one, two, gull)]
    for words, meant in (
        (["tern", "1"], ids[:1]),
        (["tern 2"], ids[1:2]),
        (["TERN", "2", "1", "2"], [ids[1], ids[0]]),
        (["große möwe", "1", "tern", "1"], [ids[2], ids[0]]),
        ([ids[2]], ids[2:]),
        ([ids[0][:-1]], ids[:1]),
    ):
        assert [note.id for note in notes_named(filled, words)] == meant, words
    for words, told in (
        (["tern", "3"], "'3' names no note of the book"),
        (["1"], "'1' names no note of the book"),
        ([ids[0][:3]], "names no note of the book"),
        ([ids[0][:4]], "names 3 notes of the book"),  # the year all were made in
        (["tern"], "no note of 'tern' is named"),
    ):
        with pytest.raises(BookError, match=told):
            notes_named(filled, words)


def test_a_log_means_all_its_flights(filled: Logbook) -> None:
    second, third = filled.flights("tern")[1:3]
    assert parts_named(filled, ["b.csv"]) == (second, third)
    assert parts_named(filled, [second.recording[:12]]) == (second, third)
    assert parts_named(filled, ["tern", "3"]) == (third,)
    assert parts_named(filled, ["tern", "3", "b.csv"]) == (third, second)


@pytest.mark.parametrize(("count", "more"), [(6, False), (7, True)])
def test_of_many_that_a_word_names_the_first_six_are_listed(
    count: int, more: bool, book: Logbook, make: Make
) -> None:
    made = make(seed=1, rows=80, file="many.csv", start="2026-05-01T10:00:00")
    spans = tuple(_span(k, k + 0.5) for k in range(count))
    book.add(made.log, aircraft="tern", source=made.data, flights=spans)
    with pytest.raises(BookError) as told:
        flights_named(book, ["many.csv"])
    words = str(told.value)
    assert ", ".join(f"tern {k}" for k in range(1, 7)) in words
    assert ("tern 6, ..." in words, "tern 7" in words) == (more, False)
