"""The version stands in pyproject.toml alone, and has its heading among the changes."""

from __future__ import annotations

import re
import tomllib
from datetime import date
from importlib.metadata import version
from pathlib import Path

import telemetry
from telemetry.model.version import program_version
from tests.release.changes import headings

ROOT = Path(__file__).parents[2]
PACKAGE = Path(telemetry.__file__).parent
VERSION = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
# What a reader meets as code or page of the program, and what builds it.
_TEXTS = (".py", ".toml", ".j2", ".js", ".css", ".md")


def test_it_is_written_once() -> None:
    holding = [
        path.relative_to(ROOT).as_posix()
        for folder in (PACKAGE, ROOT / "tests" / "release", ROOT / "tests" / "full")
        for path in [*folder.rglob("*"), ROOT / "pyproject.toml"]
        if path.suffix in _TEXTS
        and re.search(rf"(?<![\d.]){re.escape(VERSION)}(?![\d.])", path.read_text(encoding="utf-8"))
    ]
    assert set(holding) == {"pyproject.toml"}
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    assert text.count(f'"{VERSION}"') == 1


def test_what_is_installed_says_it() -> None:
    """Where this fails, the sources were installed before their version was raised: again."""
    assert program_version() == version("busbook") == VERSION


def test_it_heads_the_changes() -> None:
    told = headings(DEVELOPERS)
    assert told[0][0] == VERSION
    numbers = [tuple(map(int, number.split("."))) for number, _ in told]
    assert numbers == sorted(set(numbers), reverse=True)
    for k, (_, when) in enumerate(told):
        assert date.fromisoformat(when) if when != "unreleased" else k == 0


def test_every_heading_of_the_changes_is_a_version() -> None:
    _, _, changes = DEVELOPERS.partition("\n## Changes\n")
    assert len(re.findall(r"^### ", changes, flags=re.MULTILINE)) == len(headings(DEVELOPERS))
    for part in re.split(r"^### .*\n", changes, flags=re.MULTILINE)[1:]:
        assert re.search(r"^- \S", part, flags=re.MULTILINE)
