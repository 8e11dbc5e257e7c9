"""Removing, restoring, moving and noting: killed at any moment, at once with another, disk full."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from telemetry.book import Logbook
from telemetry.model.errors import BookError
from tests.book.killing import kill_rounds, make_book, nothing_is_lost, race, state_of
from tests.book.test_crash import REAL, crash_points
from tests.book.test_faults import disk_with
from tests.sweeps import one_in, some_of

Act = Callable[[Logbook], Any]

ACTS: dict[str, Act] = {
    "remove a flight": lambda book: book.remove([book.flights("tern")[1].id]),
    "remove a log": lambda book: book.remove([f.id for f in book.flights("tern")[:2]]),
    "remove a note": lambda book: book.remove([book.notes("tern")[0].id]),
    "restore": lambda book: book.restore([e.id for e, _ in book.removed()]),
    "move to a new one": lambda book: book.move([book.flights("tern")[0].id], "petrel"),
    "move to a known one": lambda book: book.move([f.id for f in book.flights("tern")], "gull"),
    "note": lambda book: book.note("tern", "again", kind="checked"),
}


def _begun(root: Path) -> Logbook:
    """A book of which something was removed already."""
    book = make_book(root)
    book.remove([book.flights("gull")[0].id, book.notes("gull")[0].id])
    return book


def _shape(book: Logbook) -> list[list[tuple[str, str]]]:
    """What is held and what is kept aside, of whom; ids of notes are not the same twice."""
    return [
        sorted((whose, one if one[16:17] == "-" else "note") for one, whose in part)
        for part in state_of(book)
    ]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork")
def test_killed_at_random_moments(tmp_path: Path) -> None:
    rounds = some_of(8, 25)
    counts = kill_rounds(tmp_path, rounds)
    assert counts["killed"] == rounds
    # The test is worth something only if some were stopped in the middle.
    assert counts["in the middle"] >= rounds // 5


def test_two_processes_change_at_once(tmp_path: Path) -> None:
    each = some_of(10, 40)
    counts = race(tmp_path, each)
    assert counts["done"] + counts["refused, the other was first"] == 2 * each
    assert counts["done"] >= each


@pytest.mark.parametrize("name", ACTS)
def test_dead_at_every_single_step(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    count = 0
    root = tmp_path

    def act() -> None:
        nonlocal root, count
        root = tmp_path / str(count)
        count += 1
        with monkeypatch.context() as alive:
            for target, real in ((os, "fsync"), (Path, "replace"), (Path, "unlink")):
                alive.setattr(target, real, REAL[real])
            book = _begun(root)
        ACTS[name](book)

    begun = _begun(tmp_path / "begun")
    old = _shape(begun)
    ACTS[name](begun)
    new = _shape(begun)
    assert new != old
    steps = 0
    for _ in crash_points(monkeypatch, act):
        steps += 1
        book = Logbook(root)
        assert _shape(book) in (old, new), "the old state or the new one"
        nothing_is_lost(root)
    assert _shape(Logbook(root)) == new
    assert steps >= 2 // one_in(4) + 1


@pytest.mark.parametrize("name", ACTS)
def test_a_disk_that_fills_up_at_any_byte(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    refused = 0
    for number, room in enumerate(range(0, 20_000, 90 * one_in(4))):
        root = tmp_path / str(number)
        book = _begun(root)
        before = state_of(book)
        told = ""
        try:
            with disk_with(room, errno.ENOSPC, monkeypatch):
                ACTS[name](book)
        except BookError as error:
            told = str(error)
        refused += bool(told)
        assert ("the disk is full" in told) is (state_of(book) == before)
        nothing_is_lost(root)
        if number > refused + 2:
            break
    assert refused >= 2
