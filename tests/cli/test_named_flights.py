"""Flights of the book on the command line, and what a shell completes of the book."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest
from click.shell_completion import ShellComplete

from telemetry.book import Logbook
from telemetry.cli import main
from tests.cli.conftest import Run, text_of


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two flights of a tern and one of a gull."""
    from click.testing import CliRunner

    folder = tmp_path_factory.mktemp("named")
    for seed, name in enumerate(("tern-1.csv", "tern-2.csv", "gull-1.csv"), 1):
        path = folder / name
        path.write_text(text_of(seed=seed))
        whose = name.partition("-")[0]
        words = ["add", str(path), "--aircraft", whose, "--book", str(folder / "book")]
        done = CliRunner().invoke(main, [*words, "--on", f"2026-05-0{seed}"])
        assert done.exit_code == 0, done.output
        path.unlink()
    return folder / "book"


def _reviewed(run: Run, shelf: Path, *words: str) -> list[str]:
    done = run("review", *words, "--json", "--book", shelf)
    assert done.exit_code == 0, done.stderr
    return [one["log"]["file"] for one in json.loads(done.stdout)["reviews"]]


def test_flights_of_the_book_are_reviewed_by_number_name_and_id(run: Run, shelf: Path) -> None:
    (second,) = Logbook(shelf).flights("tern")[1:]
    for words in (["tern", "2"], ["tern 2"], ["tern-2.csv"], [second.id[:10]]):
        assert _reviewed(run, shelf, *words) == ["tern-2.csv"]


def test_after_a_flight_of_the_book_nobody_is_told_to_add_it(
    run: Run, shelf: Path, tmp_path: Path
) -> None:
    done = run("review", "tern", "1", "--out", tmp_path / "out", "--book", shelf)
    assert done.exit_code == 0
    assert "busbook add" not in done.stdout
    path = tmp_path / "named.csv"
    for head, whose in (("# Model: Knot\n", ""), ("", " --aircraft NAME")):
        path.write_text(head + text_of(seed=7))
        told = run("review", path, "--out", tmp_path / "out", "--book", tmp_path / "none").stdout
        assert f"busbook add {path}{whose}\n" in told.replace("\\\n", "")
    # A log beside a flight of the book can still be added.
    both = run("review", path, "tern", "1", "--out", tmp_path / "out", "--book", shelf)
    assert "busbook add" in both.stdout


def test_files_and_flights_stand_beside_each_other(
    run: Run, shelf: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("tern").mkdir()  # a folder of that name is no aircraft, unless a number follows
    Path("tern/tern-1.csv").write_text(text_of(seed=9))
    found = _reviewed(run, shelf, "tern", "gull", "1", "tern", "2")
    names = ["gull-1.csv", "tern-2.csv", "tern/tern-1.csv"]
    assert sorted(Path(one).as_posix() for one in found) == names
    missing = run("review", "tern", "7", "--book", shelf)
    assert missing.exit_code == 2
    assert "'tern' has no flight 7; it has 1 to 2" in missing.stderr
    nothing = run("review", "nothing.csv", "--book", shelf)
    assert nothing.exit_code == 2
    assert "nothing.csv" in nothing.stderr


def test_some_flights_are_exported_as_one_table(run: Run, shelf: Path, tmp_path: Path) -> None:
    out = tmp_path / "out.csv"
    assert run("export", "tern", "2", "gull", "1", "--to", out, "--book", shelf).exit_code == 0
    assert list(pd.read_csv(out)["file"].unique()) == ["tern-2.csv", "gull-1.csv"]
    assert run("export", "tern", "1", "--to", out, "--book", shelf).exit_code == 0
    assert set(pd.read_csv(out)["file"]) == {"tern-1.csv"}


def _offered(*words: object) -> list[str]:
    *said, last = (str(word) for word in words)
    shell = ShellComplete(main, {}, "busbook", "_BUSBOOK_COMPLETE")
    return [one.value for one in shell.get_completions(said, last)]


def test_the_shell_completes_aircraft_flights_and_places(
    shelf: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BUSBOOK", str(shelf))
    monkeypatch.chdir(tmp_path)
    for name in ("test.csv", "t.csv", ".hidden"):
        Path(name).touch()
    for command in ("history", "flights"):
        assert _offered(command, "") == ["gull", "tern"]
    assert _offered("add", "x.csv", "--aircraft", "T") == ["tern"]
    assert _offered("export", "tern", "2") == ["2"]
    assert _offered("export", "tern", "1", "")[:2] == ["2", "gull"]
    assert _offered("review", "te") == ["tern", "test.csv"]
    assert _offered("review", "") == ["gull", "tern", "t.csv", "test.csv"]
    assert "left wing" in _offered("note", "tern", "text", "--place", "l")
    assert _offered("history", "--book", tmp_path / "none", "") == []
    shell = ShellComplete(main, {}, "busbook", "_BUSBOOK_COMPLETE")
    assert [one.type for one in shell.get_completions(["review"], "x")] == ["file"]
    (first,) = shell.get_completions(["export", "tern"], "1")
    assert first.help == "2026-05-01 tern-1.csv"


def test_the_shell_offers_places_of_the_newest_flight_alone(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A sensor that is gone since is no place to write a note of."""
    monkeypatch.setenv("BUSBOOK", str(tmp_path / "book"))
    for day, place in enumerate(("Right wing", "Tail", "Right wing"), 1):
        path = tmp_path / f"{day}.csv"
        path.write_text(text_of(seed=day).replace("Right wing", place))
        added = run("add", path, "--aircraft", "tern", "--on", f"2026-05-0{day}")
        assert added.exit_code == 0
    assert "right wing" in _offered("note", "tern", "text", "--place", "")
    assert "tail" not in _offered("note", "tern", "text", "--place", "")


def test_the_sheet_is_written_where_out_says_or_here(
    run: Run, shelf: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    there = ("sheet", "gull", "--book", shelf, "--format", "html")
    assert run(*there, "--out", "out").exit_code == 0
    assert [p.name for p in Path().iterdir()] == ["out"]
    assert [p.name for p in Path("out").iterdir()] == ["gull-sheet.html"]
    assert run(*there).exit_code == 0
    assert Path("gull-sheet.html").read_text() == Path("out/gull-sheet.html").read_text()
