"""The wheel away from the sources: what it needs, and the tests.

    python -m tests.full.installed [WHEEL] [--only TEST ...]

Builds the wheel where none is named. In one empty environment it stands with nothing but its
declared dependencies and reviews the sample logs. In another, that of ``.ci/locked.txt``, the tests
run with it from a folder without sources; left out are those of the sources themselves. Exits with
1 where anything is missing.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import venv
from pathlib import Path

from tests.release.builds import built

ROOT = Path(__file__).parents[2]
# What tests read besides the package.
_BESIDE = (
    "tests",
    "sample_logs",
    "notebooks",
    "pyproject.toml",
    "README.md",
    "DEVELOPERS.md",
    ".ci",
)
# The paths of README, what is built and what is held against another checkout: of the sources.
_OF_SOURCES = (
    "--ignore=tests/test_docs.py",
    "--ignore=tests/release/test_builds.py",
    "--deselect=tests/test_same_results.py::"
    "test_this_checkout_is_run_and_a_refused_log_kept_with_its_sentence",
)


def environment(folder: Path, *wanted: str | Path) -> Path:
    """An environment with what pip is told to install; its interpreter."""
    venv.create(folder, with_pip=True)
    python = folder / ("Scripts" if sys.platform == "win32" else "bin") / "python"
    subprocess.run([python, "-m", "pip", "install", "-q", *wanted], check=True)
    return python


def reviewed(wheel: Path, folder: Path) -> bool:
    """Whether the sample logs are reviewed with the declared dependencies alone."""
    python = environment(folder / "bare", wheel)
    review = [python.parent / "busbook", "review", ROOT / "sample_logs", "--out", "reports"]
    done = subprocess.run(review, cwd=folder, capture_output=True, text=True, check=False)
    pages = sorted(p.name for p in (folder / "reports").glob("*.html"))
    logs = list((ROOT / "sample_logs").glob("*.csv"))
    print(f"exit {done.returncode}, {len(pages)} pages of {len(logs)} sample logs", flush=True)
    print(done.stderr if done.returncode else "", end="", flush=True)
    return done.returncode == 0 and len(pages) >= len(logs)


def tested(wheel: Path, folder: Path, tests: list[str]) -> bool:
    """Whether the tests pass with the wheel, in the locked environment."""
    locked = ("--no-deps", "--require-hashes", "-r", ROOT / ".ci" / "locked.txt")
    python = environment(folder / "locked", *locked)
    subprocess.run([python, "-m", "pip", "install", "-q", "--no-deps", wheel], check=True)
    away = folder / "away"
    away.mkdir()
    for name in _BESIDE:
        if (ROOT / name).is_dir():
            aside = shutil.ignore_patterns("__pycache__")
            shutil.copytree(ROOT / name, away / name, ignore=aside)
        else:
            shutil.copy(ROOT / name, away / name)
    bare = {k: v for k, v in os.environ.items() if k != "PYTHONPATH"}
    code = "import telemetry; print(telemetry.__file__)"
    told = subprocess.run(
        [python, "-c", code], cwd=away, env=bare, capture_output=True, text=True, check=True
    )
    assert Path(told.stdout.strip()).is_relative_to(folder / "locked"), told.stdout
    command = [python, "-m", "pytest", "-q", "-n", "2", "--dist", "loadfile", *_OF_SOURCES]
    done = subprocess.run([*command, *tests], cwd=away, env=bare, check=False)
    return done.returncode == 0


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("wheel", type=Path, nargs="?", help="by default it is built")
    parser.add_argument("--only", nargs="+", default=["tests"], metavar="TEST")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name).resolve()
        wheel = given.wheel.resolve() if given.wheel else built(ROOT, folder / "built")[0]
        good = reviewed(wheel, folder) and tested(wheel, folder, given.only)
    return int(not good)


if __name__ == "__main__":
    raise SystemExit(main())
