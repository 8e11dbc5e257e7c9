from __future__ import annotations

import subprocess
import sys

import pytest


@pytest.mark.parametrize("module", ["terminal", "json", "writing"])
def test_plain_outputs_do_without_the_drawing_library(module: str) -> None:
    """The summary on the screen must not wait for a library that it does not use."""
    code = (
        f"import sys, telemetry.report.writers.{module}; "
        "print([m for m in ('matplotlib', 'jinja2') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
