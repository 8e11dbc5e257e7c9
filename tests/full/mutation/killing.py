"""Whether a test notices: a mutant is made in a copy of the tree, and tests are run against it."""

from __future__ import annotations

import os
import resource
import signal
import sys
import time
from pathlib import Path

import pytest

from tests.full.mutation.mutants import Mutant

# Of tests, each with the seconds it should take.
Rounds = list[tuple[list[str], float]]
# A mutant may ask for memory without end.
_MEMORY = 6 << 30
PYTEST = ["-x", "-q", "-m", "not browser", "-p", "no:xdist", "-p", "no:benchmark"]
PYTEST += ["-W", "ignore::pytest.PytestAssertRewriteWarning"]  # for what is loaded beforehand
# Loaded once, before any mutant is made: most of what a run of pytest costs is importing these.
HEAVY = (
    "hypothesis.extra.numpy",
    "matplotlib.figure",
    "obspy.signal.trigger",
    "pandas",
    "pyarrow.csv",
    "pydantic",
    "pymannkendall",
    "scipy.optimize",
    "scipy.signal",
    "scipy.stats",
    "statsmodels.api",
    "thevenin",
)


def environment(tree: Path) -> dict[str, str]:
    """What a run of tests is given, so that a process that a test starts is of the tree too."""
    given = {"PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": "1", "MPLBACKEND": "agg"}
    return {**os.environ, **given}


def killed(tree: Path, tests: list[str], expected_s: float) -> bool:
    """Whether one of the tests fails, or they take far longer than they should."""
    child = os.fork()
    if child == 0:
        os._exit(_run(tree, tests))
    until = time.monotonic() + 120.0 + 10.0 * expected_s
    try:
        while time.monotonic() < until:
            done, status = os.waitpid(child, os.WNOHANG)
            if done:
                child = 0
                # 1: a test failed; 2 to 4: the mutant does not even import; a signal: it crashed.
                return os.waitstatus_to_exitcode(status) != 0
            time.sleep(0.05)
        return True
    finally:
        if child:  # a mutant may run for ever; it does not outlive this run
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)


def _run(tree: Path, tests: list[str]) -> int:
    """In the child: the tests of the tree, their output thrown away."""
    resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, _MEMORY))
    try:
        with open(os.devnull, "w") as nothing:  # noqa: PTH123 - the name of a device
            os.dup2(nothing.fileno(), 1)
            os.dup2(nothing.fileno(), 2)
        os.chdir(tree)
        os.environ.update(environment(tree))
        sys.path.insert(0, str(tree))
        for name in [n for n in sys.modules if n.split(".")[0] == "tests"]:
            del sys.modules[name]  # of this script, not of the tree
        return int(pytest.main([*PYTEST, *tests]))
    except BaseException:
        return 1


def judge(mutant: Mutant, tree: Path, rounds: Rounds) -> str:
    """ "killed", "survived" or "not reached"."""
    if not rounds:
        return "not reached"
    path = tree / mutant.path
    text = path.read_text(encoding="utf-8")
    path.write_text(mutant.applied(text), encoding="utf-8")
    try:
        dead = any(killed(tree, tests, expected_s) for tests, expected_s in rounds)
    finally:
        path.write_text(text, encoding="utf-8")
    return "killed" if dead else "survived"
