"""``busbook mark``: a moment in the book, in the listing and in the flight's report."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from telemetry.book import Logbook
from tests.cli.conftest import Run, text_of


@pytest.fixture
def shelf(run: Run, tmp_path: Path) -> Path:
    log = tmp_path / "may.csv"
    log.write_text(text_of(seed=1))
    book = tmp_path / "book"
    assert (
        run("add", log, "--aircraft", "tern", "--book", book, "--on", "2026-05-01").exit_code == 0
    )
    return book


def test_a_mark_is_made_listed_reported_and_taken_back(
    run: Run, shelf: Path, tmp_path: Path
) -> None:
    done = run("mark", "tern", "1", "thud\x1b[2J heard", "--at", "0:01.5", "--book", shelf)
    assert (done.exit_code, done.stderr) == (0, "")
    (mark,) = Logbook(shelf).marks()
    assert mark.at_s == 1.5
    assert f"take it back: busbook remove mark {mark.id}" in done.stdout
    listed = " ".join(run("flights", "tern", "--book", shelf).stdout.split())
    assert "mark at 00:01: thud" in listed
    assert mark.id in listed
    for log in (mark.flight, tmp_path / "may.csv"):
        out = run("review", log, "--aircraft", "tern", "--json", "--book", shelf).stdout
        (one,) = json.loads(out)["reviews"]
        assert one["marks"] == [{"time_s": 1.5, "text": mark.text}]
    gone = run("remove", "mark", mark.id[:15], "--book", shelf).stdout
    assert f"back again: busbook restore {mark.id}" in gone
    assert mark.id in run("restore", "--book", shelf).stdout
    out = run("review", mark.flight, "--json", "--book", shelf).stdout
    assert json.loads(out)["reviews"][0]["marks"] == []
    back = run("restore", mark.id, "--book", shelf)
    assert (back.exit_code, back.stdout.startswith("back in the book: mark of flight ")) == (
        0,
        True,
    )
    assert Logbook(shelf).marks() == (mark,)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("tern", "1", "thud", "--at", "soon"), "'soon' is no time; give seconds"),
        (("tern", "1", "thud", "--at", "99:00"), "the flight has no moment at 5940 s"),
        (("tern", "1", " ", "--at", "1"), "a mark needs words"),
        (("tern", "7", "thud", "--at", "1"), "7"),
    ],
)
def test_what_is_no_mark_is_told_in_a_sentence(
    run: Run, shelf: Path, words: tuple[str, ...], told: str
) -> None:
    done = run("mark", *words, "--book", shelf)
    assert done.exit_code == 2
    assert told in done.stderr
    assert "Traceback" not in done.stderr
    assert Logbook(shelf).marks() == ()
