"""The fleet's seasons: apart from the program, the same by their seed, with their truth."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from tests.fleet.season import fly_season
from tests.fleet.truth import KINDS

ROOM = Path(__file__).parent


def test_it_shares_nothing_with_the_program() -> None:
    for path in ROOM.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [a.name for a in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            foreign = [n for n in names if n.startswith(("telemetry", "tests.simul"))]
            assert not foreign, f"{path.name} imports {foreign}"


def test_a_seed_gives_the_same_files_and_truth(tmp_path: Path) -> None:
    first = fly_season("connector", 5, tmp_path / "a", flights=6)
    second = fly_season("connector", 5, tmp_path / "b", flights=6)
    assert len(first.files) == 6
    for one, other in zip(first.files, second.files, strict=True):
        assert one.name == other.name
        assert one.read_bytes() == other.read_bytes()
    assert first.visible == second.visible
    assert first.onset is not None
    assert all(k >= first.onset for k in first.visible)
    header = first.files[0].read_bytes()
    assert first.columns
    assert all(c.encode() in header for c in first.columns)


def test_an_unknown_kind_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="none of healthy"):
        fly_season("gremlins", 1, tmp_path)
    assert "healthy" in KINDS
