"""Tests use what a module gives to others, so that its inside can be redrawn beneath them."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
# Names with an underscore that are public by their library, or by what looks for them.
CUSTOMARY = {"_replace", "_asdict", "_fields", "_exit", "_repr_html_"}
CUSTOMARY |= {"_ipython_key_completions_"}


def is_private(name: str) -> bool:
    return name.startswith("_") and not name.startswith("__") and name not in CUSTOMARY


def private_names(tree: ast.AST) -> Iterator[str]:
    """Private names of other modules that are imported, read or replaced."""
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("telemetry"):
            yield from (a.name for a in node.names if is_private(a.name))
        elif isinstance(node, ast.Attribute) and is_private(node.attr):
            if not (isinstance(node.value, ast.Name) and node.value.id in ("self", "cls")):
                yield node.attr
        elif isinstance(node, ast.Call) and ast.unparse(node.func).endswith("attr"):
            texts = [a.value for a in node.args if isinstance(a, ast.Constant)]
            names = [str(text).rpartition(".")[2] for text in texts]
            yield from filter(is_private, names)


@pytest.mark.parametrize(
    ("code", "found"),
    [
        ("from telemetry.detect.sags import _under, find_sags", ["_under"]),
        ("sags._under(1)\nsags.find_sags(2)", ["_under"]),
        ("monkeypatch.setattr(sags, '_LEAST', 1)", ["_LEAST"]),
        ("monkeypatch.setattr('telemetry.detect.sags._LEAST', 1)", ["_LEAST"]),
        ("getattr(sags, '_LEAST')", ["_LEAST"]),
        ("row._replace(a=1)\nos._exit(0)\nself._kept\n'_repr_'\nx.__name__", []),
    ],
)
def test_private_names_are_seen(code: str, found: list[str]) -> None:
    assert list(private_names(ast.parse(code))) == found


def test_tests_use_no_private_names() -> None:
    used = {}
    for path in sorted((ROOT / "tests").rglob("*.py")):
        names = list(private_names(ast.parse(path.read_text(encoding="utf-8"))))
        if names:
            used[path.relative_to(ROOT).as_posix()] = len(names)
    assert used == {}, "make it public where it is a unit worth a test, else test what calls it"
