"""Run commands of the program one after the other in this process: a child of same_results.py.

A list of steps comes as JSON on stdin. A list of words is a command, run as ``python -m telemetry``
runs it; ``{"copy": [FROM, TO]}`` copies a file. What became of each goes to stdout as JSON, and
where the program was loaded from.
"""

from __future__ import annotations

import contextlib
import io
import json
import runpy
import shutil
import sys
import traceback
from typing import Any


def run(words: list[str]) -> dict[str, Any]:
    """Exit status, or "crash", and what was printed."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
    sys.argv = ["busbook", *words]
    status: int | str = 0
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            runpy.run_module("telemetry", run_name="__main__", alter_sys=True)
        except SystemExit as end:
            status = end.code if isinstance(end.code, int) else int(end.code is not None)
        except Exception:
            status = "crash"
            traceback.print_exc()
    return {"exit": status, "out": printed(out), "err": printed(err)}


def printed(stream: io.TextIOWrapper) -> str:
    stream.flush()
    return stream.buffer.getvalue().decode("utf-8")  # type: ignore[attr-defined]


def main() -> None:
    steps = json.load(sys.stdin)
    done: list[dict[str, Any]] = []
    for step in steps:
        if isinstance(step, dict):
            shutil.copyfile(*step["copy"])
            done.append({"exit": 0, "out": "", "err": ""})
        else:
            done.append(run(step))
    home = sys.modules["telemetry"].__file__
    json.dump({"home": home, "done": done}, sys.stdout)


if __name__ == "__main__":
    main()
