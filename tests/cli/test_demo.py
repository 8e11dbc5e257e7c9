"""``busbook demo``: an invented season, and what comes next."""

from __future__ import annotations

import json
from pathlib import Path

import pytest


@pytest.fixture
def short_season(monkeypatch) -> None:
    """The first two logs only: the whole season is written in tests/simulate."""
    import itertools

    from telemetry.simulate import demo

    real = demo.demo_logs
    monkeypatch.setattr(demo, "demo_logs", lambda seed: itertools.islice(real(seed), 2))


@pytest.mark.usefixtures("short_season")
def test_it_writes_logs_that_can_be_reviewed(run, tmp_path) -> None:
    folder = tmp_path / "season"
    result = run("demo", folder)
    assert result.exit_code == 0
    assert result.stderr == ""
    assert result.stdout.splitlines() == [
        f"wrote 2 invented logs into {folder}",
        f"next: busbook review {folder} --out reports",
    ]
    assert "invented" in (folder / "README.txt").read_text(encoding="utf-8")
    review = run("review", folder, "--json")
    assert review.exit_code == 0, "what the command suggests next works"
    assert len(json.loads(review.stdout)["reviews"]) == 2


@pytest.mark.usefixtures("short_season")
def test_another_seed_gives_another_season(run, tmp_path) -> None:
    assert run("demo", tmp_path / "a").exit_code == 0
    assert run("demo", tmp_path / "b").exit_code == 0
    assert run("demo", tmp_path / "c", "--seed", "7").exit_code == 0
    name = "tern-bench-stir.csv"
    a, b, c = ((tmp_path / x / name).read_bytes() for x in "abc")
    assert a == b
    assert a != c


@pytest.mark.usefixtures("short_season")
def test_a_place_that_cannot_be_written(run, tmp_path) -> None:
    file = tmp_path / "file"
    file.write_text("kept")
    for place in (file, file / "deeper"):
        result = run("demo", place)
        assert (result.exit_code, result.stdout) == (2, "")
        assert str(place) in result.stderr.replace("\n", "")
    assert file.read_text() == "kept"


@pytest.mark.parametrize("seed", ["-1", "x", "1.5", ""])
def test_seeds_that_are_none(run, tmp_path, seed) -> None:
    result = run("demo", tmp_path / "season", "--seed", seed)
    assert (result.exit_code, result.stdout) == (2, "")
    assert not Path(tmp_path / "season").exists()
