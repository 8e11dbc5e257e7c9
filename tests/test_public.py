"""The public names: there, lazy, and never hidden by a module of the same name."""

from __future__ import annotations

import importlib
import subprocess
import sys
from pathlib import Path

import pytest

import telemetry

PACKAGE = Path(telemetry.__file__).parent


@pytest.mark.parametrize("name", telemetry.__all__)
def test_every_public_name_is_there_and_documented(name: str) -> None:
    assert (getattr(telemetry, name).__doc__ or "").strip()


def test_no_module_hides_a_public_name() -> None:
    """Importing telemetry.x sets the attribute x of the package, whatever it was before."""
    modules = {p.name.removesuffix(".py") for p in PACKAGE.iterdir()}
    assert not modules & set(telemetry.__all__)


def test_functions_stay_functions_whatever_was_imported() -> None:
    for module in ("telemetry.app.pipeline", "telemetry.app.histories"):
        importlib.import_module(module)
    assert callable(telemetry.review)
    assert callable(telemetry.history)
    assert callable(telemetry.read_log)


def test_the_package_itself_imports_no_heavy_library() -> None:
    code = (
        "import sys, telemetry; dir(telemetry);"
        "print([m for m in ('pandas', 'numpy', 'pyarrow', 'matplotlib') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        cwd=PACKAGE.parent,
    )
    assert done.stdout.strip() == "[]"
