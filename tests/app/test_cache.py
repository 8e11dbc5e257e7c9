"""Measures kept in the book: what is made again, what is handed on."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from telemetry.aircraft import Aircraft
from telemetry.app.cache import make_measures, measures_of, version_for
from telemetry.trends.measures import VERSION, Measures

Make = Callable[..., Any]


def test_version_is_of_the_document_and_of_the_profile() -> None:
    # SHA-256 of nothing (FIPS 180-4 test value) begins e3b0c44298fc1c14.
    assert version_for(None) == f"{VERSION}-e3b0c44298fc"
    assert version_for(Aircraft(name="wren")) != version_for(Aircraft(name="tern"))


class _Book:
    """Keeps documents in memory."""

    def __init__(self, kept: dict[str, Any]) -> None:
        self.path = Path("book")
        self.kept = {(f, version_for(None)): doc for f, doc in kept.items()}

    def get_measures(self, flight: str, version: str) -> Any:
        return self.kept.get((flight, version))

    def put_measures(self, flight: str, version: str, document: Any) -> None:
        self.kept[flight, version] = document


def test_missing_and_broken_measures_are_made_again(
    make_flight: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = make_flight({("tail", "x"): 1.0}, file="whole").document()
    broken = {k: v for k, v in whole.items() if k != "features"}
    book = _Book({"a": whole, "b": broken, "d": {**whole, "duration_s": "long"}})
    made: list[str] = []

    def make(path: Path, profile: Aircraft | None, flight: str) -> Measures:
        assert path.is_absolute()
        assert profile is None
        made.append(flight)
        return make_flight(file=f"new {flight}")

    monkeypatch.setattr("telemetry.app.cache.make_measures", make)
    flights = [SimpleNamespace(id=i) for i in "abcd"]
    steps: list[tuple[int, int]] = []
    found = measures_of(book, flights, None, progress=lambda *at: steps.append(at))
    assert made == ["b", "c", "d"]
    assert steps == [(1, 3), (2, 3), (3, 3)]
    assert {i: m.file for i, m in found.items()} == {
        "a": "whole",
        "b": "new b",
        "c": "new c",
        "d": "new d",
    }
    # They are kept: nothing is made the next time, without anybody to tell the progress to.
    again = measures_of(book, flights, None)
    assert (list(again), made) == (list("abcd"), ["b", "c", "d"])
    # Another profile has other ones.
    monkeypatch.setattr("telemetry.app.cache.make_measures", lambda *_: make_flight(file="other"))
    other = measures_of(book, flights[:1], Aircraft(name="wren"))
    assert other["a"].file == "other"


@pytest.mark.parametrize(
    ("durations", "number"), [((10, 50, 20), 2), ((7,), 1), ((5, 9, 9), 2)], ids=str
)
def test_the_longest_flight_of_a_log_is_measured(
    monkeypatch: pytest.MonkeyPatch, durations: tuple[int, ...], number: int
) -> None:
    shelf = SimpleNamespace(read=lambda flight: f"log of {flight}")

    def shelves(_path: Path, *, make: bool) -> Any:
        assert make is False  # a worker makes no book
        return shelf

    def reviewed(log: str, profile: Any) -> Any:
        assert (log, profile) == ("log of f", None)
        return SimpleNamespace(flights=[SimpleNamespace(duration_s=d) for d in durations])

    monkeypatch.setattr("telemetry.app.cache.Logbook", shelves)
    monkeypatch.setattr("telemetry.app.cache.review", reviewed)
    monkeypatch.setattr("telemetry.app.cache.measured", lambda _found, n: n)
    assert make_measures(Path("book"), None, "f") == number
