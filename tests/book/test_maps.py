"""Whose log it is: sure, or asked."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from telemetry.book import Logbook
from telemetry.book.files.writing import write_sealed
from telemetry.book.maps import load_learnt
from telemetry.model.errors import BookError

Make = Callable[..., Any]
OTHER = ("bus", "tail")


def learn(book: Logbook, make: Make, aircraft: str, seed: int, **log: Any) -> None:
    made = make(seed=seed, **log)
    book.add(made.log, aircraft=aircraft, source=made.data)


def test_a_header_that_one_aircraft_has_assigns_a_log(book: Logbook, make: Make) -> None:
    learn(book, make, "tern", 1)
    learn(book, make, "petrel", 2, places=OTHER)
    made = make(seed=3, file="evening.csv")
    outcome = book.add(made.log, source=made.data)
    assert (outcome.status, outcome.aircraft) == ("added", "tern")
    assert outcome.reason == "its columns are known"
    made = make(seed=4, places=OTHER)
    assert book.add(made.log, source=made.data).aircraft == "petrel"


def test_a_new_header_asks_and_names_the_aircraft(book: Logbook, make: Make) -> None:
    made = make()
    with pytest.raises(BookError, match="which aircraft this log is of: the book is empty; say"):
        book.add(made.log, source=made.data)
    learn(book, make, "tern", 1, places=OTHER)
    learn(book, make, "petrel", 2, places=OTHER)
    with pytest.raises(
        BookError,
        match="no aircraft of the book has these columns; say --aircraft with one of petrel, tern",
    ):
        book.add(made.log, source=made.data)
    assert book.flights("tern")[0].id
    assert len(list((book.path / "originals").glob("*.zst"))) == 2


def test_a_shared_header_asks_unless_the_name_decides(book: Logbook, make: Make) -> None:
    learn(book, make, "tern", 1)
    learn(book, make, "petrel", 2)
    found = book.guess(make(seed=3, file="evening.csv").log)
    assert found.aircraft is None
    assert found.candidates == ("petrel", "tern")
    assert found.reason == "several aircraft have these columns"
    by_file = book.guess(make(seed=3, file="Petrel_2026-05-14.csv").log)
    assert (by_file.aircraft, by_file.reason) == ("petrel", "its columns and its name are known")
    # The name must stand there as a word.
    assert book.guess(make(seed=3, file="western.csv").log).aircraft is None
    assert book.guess(make(seed=3, file="tern and petrel.csv").log).aircraft is None


def test_the_model_in_the_header_decides(book: Logbook, make: Make) -> None:
    learn(book, make, "tern", 1, model="Big  White")
    learn(book, make, "petrel", 2, model="Petrel II")
    assert book.guess(make(seed=3, model="big white").log).aircraft == "tern"
    assert book.guess(make(seed=3, model="Petrel II").log).aircraft == "petrel"
    # Also one that the book does not know, and against the columns and the file's name.
    other = book.guess(make(seed=3, model="Gannet").log)
    assert (other.aircraft, other.reason) == ("gannet", "its header names 'gannet'")
    contrary = book.guess(make(seed=3, model="big white", file="petrel.csv").log)
    assert contrary.aircraft == "tern"
    assert book.guess(make(seed=3, model="big white", places=OTHER).log).aircraft == "tern"
    # A model that cannot be an aircraft's name leaves it to the columns.
    assert book.guess(make(seed=3, model="00-7").log).aircraft is None
    # A header that two aircraft have does not decide between them.
    learn(book, make, "ibis", 4, model="Ibis", places=OTHER)
    learn(book, make, "tern", 5, model="Shared")
    path = next((book.path / "maps" / "aircraft=ibis").iterdir())
    write_sealed(path, replace(load_learnt(path), models=("ibis", "shared")).document())
    assert book.owners("shared") == ("ibis", "tern")
    both = book.guess(make(seed=6, model="Shared", places=("bus", "fuselage")).log)
    assert (both.aircraft, both.candidates) == (None, ("ibis", "tern"))
    assert book.guess(make(seed=6, model="Shared").log).aircraft == "tern"


def test_a_header_is_learnt_at_its_first_add(book: Logbook, make: Make) -> None:
    first = make(seed=1, model="Big White")
    outcome = book.add(first.log, source=first.data)
    assert (outcome.status, outcome.aircraft) == ("added", "big white")
    assert book.owners("big white") == ("big white",)
    learn(book, make, "tern", 2, model="Large One")
    later = make(seed=3, model="large one", places=OTHER)
    assert book.add(later.log, source=later.data).aircraft == "tern"


def test_another_aircrafts_header_is_refused(book: Logbook, make: Make) -> None:
    learn(book, make, "tern", 1, model="Big White")
    learn(book, make, "petrel", 2, places=OTHER)
    for model, whose in (("Big White", "tern"), ("Petrel", "petrel")):
        made = make(seed=3, model=model)
        with pytest.raises(BookError, match=f"names '{model.lower()}', which is {whose} in this"):
            book.add(made.log, aircraft="gull", source=made.data)
    # The same columns, a model of its own or none: any aircraft may have them.
    learn(book, make, "gull", 4)
    learn(book, make, "gull", 5, model="Gull III")
    learn(book, make, "tern", 6)
    assert len(book.flights("gull")) == 2


def test_a_name_of_another_aircraft_makes_a_known_header_unsure(book: Logbook, make: Make) -> None:
    learn(book, make, "tern", 1)
    learn(book, make, "petrel", 2, places=OTHER)
    found = book.guess(make(seed=3, file="petrel 7.csv").log)
    assert (found.aircraft, found.candidates) == (None, ("petrel", "tern"))


def test_settings_become_column_maps(book: Logbook, tmp_path: Path) -> None:
    from telemetry.importer import read_log

    def log(name: str, volts: str) -> Path:
        path = tmp_path / name
        rows = "".join(f"{i / 10:.1f};{volts};{i % 3},5\n" for i in range(60))
        path.write_text("Time [s];A7;A9\n" + rows)
        return path

    first = log("a.csv", "8,1")
    settings = {"#2": "pack 1/voltage[V]", "A9": "left wing/current[A]"}
    book.add(read_log(first, settings=settings), aircraft="tern", source=first, settings=settings)
    maps = book.column_maps()
    assert [m.readings for m in maps] == [{"A7": "pack 1/voltage[V]", "A9": "left wing/current[A]"}]
    again = read_log(log("b.csv", "8,0"), column_maps=maps)
    assert list(again.frame.columns) == ["pack 1/voltage", "left wing/current"]
    assert book.guess(again).aircraft == "tern"
    # A second aircraft reads the same header otherwise: nothing is taken for granted any more.
    other = log("c.csv", "7,9")
    settings = {"A7": "pack 2/voltage[V]"}
    book.add(read_log(other, settings=settings), aircraft="petrel", source=other, settings=settings)
    assert book.column_maps() == ()
    assert book.column_maps("petrel")[0].readings == {"A7": "pack 2/voltage[V]"}


def test_two_aircraft_learning_at_once_do_not_meet_in_a_file(book: Logbook, make: Make) -> None:
    learn(book, make, "tern", 1)
    learn(book, make, "petrel", 2)
    files = sorted(p.parent.name for p in (book.path / "maps").glob("*/*.json"))
    assert files == ["aircraft=petrel", "aircraft=tern"]
