"""The wheel that pip builds: what is in it, and that it works away from the sources.

Skipped, with the reason, where pip can't build (no network for the build's own requirements).
A clean environment with nothing but the declared dependencies is tests/full/installed.py.
"""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SOURCES = ROOT / "telemetry"
SAMPLE = ROOT / "sample_logs" / "tern-bench-stir.csv"


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    copy = folder / "sources"
    copy.mkdir()
    # A build leaves its traces beside the sources: let it do so in a copy.
    for name in ("pyproject.toml", "README.md"):
        (copy / name).write_bytes((ROOT / name).read_bytes())
    for path in SOURCES.rglob("*"):
        if path.is_file() and "__pycache__" not in path.parts:
            target = copy / path.relative_to(ROOT)
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(path.read_bytes())
    command = [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(folder), "."]
    built = subprocess.run(command, cwd=copy, capture_output=True, text=True, check=False)
    if built.returncode:
        if "No module named pip" in built.stderr:
            pytest.skip("no pip here")
        if "setuptools>=" in built.stderr and "No matching distribution" in built.stderr:
            pytest.skip("pip cannot fetch what the build needs")
        raise AssertionError(built.stderr)
    (path,) = folder.glob("busbook-*.whl")
    return path


def test_every_source_and_template_is_in_it(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    for path in SOURCES.rglob("*"):
        if path.is_file() and "__pycache__" not in path.parts:
            assert path.relative_to(ROOT).as_posix() in names
    assert "telemetry/py.typed" in names
    assert any(n.startswith("telemetry/guide/") for n in names)
    assert any(n.endswith(".dist-info/licenses/telemetry/LICENSE") for n in names)
    assert not [n for n in names if n.startswith(("tests", "sample_logs", "notebooks"))]


def test_it_works_away_from_the_sources(wheel: Path, tmp_path: Path) -> None:
    place = tmp_path / "installed"
    pip = [sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--target", str(place)]
    subprocess.run([*pip, str(wheel)], check=True, capture_output=True)
    environment = {**os.environ, "PYTHONPATH": str(place)}

    def run(*words: str) -> str:
        command = [sys.executable, *words]
        done = subprocess.run(
            command, cwd=tmp_path, env=environment, capture_output=True, text=True, check=True
        )
        return done.stdout

    where = run("-c", "import telemetry; print(telemetry.__file__)")
    assert Path(where.strip()).is_relative_to(place)
    version = run("-m", "telemetry", "--version").split()
    assert version[0] == "busbook"
    assert version[1] == wheel.name.split("-")[1]
    page = (SOURCES / "guide" / "findings.md").read_text(encoding="utf-8")
    assert run("-m", "telemetry", "guide", "findings") == page
    out = ("--out", "reports", "--format", "html,pdf")
    assert "bench recording" in run("-m", "telemetry", "review", str(SAMPLE), *out)
    written = sorted(p.name for p in (tmp_path / "reports").iterdir())
    assert written == ["tern-bench-stir.html", "tern-bench-stir.pdf"]
