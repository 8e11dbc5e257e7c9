"""The page of outside checks names only tests that there are, and every default limit."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from telemetry.aircraft import Limits

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "tests" / "OUTSIDE_CHECKS.md").read_text(encoding="utf-8")
ROWS = [
    [cell.strip() for cell in line.strip("|").split(" | ")]
    for line in PAGE.splitlines()
    if line.startswith("| ") and not line.startswith(("| claim", "| limit"))
]
NODES = sorted({row[2].strip("`") for row in ROWS})


@pytest.mark.parametrize("node", NODES)
def test_every_check_is_a_test_of_this_tree(node: str) -> None:
    path, _, name = node.partition("::")
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    assert name in {f.name for f in tree.body if isinstance(f, ast.FunctionDef)}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0][:60])
def test_every_row_has_a_claim_a_source_a_check_and_a_result_that_passed(row: list[str]) -> None:
    assert len(row) == 4
    claim, source, check, result = row
    assert claim
    assert source
    assert re.fullmatch(r"`tests/[\w/]+\.py::test_\w+`", check)
    assert re.fullmatch(r"[1-9]\d* passed(, \d+ skipped)?", result)


def test_every_default_limit_has_a_row() -> None:
    named = {name for row in ROWS for name in re.findall(r"`(\w+)`", row[0])}
    assert named >= set(Limits.model_fields)


def test_the_readme_links_the_page() -> None:
    assert "tests/OUTSIDE_CHECKS.md" in (ROOT / "README.md").read_text(encoding="utf-8")
