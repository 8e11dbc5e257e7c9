"""The house's one rule about imports: they point one way (see DEVELOPERS.md)."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import telemetry

PACKAGE = Path(telemetry.__file__).parent

# What each part may import besides itself, of this package; from the ground up.
MODEL = {"model", "aircraft", "results"}
ALLOWED: dict[str, set[str]] = {
    "model": set(),
    "numerics": {"model"},
    "aircraft": {"model", "numerics"},
    "results": {"model", "aircraft"},
    "importer": MODEL | {"numerics"},
    "readings": MODEL | {"numerics"},
    "detect": MODEL | {"numerics", "readings"},
    "measure": MODEL | {"numerics", "readings"},
    "circuit": MODEL | {"numerics", "readings", "measure"},
    "trends": MODEL | {"numerics", "readings"},
    "checks": MODEL | {"detect", "measure", "trends"},
    "book": MODEL | {"importer"},
    "report": MODEL | {"numerics", "importer", "readings", "circuit", "checks", "book"},
    "app": MODEL
    | {"numerics", "importer", "readings", "detect", "measure", "circuit"}
    | {"trends", "checks", "book", "report"},
    "simulate": MODEL,
    "page": MODEL
    | {"numerics", "importer", "readings", "detect", "measure", "circuit"}
    | {"trends", "checks", "book", "report", "app", "simulate"},
}
# What tells a place by its name alone; everybody else asks the aircraft.
BY_NAME = {"kind_of_place", "mirror_of", "is_drive", "SURFACES"}
KINDS = ("pack", "regulator", "bus", "node", "receiver")
MAY_ASK_A_NAME = {"model", "importer", "aircraft"}
# Libraries that only these parts may import.
ONLY_IN = {
    "matplotlib": {"report"},
    "click": {"cli"},
    "pyarrow": {"importer", "book"},
    "jinja2": {"report"},
    "starlette": {"page"},
    "uvicorn": {"page"},
    "markdown_it": {"page"},
    "segno": {"page"},
    "distributed": {"app"},
    "pydantic": {"aircraft"},
}
FREE = {"cli", "__init__", "__main__"}


def _imports(tree: ast.AST) -> list[tuple[int, str]]:
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [(node.lineno, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"line {node.lineno}: relative import"
            module = node.module or ""
            if module == "telemetry":
                found += [(node.lineno, f"telemetry.{alias.name}") for alias in node.names]
            else:
                found.append((node.lineno, module))
    return found


FILES = sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_imports_point_one_way(path: Path) -> None:
    part = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
    wrong = []
    for line, name in _imports(ast.parse(path.read_text(encoding="utf-8"))):
        words = name.split(".")
        if words[0] in ONLY_IN and part not in ONLY_IN[words[0]]:
            wrong.append(f"{path.name}:{line} imports {name}")
        if words[0] != "telemetry" or part in FREE or len(words) == 1:
            continue
        if words[1] != part and words[1] not in ALLOWED[part]:
            wrong.append(f"{path.name}:{line} imports {name}")
    assert not wrong, "\n".join(wrong)


def test_numerics_know_only_numbers() -> None:
    for path in (PACKAGE / "numerics").rglob("*.py"):
        for line, name in _imports(ast.parse(path.read_text(encoding="utf-8"))):
            assert name.split(".")[0] != "pandas", f"{path.name}:{line} imports {name}"


def test_scipy_is_imported_whole() -> None:
    """Its parts are loaded when they are first used: a review needs few of them, each is slow."""
    for path in FILES:
        for line, name in _imports(ast.parse(path.read_text(encoding="utf-8"))):
            assert name == "scipy" or name.split(".")[0] != "scipy", f"{path.name}:{line}"


def _asks_a_name(node: ast.AST) -> bool:
    """A use of what tells a place by its name, or a look at how a name begins."""
    if isinstance(node, ast.Name | ast.Attribute | ast.alias):
        found = node.id if isinstance(node, ast.Name) else ""
        found = node.attr if isinstance(node, ast.Attribute) else found
        return (node.name if isinstance(node, ast.alias) else found) in BY_NAME
    if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute):
        return False
    words = [a.value for a in ast.walk(node) if isinstance(a, ast.Constant)]
    begins = node.func.attr in ("startswith", "partition", "removeprefix")
    return begins and any(isinstance(w, str) and w.strip() in KINDS for w in words)


@pytest.mark.parametrize(
    ("code", "asks"),
    [
        ("from telemetry.model.channels import mirror_of", True),
        ("kind_of_place(r.place)", True),
        ("channels.kind_of_place", True),
        ("place.startswith(('pack ', 'bus'))", True),
        ("aircraft.kind(r.place) is PlaceKind.PACK", False),
        ("place.startswith('#')", False),
    ],
)
def test_what_asks_a_name_is_seen(code: str, asks: bool) -> None:
    assert any(map(_asks_a_name, ast.walk(ast.parse(code)))) is asks


def test_only_the_aircraft_says_what_a_place_is() -> None:
    wrong = [
        f"{path.relative_to(PACKAGE).as_posix()}:{getattr(node, 'lineno', '?')}"
        for path in FILES
        if path.relative_to(PACKAGE).parts[0] not in MAY_ASK_A_NAME
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if _asks_a_name(node)
    ]
    assert not wrong, "ask the aircraft (its kind, its mirror), not the name: " + ", ".join(wrong)


def test_every_part_is_listed() -> None:
    parts = {p.relative_to(PACKAGE).parts[0].removesuffix(".py") for p in FILES}
    assert parts <= set(ALLOWED) | FREE, parts - set(ALLOWED) - FREE


def test_every_class_name_stands_once() -> None:
    """One name, one thing: a reader who meets a class by name knows which it is."""
    where: dict[str, set[str]] = {}
    for path in FILES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                where.setdefault(node.name, set()).add(path.relative_to(PACKAGE).as_posix())
    assert {name: sorted(files) for name, files in where.items() if len(files) > 1} == {}


def test_a_folder_holds_no_more_than_a_dozen_modules() -> None:
    folders = {path.parent for path in FILES}
    many = {
        folder.relative_to(PACKAGE).as_posix(): count
        for folder in folders
        if (count := sum(p.name != "__init__.py" for p in folder.glob("*.py"))) > 12
    }
    assert many == {}
