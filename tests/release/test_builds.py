"""The wheel and the source archive: what is in them, two builds are equal, the wheel works alone.

A clean environment with nothing but the declared dependencies is tests/full/installed.py.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from pathlib import Path

import pytest

from tests.release.builds import ELSEWHERE, built, made_strange, sha256

pytest.importorskip("hatchling", reason="the build tool is not here: it comes with [test]")

ROOT = Path(__file__).parents[2]
SOURCES = ROOT / "telemetry"
SAMPLE = ROOT / "sample_logs" / "tern-bench-stir.csv"
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
IN_THE_ARCHIVE = PROJECT["tool"]["hatch"]["build"]["targets"]["sdist"]["only-include"]


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    return built(ROOT, tmp_path_factory.mktemp("built"))


@pytest.fixture(scope="module")
def wheel(both: tuple[Path, Path]) -> Path:
    return both[0]


def test_every_source_and_template_is_in_it(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    for path in SOURCES.rglob("*"):
        if path.is_file() and "__pycache__" not in path.parts:
            assert path.relative_to(ROOT).as_posix() in names
    assert "telemetry/py.typed" in names
    assert any(n.startswith("telemetry/guide/") for n in names)
    assert any(n.endswith(".dist-info/licenses/telemetry/LICENSE") for n in names)
    assert not [n for n in names if n.startswith(("tests", "sample_logs", "notebooks"))]


def test_the_archive_holds_all_that_is_kept_under_version_control(both: tuple[Path, Path]) -> None:
    git = shutil.which("git")
    if git is None or not (ROOT / ".git").exists():
        pytest.skip("no version control here")
    listed = subprocess.run([git, "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True)
    kept = {name for name in listed.stdout.decode().split("\0") if (ROOT / name).is_file()}
    with tarfile.open(both[1]) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    assert kept <= names, sorted(kept - names)


def test_another_folder_time_owner_and_locale_give_equal_bytes(
    both: tuple[Path, Path], tmp_path: Path
) -> None:
    copy = tmp_path / "elsewhere"
    copy.mkdir()
    aside = shutil.ignore_patterns("__pycache__", ".hypothesis", ".benchmarks")
    for name in ("pyproject.toml", ".gitignore", *IN_THE_ARCHIVE):
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, copy / name, ignore=aside)
        else:
            shutil.copy(ROOT / name, copy / name)
    made_strange(copy)
    again = built(copy, tmp_path / "out", ELSEWHERE)
    assert [(p.name, sha256(p)) for p in again] == [(p.name, sha256(p)) for p in both]


def test_the_archive_gives_the_wheel_again(both: tuple[Path, Path], tmp_path: Path) -> None:
    with tarfile.open(both[1]) as archive:
        archive.extractall(tmp_path, filter="data")
    (folder,) = tmp_path.iterdir()
    wheel, archive_again = built(folder, tmp_path / "out")
    assert sha256(wheel) == sha256(both[0])
    assert sha256(archive_again) == sha256(both[1])


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
