"""The command in a process of its own: streams, exit status, consoles that cannot show a letter."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from functools import partial

import pytest


def test_streams_and_status(process, log, tmp_path) -> None:
    bad = tmp_path / "empty.csv"
    bad.touch()
    done = process("review", log, bad, "--json")
    assert done.returncode == 2
    document = json.loads(done.stdout)
    assert (len(document["reviews"]), len(document["errors"])) == (1, 1)
    assert done.stderr.splitlines()[:2] == [f"1/2 {log}", f"2/2 {bad}"]
    assert done.stderr.splitlines()[2] == document["errors"][0]["message"]


def test_the_level_is_the_status_and_no_library_warns_the_user(process, faulty, tmp_path) -> None:
    out = ("--out", tmp_path / "out", "--format", "html,pdf")
    done = process("review", faulty, *out, "--fail-on", "ground")
    assert done.returncode == 1
    for line in done.stderr.splitlines():
        assert line.startswith("wrote ") or "font cache" in line, line


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_a_console_that_lacks_a_letter(process, tmp_path, log_text, encoding) -> None:
    path = tmp_path / "Höhenruder ≥ 東.csv"
    path.write_text(log_text.replace("Left wing", "Fläche 東"), encoding="utf-8")
    done = process("review", path, env={"PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"})
    assert done.returncode == 0
    assert "NOTHING FOUND" in done.stdout
    listed = process("columns", path, env={"PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"})
    assert listed.returncode == 0


@pytest.mark.skipif(sys.platform == "win32", reason="names of files are text on Windows")
def test_a_file_name_that_is_no_text(process, tmp_path, log_text) -> None:
    path = os.fsencode(tmp_path) + b"/\xff\xfe.csv"
    try:
        with open(path, "w") as file:  # noqa: PTH123 - a name of bytes
            file.write(log_text)
    except OSError:
        pytest.skip("this file system takes names of text only")
    done = process("review", os.fsdecode(path), "--out", tmp_path / "out", "--json")
    assert done.returncode == 0
    json.loads(done.stdout)
    assert len(list((tmp_path / "out").iterdir())) == 1


@pytest.mark.skipif(sys.platform == "win32", reason="a closed pipe is told otherwise on Windows")
def test_a_pager_that_is_quit(log) -> None:
    done = subprocess.run(
        f'"{sys.executable}" -m telemetry review "{log}" "{log}" | head -n 1',
        shell=True, capture_output=True, text=True, cwd=os.getcwd(), check=False,  # noqa: PTH109
    )  # fmt: skip
    assert done.stderr == ""
    assert done.stdout.startswith("====")


@pytest.mark.skipif(sys.platform == "win32", reason="signals differ on Windows")
def test_stopped_by_hand(tmp_path) -> None:
    child = subprocess.Popen(
        [sys.executable, "-m", "telemetry", "demo", str(tmp_path / "season")],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        # Tests that run in the background of a shell hand down that they ignore it.
        preexec_fn=partial(signal.signal, signal.SIGINT, signal.SIG_DFL),
    )  # fmt: skip
    first = tmp_path / "season" / "tern-bench-stir.csv"
    for _ in range(600):
        if first.exists():
            break
        time.sleep(0.05)
    child.send_signal(signal.SIGINT)
    stdout, stderr = child.communicate(timeout=60)
    assert child.returncode == 130
    assert stdout == ""
    assert stderr == "Stopped; the files already written are whole.\n"
    assert not list(tmp_path.rglob("*.part"))


@pytest.mark.parametrize("said", [None, "3"])
def test_linear_algebra_begins_one_thread_unless_told_otherwise(said: str | None) -> None:
    code = (
        "import os; from telemetry.cli import main; main(['guide'], standalone_mode=False);"
        "print(os.environ['OPENBLAS_NUM_THREADS'], os.environ.get('OMP_NUM_THREADS'))"
    )
    kept = {k: v for k, v in os.environ.items() if not k.endswith("_THREADS")}
    told = kept if said is None else {**kept, "OPENBLAS_NUM_THREADS": said}
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=told
    )
    assert done.stdout.splitlines()[-1] == f"{said or 1} None"
