"""Which set of packs was flown, as somebody says it: kept, changed, taken back, and judged with."""

from __future__ import annotations

from pathlib import Path

import pytest

from telemetry.app.histories import history
from telemetry.book import Logbook
from telemetry.model.errors import BookError
from tests.cli.conftest import Run, text_of


@pytest.fixture
def shelf(run: Run, tmp_path: Path) -> Path:
    """Three flights of a tern, the last one with the red packs."""
    book = tmp_path / "book"
    for seed in (1, 2, 3):
        path = tmp_path / f"may-{seed}.csv"
        path.write_text(text_of(seed=seed))
        more = ("--packs", "red") if seed == 3 else ()
        words = ("add", path, "--aircraft", "tern", "--book", book, "--on", f"2026-05-0{seed}")
        assert run(*words, *more).exit_code == 0
    return book


def _packs(shelf: Path) -> list[str | None]:
    return [f.packs for f in Logbook(shelf).flights("tern")]


def test_new_logs_and_flights_of_the_book_get_their_packs(run: Run, shelf: Path) -> None:
    assert _packs(shelf) == [None, None, "red"]
    done = run("add", "tern", "1", "2", "--packs", " sky   blue ", "--book", shelf)
    assert (done.exit_code, done.stderr) == (0, "")
    assert done.stdout.splitlines()[0].startswith("2 flights flown with the packs ")
    assert _packs(shelf) == ["sky blue", "sky blue", "red"]  # blanks are no part of a label
    assert [f.packs for f in history(Logbook(shelf), "tern").flights] == _packs(shelf)


def test_what_was_said_last_counts_and_can_be_taken_back(run: Run, shelf: Path) -> None:
    run("add", "tern", "3", "--packs", "blue", "--book", shelf)
    assert _packs(shelf) == [None, None, "blue"]
    done = run("add", "tern", "3", "--packs", "", "--book", shelf)
    assert done.stdout.splitlines()[0] == "1 flight without a word of their packs"
    assert _packs(shelf) == [None, None, None]


def test_packs_stay_with_a_flight_that_goes_and_comes_back(run: Run, shelf: Path) -> None:
    one = Logbook(shelf).flights("tern")[2].id
    assert run("remove", "flight", "tern", "3", "--book", shelf).exit_code == 0
    assert _packs(shelf) == [None, None]
    assert run("restore", one, "--book", shelf).exit_code == 0
    assert _packs(shelf) == [None, None, "red"]


def test_a_flight_that_the_book_lacks_gets_no_packs(run: Run, shelf: Path) -> None:
    done = run("add", "tern", "9", "--packs", "blue", "--book", shelf)
    assert (done.exit_code, done.stdout) == (2, "")
    assert _packs(shelf) == [None, None, "red"]
    with pytest.raises(BookError):
        Logbook(shelf).say_packs(["no such flight"], "blue")


def test_another_word_for_the_packs_is_judged_anew(run: Run, shelf: Path) -> None:
    """What was kept of a flight by other packs is not taken for this one's."""

    def kept() -> set[str]:
        history(Logbook(shelf), "tern")
        return set(Logbook(shelf).get_replay("tern")["together"])

    before = kept()
    run("add", "tern", "2", "--packs", "blue", "--book", shelf)
    after = kept()
    assert (len(before), len(after), len(before & after)) == (3, 3, 1)
