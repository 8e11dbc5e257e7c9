"""No code from data, no network, nothing written but where it was asked for."""

from __future__ import annotations

import ast
import json
import os
import subprocess
import sys
from collections.abc import Collection
from pathlib import Path

import pytest

import telemetry

# Where the package lies: the sources, or what is installed.
ROOT = Path(telemetry.__file__).parents[1]
FILES = sorted((ROOT / "telemetry").rglob("*.py"))

# Libraries that run what they read, or that reach out of this process.
BARRED = {
    "pickle", "marshal", "shelve", "dill", "cloudpickle", "joblib", "yaml", "subprocess", "socket",
    "ssl", "http", "urllib.request", "ftplib", "smtplib", "xmlrpc", "requests", "httpx", "ctypes",
    "cffi", "code", "codeop", "runpy", "pty", "webbrowser", "tarfile",
}  # fmt: skip
# Where one of them is what the module is for, and why.
MEANT = {
    "telemetry/app/cluster/address.py": {"ssl"},  # certificates of a cluster that the user names
    "telemetry/cli/opening.py": {"webbrowser"},  # opens the page that the user asked for
    "telemetry/page/safety.py": {"http"},  # names of answers, and the cookie
    "telemetry/page/start/serving.py": {"http", "socket", "webbrowser"},  # the page's own server
}
CALLS = {"eval", "exec", "compile", "__import__", "breakpoint"}
METHODS = {
    "system", "popen", "startfile", "from_string", "read_pickle", "to_pickle", "deserialize",
    "load_module", "fork", "memmap",
    "extract", "extractall",  # a name inside an archive never reaches the file system
}  # fmt: skip


def suspicious(tree: ast.AST, meant: Collection[str] = ()) -> list[str]:
    barred = BARRED.difference(meant)
    found = []
    for node in ast.walk(tree):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [node.module or "", *(f"{node.module}.{a.name}" for a in node.names)]
        for name in names:
            if any(name == b or name.startswith(f"{b}.") for b in barred):
                found.append(f"line {node.lineno}: imports {name}")
        if isinstance(node, ast.Call):
            called = node.func
            if isinstance(called, ast.Name) and called.id in CALLS:
                found.append(f"line {node.lineno}: calls {called.id}")
            if isinstance(called, ast.Attribute):
                name = called.attr
                pandas_eval = name in ("eval", "query")
                spawns = name.startswith(("exec", "spawn")) and _of_os(called)
                if name in METHODS or pandas_eval or spawns:
                    found.append(f"line {node.lineno}: calls .{name}")
            for keyword in node.keywords:
                if keyword.arg in ("allow_pickle", "shell"):
                    found.append(f"line {node.lineno}: passes {keyword.arg}")
    return found


def _of_os(called: ast.Attribute) -> bool:
    return isinstance(called.value, ast.Name) and called.value.id == "os"


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_nothing_runs_what_it_reads(path: Path) -> None:
    meant = MEANT.get(path.relative_to(ROOT).as_posix(), set())
    assert suspicious(ast.parse(path.read_text(encoding="utf-8")), meant) == []


@pytest.mark.parametrize("file", MEANT)
def test_what_a_module_is_for_is_what_it_imports(file: str) -> None:
    found = suspicious(ast.parse((ROOT / file).read_text(encoding="utf-8")))
    assert all(any(f"imports {name}" in line for line in found) for name in MEANT[file])


@pytest.mark.parametrize(
    "text",
    [
        "import pickle", "from urllib import request", "import urllib.request", "eval('1')",
        "import os\nos.system('x')", "os.execv('x', [])", "numpy.load('x', allow_pickle=True)",
        "frame.query(x)", "import yaml", "environment.from_string(x)", "from socket import socket",
    ],
)  # fmt: skip
def test_the_look_for_it_finds_it(text: str) -> None:
    assert suspicious(ast.parse(text))


# Run in a process of its own: everything that Python tells of files written, sockets and programs.
WATCHED = r"""
import json, os, sys

seen = {"written": [], "reached": []}
ACTS = {
    "os.rename": (0, 1), "os.mkdir": (0,), "os.remove": (0,), "os.rmdir": (0,), "os.link": (0, 1),
    "os.symlink": (0, 1), "os.truncate": (0,), "os.chmod": (0,), "os.utime": (0,),
    "shutil.rmtree": (0,), "shutil.move": (0, 1), "tempfile.mkstemp": (0,),
    "tempfile.mkdtemp": (0,),
}
WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND


def hook(event, args):
    if event == "open":
        path, mode, flags = args
        if isinstance(path, int):
            return
        if (mode is not None and set(mode) & set("wxa+")) or (mode is None and flags & WRITES):
            seen["written"].append(os.path.abspath(os.fsdecode(path)))
    elif event in ACTS:
        for k in ACTS[event]:
            if isinstance(args[k], (str, bytes, os.PathLike)):
                seen["written"].append(os.path.abspath(os.fsdecode(args[k])))
    elif event.startswith(("socket.", "urllib.", "http.", "ftplib.", "smtplib.")) or event in (
        "subprocess.Popen", "os.system", "os.exec", "os.fork", "os.forkpty", "os.posix_spawn",
        "os.spawn", "os.startfile", "pickle.find_class", "webbrowser.open",
    ):
        seen["reached"].append(f"{event} {args!r}"[:200])


log, other, book, out = sys.argv[1:]
sys.addaudithook(hook)
from telemetry.cli import main

for words in (
    ["add", log, other, "--aircraft", "tern", "--book", book],
    ["note", "tern", "plug cleaned", "--kind", "repaired", "--place", "left wing", "--book", book],
    ["columns", log, "--save", os.path.join(out, "map.toml")],
    ["review", log, "--aircraft", "tern", "--book", book, "--out", out, "--format", "html,pdf"],
    ["flights", "tern", "--book", book],
    ["history", "tern", "--book", book, "--out", out, "--format", "html,pdf"],
    ["budget", "tern", "--book", book, "--out", out, "--format", "html,pdf"],
    ["export", "tern", "--book", book, "--to", os.path.join(out, "all.csv")],
    ["export", log, "--to", os.path.join(out, "one.parquet")],
    ["check-book", "--book", book],
):
    try:
        main(words, standalone_mode=False)
    except SystemExit as end:
        assert end.code in (0, None), (words, end.code)
print(json.dumps(seen))
"""


def test_no_network_no_program_and_no_file_but_where_it_was_asked_for(
    tmp_path: Path, log_lines: str
) -> None:
    import matplotlib as mpl
    import matplotlib.font_manager  # makes the list of fonts, once on a machine

    assert matplotlib.font_manager.fontManager is not None
    home, here, card = (tmp_path / name for name in ("home", "here", "card"))
    for folder in (home, here, card):
        folder.mkdir()
    (tmp_path / "out").mkdir()
    (card / "one.csv").write_text(log_lines)
    (card / "two.csv").write_text(log_lines.replace("8.0", "8.1"))
    before = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    allowed = [tmp_path / "book", tmp_path / "out"]
    env = os.environ | {
        "HOME": str(home),
        "USERPROFILE": str(home),
        "XDG_CONFIG_HOME": str(home),
        "APPDATA": str(home),
        "MPLCONFIGDIR": mpl.get_cachedir(),
        "PYTHONPATH": str(ROOT),
        "PYTHONDONTWRITEBYTECODE": "1",
    }
    done = subprocess.run(
        [sys.executable, "-c", WATCHED, card / "one.csv", card / "two.csv", *allowed],
        cwd=here, env=env, capture_output=True, text=True, encoding="utf-8", check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    seen = json.loads(done.stdout.splitlines()[-1])
    assert seen["reached"] == []
    assert len(seen["written"]) > 30, "the watch has seen the book and the reports being written"
    strange = {
        path
        for path in seen["written"]
        if path not in (os.devnull, mpl.get_cachedir())
        and not any(Path(path).is_relative_to(one) for one in allowed)
    }
    assert strange == set()
    # Libraries in C open files without telling Python: so also by what lies there afterwards.
    after = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    assert {p for p in after if not any(p.is_relative_to(one) for one in allowed)} == set(before)
    assert all(after[path] == data for path, data in before.items())
    made = {p.name for p in (tmp_path / "out").rglob("*") if p.is_file()}
    assert {"one.html", "one.pdf", "tern-history.html", "tern-budget.pdf", "all.csv"} <= made


@pytest.fixture(scope="module")
def log_lines() -> str:
    """A minute of an invented bus and wing with a stir, ten rows a second."""
    rows = ["Time [s],Bus U [V],Bus I [A],Left wing U [V],Left wing I [A]"]
    for k in range(600):
        amps = 0.3 if not 200 <= k < 320 else 2.5 + (k * 7 % 11 - 5) / 10
        bus, wing = 8.0 - 0.03 * amps, 7.99 - 0.06 * amps
        rows.append(f"{k / 10:.1f},{bus:.3f},{amps + 0.4:.2f},{wing:.3f},{amps:.2f}")
    return "\n".join(rows) + "\n"
