"""Remove, restore and move on the command line: said in lines, and nothing is lost."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from telemetry.app.histories import history
from telemetry.book import Logbook
from telemetry.cli import main
from tests.cli.conftest import Run, text_of


@pytest.fixture
def shelf(run: Run, tmp_path: Path) -> Path:
    """Three flights of a tern, and two notes."""
    book = tmp_path / "book"
    card = tmp_path / "card"
    card.mkdir()
    for seed in (1, 2, 3):
        path = card / f"may-{seed}.csv"
        path.write_text(text_of(seed=seed))
        on = f"2026-05-0{seed}"
        assert run("add", path, "--aircraft", "tern", "--book", book, "--on", on).exit_code == 0
    for day in (1, 2):
        words = ("note", "tern", f"plug {day}", "--kind", "repaired", "--place", "left wing")
        assert run(*words, "--on", f"2026-05-0{day}T18:00", "--book", book).exit_code == 0
    return book


def _lines(run: Run, shelf: Path, *words: str) -> list[str]:
    done = run(*words, "--book", shelf)
    assert (done.exit_code, done.stderr) == (0, "")
    return list(done.stdout.splitlines())


def test_a_flight_goes_and_comes_back(run: Run, shelf: Path) -> None:
    one = Logbook(shelf).flights("tern")[1]
    told = _lines(run, shelf, "remove", "flight", "tern", "2")
    assert told[:4] == [
        "removed, and kept aside: tern 2, 2026-05-02, may-2.csv",
        f"back again: busbook restore {one.id}",
        "the flights after it have lower numbers now; 'busbook flights' lists them",
        "the book holds: tern 2 flights",
    ]
    assert "1 of its flights and notes removed; busbook restore lists them" in _lines(
        run, shelf, "flights", "tern"
    )
    (listed, _) = _lines(run, shelf, "restore")
    assert listed.startswith(f"{one.id}  tern, 2026-05-02, may-2.csv; removed 20")
    assert _lines(run, shelf, "restore", one.id[:6])[0].startswith("back in the book: tern 2, ")
    assert _lines(run, shelf, "restore") == ["nothing was removed"]


def test_the_last_flight_changes_no_number(run: Run, shelf: Path) -> None:
    assert not any("lower numbers" in x for x in _lines(run, shelf, "remove", "flight", "tern 3"))


def test_a_note_is_named_by_its_number(run: Run, shelf: Path) -> None:
    listed = _lines(run, shelf, "flights", "tern")
    assert any("note 2: repaired, left wing: plug 2" in line for line in listed)
    told = _lines(run, shelf, "remove", "note", "tern", "2")
    assert told[0] == (
        "removed, and kept aside: tern, note 2 of 2026-05-02, repaired, left wing: plug 2"
    )
    assert [n.text for n in Logbook(shelf).notes("tern")] == ["plug 1"]
    word = told[1].rpartition(" ")[2]
    _lines(run, shelf, "restore", word)
    assert len(Logbook(shelf).notes("tern")) == 2
    bad = run("remove", "note", "tern", "7", "--book", shelf)
    assert (bad.exit_code, bad.stdout) == (2, "")
    assert "'7' names no note of the book; say NAME and its number" in bad.stderr


def test_a_log_that_was_removed_is_not_added_again(run: Run, shelf: Path) -> None:
    _lines(run, shelf, "remove", "log", "may-2.csv")
    card = shelf.parent / "card"
    again = run("add", card, "--aircraft", "tern", "--book", shelf)
    assert again.exit_code == 0
    (told,) = again.stderr.splitlines()
    assert "may-2.csv: it was removed from the book; busbook restore " in told
    assert len(Logbook(shelf).flights("tern")) == 2
    _lines(run, shelf, "restore", "may-2.csv")
    assert len(Logbook(shelf).flights("tern")) == 3


def test_flights_and_logs_are_given_to_another(run: Run, shelf: Path) -> None:
    told = _lines(run, shelf, "move", "tern", "1", "may-3.csv", "--to", "Sea Eagle")
    assert told[0] == "moved to sea eagle: tern 1, 2026-05-01, may-1.csv"
    assert told[2].startswith("sea eagle is new; its profile: ")
    assert told[3].startswith("back again: busbook move ")
    assert told[4] == "the book holds: sea eagle 2 flights, tern 1 flight"
    whole = _lines(run, shelf, "move", "tern", "1", "--to", "gull")
    assert not any("holds nothing now" in line for line in whole), "it has notes"
    _lines(run, shelf, "move", "gull", "1", "--to", "tern")
    assert _lines(run, shelf, "move", "sea eagle", "1", "--to", "sea eagle")[0] == (
        "nothing to move: sea eagle has them already"
    )
    _lines(run, shelf, *told[3].removeprefix("back again: busbook ").split())
    assert len(Logbook(shelf).flights("tern")) == 3
    back = _lines(run, shelf, "move", "tern", "3", "--to", "petrel")
    assert "petrel is new" in back[1]
    again = _lines(run, shelf, "move", "petrel", "1", "--to", "tern")
    assert any(line.startswith("petrel holds nothing now; its profile stays: ") for line in again)
    assert "no flights" in run("flights", "sea eagle", "--book", shelf).stdout


def test_the_history_follows(run: Run, shelf: Path) -> None:
    _lines(run, shelf, "remove", "flight", "tern", "2")
    shown = "\n".join(_lines(run, shelf, "history", "tern"))
    assert "may-1.csv" in shown
    assert "may-2.csv" not in shown


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("remove", "flight", "tern", "9"), "'tern' has no flight 9; it has 1 to 3"),
        (("remove", "flight", "tern"), "no flight of it is named"),
        (("remove", "log", "june.csv"), "the book has no flight 'june.csv'"),
        (("restore", "may-1.csv"), "'may-1.csv' was not removed; busbook restore lists them"),
        (("move", "tern", "1", "--to", "con"), "cannot be the name of an aircraft"),
    ],
)
def test_what_cannot_be_done_is_one_sentence(
    run: Run, shelf: Path, words: tuple[str, ...], told: str
) -> None:
    done = run(*words, "--book", shelf)
    assert (done.exit_code, done.stdout) == (2, "")
    assert told in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert len(Logbook(shelf).flights("tern")) == 3


# What a note closes.


@pytest.fixture
def faulted(run: Run, tmp_path: Path) -> Path:
    """A flight whose bus fell below the level at which receivers restart."""
    path = tmp_path / "fallen.csv"
    path.write_text(text_of(dip_v=4.8))
    words = ("add", path, "--aircraft", "tern", "--on", "2026-05-01", "--book", tmp_path / "book")
    assert run(*words).exit_code == 0
    return tmp_path / "book"


_NOTE = ("note", "tern", "supply replaced", "--kind", "repaired", "--place", "all")


def _open(shelf: Path) -> set[tuple[str, str | None]]:
    found = history(Logbook(shelf), "tern").findings
    return {(f.code, f.place) for f in found if f.state == "open"}


def _asked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("telemetry.cli.keeping.noting.on_a_terminal", lambda: True)


def test_what_a_note_closes_is_shown_and_asked_about(
    runner: CliRunner, run: Run, faulted: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = _open(faulted)
    assert before
    _asked(monkeypatch)
    refused = runner.invoke(main, [*_NOTE, "--book", str(faulted)], input="n\n")
    assert (refused.exit_code, "Keep the note? [y/N]" in refused.stderr) == (0, True)
    shown = refused.stdout.splitlines()
    closed = [x for x in shown if x.startswith(("  ground: ", "  watch: "))]
    assert len(closed) > 1
    assert shown[0] == f"it closes {len(closed)} findings:"
    assert "not kept; nothing is changed" in refused.stdout
    assert Logbook(faulted).notes("tern") == ()
    kept = runner.invoke(main, [*_NOTE, "--book", str(faulted)], input="y\n")
    assert "noted for tern" in kept.stdout
    assert len(Logbook(faulted).notes("tern")) == 1
    assert _open(faulted) != before
    # And it is open again when the note is taken back.
    _lines(run, faulted, "remove", "note", "tern", "1")
    assert _open(faulted) == before


def test_a_script_keeps_its_note_and_is_told_how_to_take_it_back(run: Run, faulted: Path) -> None:
    told = _lines(run, faulted, *_NOTE)
    assert told[0].startswith("it closes")
    assert "take it back: busbook remove note tern 1" in told
    assert len(Logbook(faulted).notes("tern")) == 1


def test_a_single_finding_is_not_counted(
    run: Run, faulted: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        "telemetry.app.noting.closed_by", lambda *_: history(Logbook(faulted), "tern").findings[:1]
    )
    assert _lines(run, faulted, *_NOTE)[0] == "it closes:"


def test_yes_asks_nothing(run: Run, faulted: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    _asked(monkeypatch)
    assert "noted for tern" in "\n".join(_lines(run, faulted, *_NOTE, "--yes"))


def test_a_note_that_closes_nothing_asks_nothing(
    run: Run, faulted: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _asked(monkeypatch)
    told = _lines(run, faulted, "note", "tern", "packs full", "--kind", "charged")
    assert told[0].startswith("noted for tern")
