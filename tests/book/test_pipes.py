"""A pipe in place of a file of the book: nothing waits for it, and the check tells it."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from telemetry.book import Logbook
from telemetry.book.profiles import set_in_file
from telemetry.model.errors import BookError, BusbookError

pytestmark = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
Make = Callable[..., Any]


@pytest.fixture(autouse=True)
def soon() -> Iterator[None]:
    """A test that waits is ended."""

    def late(*_: object) -> None:
        raise TimeoutError("something waits for a pipe")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(60)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


@pytest.mark.parametrize(
    "pattern",
    [
        *("originals/*.zst", "originals/*.json", "aircraft/*.toml", "flights/*/*.parquet"),
        *("notes/*/*.json", "changes/*.json", "entries/*.json", "maps/*/*.json", "measures/*.json"),
    ],
)
def test_a_pipe_in_the_book_is_told_by_its_check(pattern: str, book: Logbook, make: Make) -> None:
    made = make(start="2026-05-14T10:00:00", text=False)
    (flight,) = book.add(made.log, aircraft="tern", source=made.data).flights
    book.note("tern", "plug cleaned", kind="repaired", place="left wing")
    book.remove([book.note("tern", "a mistake", kind="checked").id])
    book.put_measures(flight, "1", {"rest_a": 0.31})
    path = sorted(book.path.glob(pattern))[0]
    path.unlink()
    os.mkfifo(path)
    report = book.check_book()
    named = [*report.problems, *report.rebuilt, *report.removed, *report.damaged]
    # What was learnt of a header is made again from the flights, without a word.
    written = pattern.startswith("maps") and path.is_file()
    assert written or any(path.name in str(one) for one in named), report


def test_no_reader_waits_for_a_pipe(book: Logbook, make: Make, tmp_path: Path) -> None:
    made = make(start="2026-05-14T10:00:00", text=False)
    (flight,) = book.add(made.log, aircraft="tern", source=made.data).flights
    for path in (book.table_path(book.flight(flight)), book.path / "format.toml"):
        path.unlink()
        os.mkfifo(path)
    with pytest.raises(BookError):
        book.read(flight)
    with pytest.raises(BookError, match="a pipe or a device, not a file"):
        Logbook(book.path)
    profile = tmp_path / "tern.toml"
    os.mkfifo(profile)
    with pytest.raises(BusbookError, match="a pipe or a device, not a file"):
        set_in_file(profile, ["limits"], {"reserve": "25"})
