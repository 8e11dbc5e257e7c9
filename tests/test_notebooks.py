"""The notebooks run, from the public names alone, and show what stands in them.

After a change that alters what they show: ``python notebooks/run_notebooks.py``, and read them.
"""

from __future__ import annotations

import ast
import importlib.util
import re
import sys
from pathlib import Path
from types import ModuleType

import nbformat
import pytest

import telemetry

FOLDER = Path(__file__).parents[1] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
_NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?")

each = pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)


@pytest.fixture(scope="module")
def runner() -> ModuleType:
    spec = importlib.util.spec_from_file_location("runner", FOLDER / "run_notebooks.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def shown(cell) -> str:
    """What a cell shows as text."""
    return "\n".join(
        output.get("text", "") or output.get("data", {}).get("text/plain", "")
        for output in cell.outputs
    )


def pictures(cell) -> int:
    return sum("image/png" in output.get("data", {}) for output in cell.outputs)


def code(path: Path) -> list:
    return [c for c in nbformat.read(path, as_version=4).cells if c.cell_type == "code"]


def test_there_are_three() -> None:
    assert len(NOTEBOOKS) == 3


@each
def test_a_run_shows_what_stands_in_it(path, runner) -> None:
    """Words to the letter; numbers within 2 %: other versions of the libraries round otherwise."""
    fresh = runner.kept(runner.run(path))
    ran = [c for c in fresh.cells if c.cell_type == "code"]
    for number, (new, old) in enumerate(zip(ran, code(path), strict=True), 1):
        where = f"code cell {number} of {path.name}"
        streams = {o.get("name") for o in new.outputs}
        assert "stderr" not in streams, f"{where} warns: {shown(new)}"
        words, was = (" ".join(_NUMBER.sub("#", shown(c)).split()) for c in (new, old))
        assert words == was, where
        values, were = ([float(x) for x in _NUMBER.findall(shown(c))] for c in (new, old))
        assert values == pytest.approx(were, rel=0.02, abs=0.015), where
        assert pictures(new) == pictures(old), where


@each
def test_it_is_small_and_complete(path) -> None:
    assert path.stat().st_size < 200_000
    for cell in code(path):
        assert cell.execution_count is not None
        assert all(o.output_type != "error" for o in cell.outputs)


@each
def test_it_says_that_its_data_is_invented(path) -> None:
    cells = nbformat.read(path, as_version=4).cells
    first = next(c.source for c in cells if c.cell_type == "markdown")
    assert re.search(r"\*\*.*\binvented\b.*\*\*", first)


@each
def test_it_uses_public_names_alone(path) -> None:
    for cell in code(path):
        source = "\n".join(x for x in cell.source.splitlines() if not x.startswith("%"))
        for node in ast.walk(ast.parse(source)):
            if isinstance(node, ast.Import):
                assert not [a.name for a in node.names if a.name.startswith("telemetry.")]
            elif isinstance(node, ast.ImportFrom):
                assert not (node.module or "").startswith("telemetry")
            elif isinstance(node, ast.Attribute):
                assert not node.attr.startswith("_")
                if isinstance(node.value, ast.Name) and node.value.id == "telemetry":
                    assert node.attr in telemetry.__all__


def test_the_kernel_runs_in_this_python(runner, tmp_path) -> None:
    """Else the notebooks would be run by another version, against other libraries."""
    notebook = nbformat.v4.new_notebook(
        cells=[
            nbformat.v4.new_code_cell("import sys, telemetry"),
            nbformat.v4.new_code_cell("print(sys.executable, telemetry.__file__, sep='|')"),
        ]
    )
    nbformat.write(notebook, tmp_path / "a.ipynb")
    ran = runner.run(tmp_path / "a.ipynb")
    python, package = shown(ran.cells[1]).strip().split("|")
    assert Path(python) == Path(sys.executable)
    assert Path(package) == Path(telemetry.__file__)
