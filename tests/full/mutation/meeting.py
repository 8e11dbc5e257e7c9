"""Which tests a mutant meets: those that reach its line, by one run under coverage."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from tests.full.mutation.killing import Rounds, environment
from tests.full.mutation.mutants import Mutant, function_at

# A mutant meets the tests of its package and of those that come after it in its row.
ROWS = (
    ("numerics", "detect", "measure", "circuit", "trends", "checks"),
    ("importer", "book"),
    ("report", "cli"),
)
PACKAGES = tuple(package for row in ROWS for package in row)
# A package's own tests come first, then others that reach the line; of each the quickest first, in
# rounds of as many as take this long together (of the processor, under coverage); the rest is left
# out.
ROUNDS_S = (10.0, 50.0)

# Seconds of the processor by test; by file and line the tests and fixtures that reach it.
Map = dict[str, Any]
MAP = """
import json, os, sys
import coverage, pytest

cov = coverage.Coverage(source=["telemetry"], data_file=None)

class Watch:
    def __init__(self):
        self.seconds, self.files = {}, {}
        self.failed = []
    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(self, item):
        # Of the processor, as the clock on the wall goes on while others are at work beside it.
        begun = sum(os.times()[:4])
        yield
        self.seconds[item.nodeid] = sum(os.times()[:4]) - begun
    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_setup(self, item):
        cov.switch_context("file " + item.nodeid.split("::")[0])
        yield
        cov.switch_context("test " + item.nodeid)
    def pytest_runtest_logreport(self, report):
        if report.failed:
            self.failed.append(report.nodeid)

# Processes that a test starts may import this file anew.
if __name__ == "__main__":
    watch = Watch()
    cov.start()
    status = pytest.main(["-q", "--no-header", "-m", "not browser", *sys.argv[2:]], plugins=[watch])
    cov.stop()
    data = cov.get_data()
    lines = {}
    here = os.path.realpath(".") + os.sep
    for path in data.measured_files():
        file = os.path.realpath(path).removeprefix(here).replace(os.sep, "/")
        for line, contexts in data.contexts_by_lineno(path).items():
            named = sorted(c for c in contexts if c)
            if named:
                lines.setdefault(file, {})[line] = named
    with open(sys.argv[1], "w") as out:
        json.dump({"seconds": watch.seconds, "lines": lines, "failed": watch.failed}, out)
    sys.exit(status)
"""


def tests_of(packages: Iterable[str]) -> list[str]:
    """Folders of the tests that mutants of these packages meet."""
    met = {p for row in ROWS for p in row for one in row[: row.index(p) + 1] if one in packages}
    return [f"tests/{package}" for package in PACKAGES if package in met]


def map_tests(tree: Path, folders: Iterable[str], kept: Path | None) -> Map:
    """Which test reaches which line, and how long it takes; one file for each folder of tests.

    What is kept is not made again: remove it where tests or what they reach have changed.
    """
    maps = tree / "maps" if kept is None else kept.resolve()
    maps.mkdir(exist_ok=True)
    (tree / "map_tests.py").write_text(MAP)
    found: Map = {"seconds": {}, "lines": defaultdict(lambda: defaultdict(list))}
    for folder in folders:
        out = maps / f"{Path(folder).name}.json"
        if not out.exists():
            command = [sys.executable, "map_tests.py", str(out), folder]
            status = subprocess.run(command, cwd=tree, env=environment(tree)).returncode
            if status:
                failed = json.loads(out.read_text())["failed"] if out.exists() else []
                out.unlink(missing_ok=True)
                sys.exit(f"{folder}: the tests fail without any change ({status}): {failed}")
        one = json.loads(out.read_text())
        found["seconds"] |= one["seconds"]
        for file, lines in one["lines"].items():
            for line, contexts in lines.items():
                found["lines"][file][line] += contexts
    return found


def reaching(found: Map) -> dict[tuple[str, int], list[str]]:
    """The tests that reach each line, quickest first."""
    seconds: dict[str, float] = found["seconds"]
    by_file: dict[str, list[str]] = defaultdict(list)
    for test in seconds:
        by_file[test.split("::")[0]].append(test)
    reach: dict[tuple[str, int], list[str]] = {}
    for file, lines in found["lines"].items():
        for line, contexts in lines.items():
            tests: set[str] = set()
            for context in contexts:
                kind, _, what = context.partition(" ")
                # What a fixture reaches concerns every test of that file.
                tests.update(by_file[what] if kind == "file" else [what])
            reach[file, int(line)] = sorted(tests, key=lambda t: seconds.get(t, 0.0))
    return reach


def readers(tree: Path, path: str) -> set[str]:
    """The files that import a module."""
    name = path.removesuffix(".py").replace("/", ".")
    return {
        file.relative_to(tree).as_posix()
        for file in (tree / "telemetry").rglob("*.py")
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom)
        if name in (node.module, *(f"{node.module}.{one.name}" for one in node.names))
    }


def tests_for(
    mutant: Mutant, tree: Path, seconds: dict[str, float], reach: dict[tuple[str, int], list[str]]
) -> Rounds:
    """The rounds of tests a mutant meets, each with the seconds it should take; none: not reached.

    What would go over the last round is left out.
    """

    def order(test: str) -> float:
        return seconds.get(test, 0.0)

    def of_files(paths: set[str]) -> set[str]:
        return {t for (p, _), ts in reach.items() if p in paths for t in ts}

    lines = range(mutant.line, mutant.end_line + 1)
    every = {t for n in lines for t in reach.get((mutant.path, n), [])}
    if not function_at(tree / mutant.path, mutant.line):
        # A constant of the module or a default, read once, by whichever test imports it first: it
        # concerns every test that runs anything of this file, or of those that read a mere table.
        every = of_files({mutant.path}) or of_files(readers(tree, mutant.path))
    own = f"tests/{mutant.path.split('/')[1]}/"
    tests = sorted(every, key=lambda t: (not t.startswith(own), order(t)))
    rounds = []
    for limit_s in ROUNDS_S:
        some, spent = [], 0.0
        for test in tests:
            # One that is too long by itself does not keep the quick ones after it out.
            if not some or spent + order(test) <= limit_s:
                some.append(test)
                spent += order(test)
        taken = set(some)
        tests = [t for t in tests if t not in taken]
        if some:
            rounds.append((some, spent))
    return rounds
