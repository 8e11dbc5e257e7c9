"""What the other aircraft of a book tell of a new one's scatter: which flights, kept how, shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from telemetry.app import cache
from telemetry.app.cache import fleet_before, version_for
from telemetry.app.histories import history, standing_of
from telemetry.book import Logbook
from telemetry.model.errors import BookError
from telemetry.report.documents.of_history import history_document
from telemetry.report.writers import json
from tests.book.conftest import make_log

Make = Callable[..., Any]
Fly = Callable[..., None]


@pytest.fixture
def fly(book: Logbook, make_season: Make) -> Fly:
    """Adds flights of an aircraft, a day apart, whose nodes scatter so much; all invented."""

    def fly(name: str, month: int, flights: int = 12, *, scatter: float = 0.02) -> None:
        seed = 100 * month + sum(map(ord, name))
        for k, m in enumerate(make_season(seed, flights=flights, scatter=scatter), 1):
            day = f"2026-{month:02}-{k:02}"
            made = make_log(seed=1000 * seed + k, file=f"{name} {k}.csv")
            added = book.add(made.log, aircraft=name, source=made.data, on=day)
            document = replace(m, start=day).document()
            book.put_measures(added.flights[0], version_for(book.profile(name)), document)

    return fly


@pytest.fixture
def told(book: Logbook) -> Callable[[str], Any]:
    return lambda name: fleet_before(book, name, book.timeline(name))


def test_nothing_is_told_by_one_other_aircraft(book: Logbook, fly: Fly, told: Make) -> None:
    fly("wren", 3)
    fly("tern", 5, 4)
    assert told("tern") is None
    assert history(book, "tern").fleet is None


def test_two_that_were_flown_before_tell_the_scatter(book: Logbook, fly: Fly, told: Make) -> None:
    fly("wren", 3, scatter=0.06)
    fly("kite", 3, scatter=0.06)
    fly("tern", 5, 4, scatter=0.06)
    found = history(book, "tern").fleet
    assert found == told("tern")
    assert found is not None
    assert (found.aircraft, found.flights) == (("kite", "wren"), 24)
    (stir,) = [f for f in found.features if (f.feature, f.usual) == ("stir", 0.025)]
    # The two sides scatter by 0.06 each: their ratio by 0.085; three voices, of which one is 0.025.
    assert 0.05 < stir.scatter < 0.12
    assert history(book, "wren").fleet is None


def test_only_what_the_book_held_at_its_first_flight_counts(
    book: Logbook, fly: Fly, told: Make
) -> None:
    """What is added later moves no answer, whenever it was flown: it is the same whenever asked."""
    fly("wren", 3)
    fly("kite", 4)
    fly("tern", 5, 4)
    before, state = told("tern"), book.state("tern")
    fly("wren", 2, scatter=0.3)
    fly("gull", 6)
    assert (told("tern"), book.state("tern")) == (before, state)
    fly("tern", 7, 3)
    assert told("tern") == before
    # Without what is kept likewise.
    (book.path / "measures" / "fleets" / "tern.json").unlink()
    assert told("tern") == before


def test_of_three_begun_by_turns_nobody_tells_the_others(
    book: Logbook, fly: Fly, told: Make
) -> None:
    for month in (3, 4):
        for name in ("wren", "kite", "tern"):
            fly(name, month, 5)
    assert [told(name) for name in ("wren", "kite", "tern")] == [None] * 3


def test_an_aircraft_of_few_flights_tells_nothing(fly: Fly, told: Make) -> None:
    fly("wren", 3)
    fly("kite", 3, 5)
    fly("tern", 5, 4)
    assert told("tern") is None


def test_kept_until_what_it_rests_on_changes(
    book: Logbook, fly: Fly, told: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    fly("wren", 3)
    fly("kite", 3)
    fly("tern", 5, 4)
    first = told("tern")
    state = book.state("tern")
    asked: list[int] = []
    whole = cache.scatters_of

    def counted(flights: Any, *more: Any) -> Any:
        asked.append(len(flights))
        return whole(flights, *more)

    monkeypatch.setattr(cache, "scatters_of", counted)
    monkeypatch.setattr(Logbook, "timelines", None)  # nothing of the others is read
    assert told("tern") == first
    monkeypatch.undo()
    monkeypatch.setattr(cache, "scatters_of", counted)
    assert asked == []
    book.remove([book.flights("wren")[0].id])
    assert told("tern") != first
    assert asked == [12, 11]
    assert book.state("tern") != state


def test_a_changed_profile_of_another_is_seen(book: Logbook, fly: Fly, told: Make) -> None:
    """Their measures rest on it, so the answers and pages that are kept do as well."""
    fly("wren", 3)
    fly("kite", 3)
    fly("tern", 5, 4)
    fly("gull", 6, 2)
    told("tern")
    states = {name: book.state(name) for name in ("tern", "kite", "gull")}
    text = book.profile_path("wren").read_text(encoding="utf-8")
    book.put_profile("wren", text + "# another word\n")
    assert book.state("tern") != states["tern"]
    # Of the kite nothing was asked of others, and of the gull nothing yet.
    assert {n: book.state(n) for n in ("kite", "gull")} == {n: states[n] for n in ("kite", "gull")}


def test_of_each_the_last_25_flights_of_no_more_than_eight(
    book: Logbook, fly: Fly, told: Make
) -> None:
    fly("wren", 1, 28)
    for k in range(9):
        fly(f"kite {k}", 2, 6 + (k > 0))
    fly("tern", 5, 3)
    found = told("tern")
    assert found is not None
    # Those whose flights were added last.
    assert found.aircraft == tuple(f"kite {k}" for k in range(1, 9))
    assert found.flights == 8 * 7


def test_what_is_wrong_with_another_aircraft_is_no_error_of_this_one(
    book: Logbook, fly: Fly, told: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("wren", "kite", "gull"):
        fly(name, 3)
    fly("tern", 5, 4)
    whole = cache.measures_of

    def damaged(shelf: Logbook, flights: Any, *more: Any, **how: Any) -> Any:
        if flights[0].aircraft == "gull":
            raise BookError("its table is damaged", path=shelf.path)
        return whole(shelf, flights, *more, **how)

    monkeypatch.setattr(cache, "measures_of", damaged)
    assert told("tern").aircraft == ("kite", "wren")


def test_how_it_stands_is_kept_with_what_others_tell(book: Logbook, fly: Fly) -> None:
    fly("wren", 3)
    fly("kite", 3)
    fly("tern", 5, 4)
    first = standing_of(book, "tern")
    standing_of(book, "tern")
    kept = book.path / "measures" / "answers" / "tern.json"
    written = kept.read_bytes()
    assert standing_of(book, "tern") == first
    assert kept.read_bytes() == written


def test_check_book_leaves_what_is_kept_and_drops_what_is_damaged(
    book: Logbook, fly: Fly, told: Make
) -> None:
    fly("wren", 3)
    fly("kite", 3)
    fly("tern", 5, 4)
    found = told("tern")
    path = book.path / "measures" / "fleets" / "tern.json"
    book.check_book()
    assert path.exists()
    path.write_text("{", encoding="utf-8")
    assert told("tern") == found
    path.write_text("{", encoding="utf-8")
    book.check_book()
    assert not path.exists()


def test_the_answer_states_the_shrinkage(book: Logbook, fly: Fly) -> None:
    fly("wren", 3)
    fly("kite", 3)
    fly("tern", 5, 4)
    found = history(book, "tern")
    told = json.history_document(found)["fleet"]
    assert (told["aircraft"], told["flights"]) == (["kite", "wren"], 24)
    stir = next(f for f in told["features"] if (f["feature"], f["usual"]) == ("stir", 0.025))
    assert stir.keys() == {"feature", "usual", "usual_flights", "scatter", "flights", "aircraft"}
    assert stir["flights"] > 0
    (section,) = [s for s in history_document(found).sections if s.anchor == "method"]
    words = " ".join(section.blocks[0].items)
    assert "from 24 flights of aircraft that were in the book before it (kite, wren)" in words
    worth = sorted(round(f.flights) for f in found.fleet.features)
    assert f"counts for {worth[0]} to {worth[-1]} flights" in words
    alone = history(book, "wren")
    assert json.history_document(alone)["fleet"] is None
    (section,) = [s for s in history_document(alone).sections if s.anchor == "method"]
    assert "in the book before it" not in " ".join(section.blocks[0].items)
