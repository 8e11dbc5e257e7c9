"""Run the notebooks and keep what they show: ``python notebooks/run_notebooks.py``.

Needs the test extra (``pip install '.[test]'``). Pictures are kept with few colours, and nothing
is kept that tells when, where or by which versions they were run: the same code gives the same
files.
"""

from __future__ import annotations

import base64
import io
import os
import sys
import tempfile
from pathlib import Path

import nbformat
from nbclient import NotebookClient
from PIL import Image

ROOT = Path(__file__).parents[1]
NOTEBOOKS = tuple(sorted(Path(__file__).parent.glob("*.ipynb")))
_COLOURS = 48


def run(path: Path) -> nbformat.NotebookNode:
    """A notebook with the outputs of a run in its own folder; CellExecutionError if one fails."""
    notebook = nbformat.read(path, as_version=4)
    with tempfile.TemporaryDirectory() as own:
        # Neither the user's settings nor an installed copy of the package take part.
        outside = {
            "IPYTHONDIR": own,
            "JUPYTER_PREFER_ENV_PATH": "1",
            "JUPYTER_RUNTIME_DIR": own,
            "MPLCONFIGDIR": own,
            "PYTHONPATH": str(ROOT),
        }
        before = dict(os.environ)
        os.environ.update(outside)
        try:
            client = NotebookClient(
                notebook,
                timeout=300,
                kernel_name="python3",
                record_timing=False,
                resources={"metadata": {"path": str(path.parent)}},
            )
            client.execute()
        finally:
            os.environ.clear()
            os.environ.update(before)
    return notebook


def kept(notebook: nbformat.NotebookNode) -> nbformat.NotebookNode:
    """The same notebook with small outputs and without versions."""
    notebook.metadata = {
        "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
        "language_info": {"name": "python"},
    }
    for cell in notebook.cells:
        if cell.cell_type == "code":
            cell.outputs = _joined(cell.outputs)
        for output in cell.get("outputs", []):
            data = output.get("data", {})
            if "image/png" in data:
                data["image/png"] = _small(data["image/png"])
            output.get("metadata", {}).clear()
    return notebook


def _joined(outputs: list[nbformat.NotebookNode]) -> list[nbformat.NotebookNode]:
    """Printed lines as one output, however they happened to arrive."""
    out: list[nbformat.NotebookNode] = []
    for one in outputs:
        if out and one.output_type == "stream" and one.name == out[-1].get("name"):
            out[-1].text += one.text
        else:
            out.append(one)
    return out


def _small(picture: str) -> str:
    with Image.open(io.BytesIO(base64.b64decode(picture))) as image:
        few = image.convert("RGB").convert("P", palette=Image.Palette.ADAPTIVE, colors=_COLOURS)
    out = io.BytesIO()
    few.save(out, format="PNG", optimize=True)
    return base64.b64encode(out.getvalue()).decode("ascii")


def main() -> None:
    """Run all of them, or those named."""
    for path in [Path(name).resolve() for name in sys.argv[1:]] or NOTEBOOKS:
        nbformat.write(kept(run(path)), path)
        print(f"{path.name}: {path.stat().st_size / 1024:.0f} kB")


if __name__ == "__main__":
    main()
