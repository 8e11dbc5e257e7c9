from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.conftest import text_of

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("module", ["terminal", "json", "writing"])
def test_plain_outputs_do_without_the_drawing_library(module: str) -> None:
    """The summary on the screen must not wait for a library that it does not use."""
    code = (
        f"import sys, telemetry.report.writers.{module}; "
        "print([m for m in ('matplotlib', 'jinja2') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("more", [[], ["--json"]])
def test_a_review_without_pictures_loads_nothing_that_it_does_not_use(
    more: list[str], tmp_path: Path
) -> None:
    """Neither what draws nor the whole of scipy, each of which takes as long as the review."""
    path = tmp_path / "log.csv"
    path.write_text(text_of(seed=7))
    code = (
        "import sys; from telemetry.cli import main; main(sys.argv[1:], standalone_mode=False);"
        "unused = ('matplotlib', 'jinja2', 'starlette', 'scipy.signal', 'scipy.stats',"
        " 'scipy.interpolate', 'scipy.optimize', 'pyarrow.parquet', 'webbrowser');"
        "print([m for m in unused if m in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "review", path, *more],
        capture_output=True, text=True, check=True, cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT), "HOME": str(tmp_path)},
    )  # fmt: skip
    assert done.stderr.splitlines()[-1] == "[]"
    assert done.stdout.strip()
