"""Nothing of others lies in the wheel without its licence text.

What others wrote is known by their notices, by being no text, or by lines that nobody writes. A
file of theirs needs a text in ``telemetry/licences/`` that names its path and holds their licence.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import telemetry

PACKAGE = Path(telemetry.__file__).parent
_NOTICE = re.compile(
    r"copyright\b|\(c\) ?\d{4}|©|all rights reserved|@licen[cs]e|@preserve|spdx-|licen[cs]ed under"
    r"|sourcemappingurl",
    flags=re.IGNORECASE,
)
_LONGEST_LINE = 1000


def of_others(path: Path) -> bool:
    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        return True
    return bool(_NOTICE.search(text)) or max(map(len, text.splitlines()), default=0) > _LONGEST_LINE


def without_licence(package: Path) -> list[str]:
    texts = "\n".join(p.read_text(encoding="utf-8") for p in (package / "licences").glob("*.txt"))
    own = {package / "LICENSE", *(package / "licences").glob("*")}
    return [
        name
        for path in sorted(package.rglob("*"))
        if path.is_file() and "__pycache__" not in path.parts and path not in own
        if of_others(path) and (name := path.relative_to(package).as_posix()) not in texts
    ]


def test_everything_of_others_has_its_licence() -> None:
    assert without_licence(PACKAGE) == []


@pytest.mark.parametrize(
    "content",
    [
        b"/*! a zoom (c) 2020 somebody */\nvar a;\n",
        b"/* @license MIT */ var a;\n",
        b"var a;" * 200,
        b"\x00\x01\x00\x00\x00\xff",
        b"# Copyright somebody\n",
    ],
)
def test_a_file_of_others_is_seen_until_its_licence_is_there(tmp_path, content) -> None:
    (tmp_path / "page").mkdir()
    (tmp_path / "page" / "other.js").write_bytes(content)
    (tmp_path / "page" / "own.js").write_text("const a = 1;\n")
    assert without_licence(tmp_path) == ["page/other.js"]
    (tmp_path / "licences").mkdir()
    (tmp_path / "licences" / "other.txt").write_text("page/other.js: MIT\n\nPermission is ...\n")
    assert without_licence(tmp_path) == []
