"""One aircraft has one answer: review, history, flights and the index give the same."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import Run, text_of


@pytest.fixture
def shelf(tmp_path: Path, run: Run) -> Path:
    """A book with a sound log, one that grounds, and a sound one; all invented and dated."""
    for day, (dip_v, seed) in enumerate([(0.0, 1), (4.8, 2), (0.0, 3)], 1):
        log = tmp_path / f"tern 2026-05-{day:02d}.csv"
        log.write_text(text_of(dip_v=dip_v, seed=seed))
        done = run("add", log, "--aircraft", "tern", "--book", tmp_path / "book")
        assert done.exit_code == 0, done.output
    return tmp_path / "book"


def answer_of_review(run: Run, log: Path, book: Path, *more: object) -> dict[str, Any]:
    done = run("review", log, "--book", book, "--json", *more)
    assert done.exit_code == 0, done.output
    found: dict[str, Any] = json.loads(done.stdout)["reviews"][0]
    return found


def test_every_surface_gives_the_same_answer(shelf: Path, tmp_path: Path, run: Run) -> None:
    history = json.loads(run("history", "tern", "--book", shelf, "--json").stdout)
    answer = history["answer"]
    assert (answer["level"], answer["from"], answer["aircraft"]) == ("ground", "history", "tern")
    assert history["verdict"] == "ground"
    assert (answer["number"], answer["since_number"]) == (3, 2)
    for log in sorted(tmp_path.glob("*.csv")):
        by_name = answer_of_review(run, log, shelf, "--aircraft", "tern")
        by_header = answer_of_review(run, log, shelf)
        assert by_name["answer"] == by_header["answer"] == answer
        assert by_name["verdict"] == ("ground" if "05-02" in log.name else "clear")
    told = " ".join(run("flights", "tern", "--book", shelf).stdout.split())
    assert "Tern: ground, since flight 2, as of flight 3, 3 May 2026: " in told


def test_a_review_that_differs_says_so_in_one_line(shelf: Path, tmp_path: Path, run: Run) -> None:
    log = tmp_path / "tern 2026-05-01.csv"
    done = run("review", log, "--book", shelf, "--out", tmp_path / "out", "--format", "html,pdf")
    text = " ".join(done.stdout.split())
    line = "This log alone: nothing found; the aircraft: ground, since flight 2, as of flight 3"
    assert line in text
    assert "!!! GROUND IT" in text
    (page,) = (tmp_path / "out").glob("*.html")
    assert line in page.read_text()


def test_a_newer_log_counts_as_the_newest_flight(shelf: Path, tmp_path: Path, run: Run) -> None:
    log = tmp_path / "tern 2026-05-04.csv"
    log.write_text(text_of(dip_v=4.8, seed=4))
    before = answer_of_review(run, log, shelf)["answer"]
    assert before["number"] == 4
    assert run("flights", "tern", "--book", shelf).stdout.count("  bench  ") == 3
    assert run("add", log, "--aircraft", "tern", "--book", shelf).exit_code == 0
    after = json.loads(run("history", "tern", "--book", shelf, "--json").stdout)["answer"]
    assert before == after


def test_fail_on_asks_the_answer(shelf: Path, tmp_path: Path, run: Run) -> None:
    log = tmp_path / "tern 2026-05-01.csv"
    assert run("review", log, "--book", shelf, "--fail-on", "ground").exit_code == 1
    assert run("review", log, "--book", tmp_path / "none", "--fail-on", "watch").exit_code == 0


def test_a_log_alone_answers_for_itself(tmp_path: Path, log: Path, run: Run) -> None:
    answer = answer_of_review(run, log, tmp_path / "none")["answer"]
    assert (answer["level"], answer["from"], answer["aircraft"]) == ("clear", "review", None)
    assert not (tmp_path / "none").exists()


def test_an_index_says_how_the_aircraft_stands(shelf: Path, tmp_path: Path, run: Run) -> None:
    logs = sorted(tmp_path.glob("*.csv"))
    out = tmp_path / "out"
    done = run("review", *logs, "--book", shelf, "--out", out, "--format", "html")
    line = "Tern: ground, since flight 2, as of flight 3, 3 May 2026"
    assert line in " ".join(done.stdout.split())
    assert line in (out / "index.html").read_text()
    assert "3 logs reviewed: 1 to ground, 2 with nothing found" in done.stdout
