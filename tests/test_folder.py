"""The folder that starts with a double click: what needs no build (tests/full/folder.py does)."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest

from tests.full import folder
from tests.test_layers import FILES

ROOT = Path(__file__).parents[1]


@pytest.mark.parametrize("system", ["linux", "darwin", "win32"])
def test_what_the_program_reads_is_put_in(system: str) -> None:
    words = folder.options(system)
    pairs = list(pairwise(words))
    assert ("--collect-data", "telemetry") in pairs  # guide, templates, vocabulary, licence
    assert ("--collect-submodules", "telemetry") in pairs  # which it loads by name
    assert ("--copy-metadata", "busbook") in pairs  # its version
    assert ("--noconsole" in words) == (system == "win32")


def test_nothing_that_the_program_imports_is_left_out() -> None:
    wanted = set()
    for path in FILES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                wanted |= {alias.name for alias in node.names}
            elif isinstance(node, ast.ImportFrom):
                wanted |= {f"{node.module}.{alias.name}" for alias in node.names}
    # Only a command with --scheduler asks for Dask, and the page is none.
    asked = {name for name in wanted if name.split(".")[0] not in ("dask", "distributed")}
    for module in folder.LEFT_OUT:
        assert not [name for name in asked if f"{name}.".startswith(f"{module}.")], module


def test_the_start_file_tells_what_stops_it(tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    (other / "x.txt").write_text("x")
    start = tmp_path / "start.py"
    start.write_text(folder.START, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, start, "--book", other],
        env={
            **{k: v for k, v in os.environ.items() if k != "XDG_CONFIG_HOME"},
            "HOME": str(tmp_path),
            "APPDATA": str(tmp_path),
            "PYTHONPATH": str(ROOT),
            "MPLCONFIGDIR": str(tmp_path / "fonts"),
            "BROWSER": "true",
        },
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout) == (2, ""), done.stderr
    (told,) = tmp_path.rglob("busbook-page.txt")
    assert "this folder is no logbook" in told.read_text(encoding="utf-8")


@pytest.mark.parametrize("system", ["linux", "darwin", "win32"])
def test_it_says_what_a_stranger_should_know(tmp_path: Path, monkeypatch, system: str) -> None:
    monkeypatch.setattr(sys, "platform", system)
    folder.write_readme(tmp_path, "1.2.3", ["    numpy 2: BSD"])
    text = (tmp_path / "README.txt").read_text(encoding="utf-8")
    for words in ("busbook 1.2.3", "Not signed", "busbook-page.txt", "numpy 2", "data sheets"):
        assert words in text
    assert max(map(len, text.splitlines())) <= 84


def test_licences_of_all_that_is_inside_are_kept(tmp_path: Path) -> None:
    info = tmp_path / "site" / "thing-1.0.dist-info"
    (info / "licenses").mkdir(parents=True)
    (info / "METADATA").write_text("Name: thing\nVersion: 1.0\nLicense-Expression: MIT\n")
    (info / "licenses" / "LICENSE.txt").write_text("You may.")
    (info / "RECORD").write_text(
        "thing-1.0.dist-info/METADATA,,\nthing-1.0.dist-info/licenses/LICENSE.txt,,\n"
    )
    (tmp_path / "inside").mkdir()
    (tmp_path / "inside" / "libz.so.1").write_bytes(b"")
    listed = folder.kept_licences(tmp_path / "licences", tmp_path / "site", tmp_path / "inside")
    assert "    thing 1.0: MIT" in listed
    assert listed[-1] == "    libz.so.1"
    assert "You may." in (tmp_path / "licences" / "thing.txt").read_text()
    assert "PYTHON" in (tmp_path / "licences" / "Python.txt").read_text()
