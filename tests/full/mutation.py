"""Mutation run over the numerical packages: does a test notice a wrong sign, bound or constant?

Draws a seeded sample of mutants of telemetry/numerics, detect, measure, circuit, trends and
checks, makes each in a copy of the tree, and runs the tests that reach the changed line, quickest
first. A mutant is killed when one fails or when they run many times longer than they should.
Before that, one run of the tests under coverage tells which test reaches which line, and how long
it takes.

    python tests/full/mutation.py --sample 60 --seed 1

takes about an hour; ``--only numerics`` runs one package, ``--map FILE`` keeps what the run under
coverage found for the next call. Survivors are printed with file, line and change: each is a test
that is missing or a change that makes no difference (``EQUIVALENT`` lists those that were looked
at, with the reason). While a test is written, one module against the tests named takes minutes, as
every mutant meets all of them and nothing is run under coverage:

    python tests/full/mutation.py --file telemetry/detect/sags.py tests/detect/test_events.py

Needs the extra ``full`` (coverage) and a system that can fork.
"""

from __future__ import annotations

import argparse
import ast
import copy
import importlib
import json
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product, zip_longest
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
PACKAGES = ("numerics", "detect", "measure", "circuit", "trends", "checks")
TESTS = [f"tests/{package}" for package in PACKAGES]
TESTS += [
    f"tests/{name}.py"
    for name in (
        "test_cut_logs",
        "test_findings",
        "test_findings_packs",
        "test_findings_voltage",
        "test_limits",
    )
]
# A package's own tests come first, then others that reach the line; of each the quickest first, in
# rounds of as many as take this long together (under coverage); the rest is left out.
ROUNDS_S = (10.0, 50.0)
# A mutant may ask for memory without end.
_MEMORY = 6 << 30
PYTEST = ["-x", "-q", "-p", "no:xdist", "-p", "no:benchmark"]
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

COMPARE: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}
NAMES = {
    "min": "max",
    "any": "all",
    "minimum": "maximum",
    "nanmin": "nanmax",
    "floor": "ceil",
    "argmin": "argmax",
}
NAMES |= {other: name for name, other in NAMES.items()}

# Looked at by hand: changes that no input can show. (file, function, source before, after): reason
EQUIVALENT: dict[tuple[str, str, str, str], str] = {
    (
        "telemetry/numerics/statistics/robust.py",
        "mann_kendall",
        "s == 0 or variance == 0",
        "s == 0 and variance == 0",
    ): "with a sum of 0 the score is 0 anyway, and where all are tied it is 0",
    (
        "telemetry/numerics/attribution.py",
        "attribute",
        "True",
        "False",
    ): "matrices and right sides of the same draws",
    (
        "telemetry/numerics/sampling.py",
        "update_samples",
        "1.0",
        "0.5",
    ): "the first row of a stretch is taken, and no other, with half a sample as with one",
    (
        "telemetry/detect/activity.py",
        "_drawn",
        "0.0",
        "-1.0",
    ): "the greater of it and what is never below 0 counts",
    (
        "telemetry/detect/sags.py",
        "_under",
        "0.0",
        "-1.0",
    ): "no margin and no step: the greater of it and what is never below 0 counts",
    (
        "telemetry/detect/spikes.py",
        "spike_score",
        "0.0",
        "-1.0",
    ): "a least deviation: the greater of it and what is never below 0 counts",
    (
        "telemetry/trends/evidence.py",
        "_is_sudden",
        "found.change > 0",
        "found.change >= 0",
    ): "the largest step in values that are not all equal is not 0",
    (
        "telemetry/numerics/attribution.py",
        "_closest",
        "like[i, j] > best",
        "like[i, j] >= best",
    ): "of two pairs exactly as like either may be put together first",
    (
        "telemetry/measure/packs.py",
        "pack_outs",
        "True",
        "False",
    ): "a row of shares for each pack, made one line before",
    (
        "telemetry/measure/packs.py",
        "pack_shares",
        "True",
        "False",
    ): "a row of means for each pack, made from the same columns",
    (
        "telemetry/measure/packs.py",
        "_silent",
        "0.0",
        "-1.0",
    ): "stands in for an interval where there is no current: both lie below the least second",
    (
        "telemetry/circuit/worst_cases.py",
        "_all_stalled",
        "servo.stall_a is None or servo.stall_v is None",
        "servo.stall_a is None and servo.stall_v is None",
    ): "a profile has both or neither",
    **{
        (
            "telemetry/measure/control_check.py",
            "_alike",
            f"_missed({which}) > _MISSED",
            f"_missed({which}) >= _MISSED",
        ): "0.999 less a ratio near 0.98 is a multiple of 2**-53, and 0.02 is none"
        for which in ("move, known[p]", "m, known[p]")
    },
    (
        "telemetry/measure/servos.py",
        "_shares",
        "True",
        "False",
    ): "an attribution has as many coefficients as groups",
    (
        "telemetry/circuit/measured.py",
        "_missed",
        "times > 1",
        "times >= 1",
    ): "the logarithm of 1 is 0",
    (
        "telemetry/numerics/statistics/robust.py",
        "_upper_tail",
        "2",
        "1",
    ): "a polynomial times or over the single term 1 stays as it is",
    **{
        (f"telemetry/checks/{module}.py", function, before, after): "the sign is 1 or -1"
        for module, function, before, after in (
            ("leads/across", "_offset", "sign > 0", "sign >= 0"),
            ("leads/across", "_offset_finding", "sign > 0", "sign >= 0"),
            ("servos/across", "_sensor_finding", "way > 0", "way >= 0"),
            ("servos/across", "_sensor_finding", "100.0 * way", "100.0 / way"),
            ("sensors/counters", "_counter", "100.0 * sign", "100.0 / sign"),
        )
    },
    **{
        (f"telemetry/{module}.py", function, "True", "False"): "both are of one length"
        for module, function in (
            ("checks/supply/dips", "_dips"),
            ("trends/features/windows", "full_stirs"),
        )
    },
    (
        "telemetry/checks/tree.py",
        "root_of",
        "0",
        "-1",
    ): "the first of one is the last",
    (
        "telemetry/trends/table.py",
        "_widths",
        "0",
        "1",
    ): "a stretch without a value tells as little as none",
    (
        "telemetry/trends/features/windows.py",
        "block_length",
        "0.0",
        "-1.0",
    ): "a stretch is a second at the least",
}


@dataclass(frozen=True)
class Mutant:
    """One change: ``before`` at a place of a file becomes ``after``."""

    path: str
    line: int
    column: int
    end_line: int
    end_column: int
    before: str
    after: str

    @property
    def words(self) -> str:
        return f"{self.path}:{self.line}: {self.before}  ->  {self.after}"

    def applied(self, text: str) -> str:
        """The file's text with the change; columns of the syntax tree count UTF-8 bytes."""
        lines = text.encode().splitlines(keepends=True)
        head = b"".join(lines[: self.line - 1]) + lines[self.line - 1][: self.column]
        tail = lines[self.end_line - 1][self.end_column :] + b"".join(lines[self.end_line :])
        return (head + f"({self.after})".encode() + tail).decode()


def mutants_of(path: Path, name: str) -> Iterator[Mutant]:
    """Every mutant of a file, in order."""
    text = path.read_text(encoding="utf-8")
    for node in _code(ast.parse(text)):
        where = _plain_test(node)
        changes = [ast.UnaryOp(ast.Not(), where)] if where is not None else _changes(node)
        for changed in changes:
            place = node if where is None else where
            assert isinstance(place, ast.expr)
            yield Mutant(
                name,
                place.lineno,
                place.col_offset,
                place.end_lineno or place.lineno,
                place.end_col_offset or 0,
                ast.unparse(place),
                ast.unparse(changed),
            )


def _code(tree: ast.AST) -> Iterator[ast.AST]:
    """Nodes that do something: no annotations, docstrings, decorators, messages, type checks."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.JoinedStr | ast.Raise | ast.Assert):
            continue
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            continue
        if isinstance(node, ast.ClassDef | ast.FunctionDef):
            for part in (*node.body, *([node.args] if hasattr(node, "args") else [])):
                yield from _code(part)
            continue
        if isinstance(node, ast.arg):
            continue
        if isinstance(node, ast.AnnAssign):
            if node.value is not None:
                yield node.value
                yield from _code(node.value)
            continue
        yield node
        yield from _code(node)


def _plain_test(node: ast.AST) -> ast.expr | None:
    """The condition of an if or while that is no comparison, to be negated as a whole."""
    if not isinstance(node, ast.If | ast.While):
        return None
    return node.test if isinstance(node.test, ast.Name | ast.Attribute | ast.Call) else None


def _changes(node: ast.AST) -> Iterator[ast.expr]:
    if isinstance(node, ast.Compare):
        for i, op in enumerate(node.ops):
            for other in COMPARE[type(op)]:
                made = copy.deepcopy(node)
                made.ops[i] = other()
                yield made
    elif isinstance(node, ast.BinOp) and type(node.op) in ARITHMETIC and not _is_type(node):
        made = copy.deepcopy(node)
        made.op = ARITHMETIC[type(node.op)]()
        yield made
    elif isinstance(node, ast.BoolOp):
        made = copy.deepcopy(node)
        made.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        yield made
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub | ast.Invert):
        yield node.operand
    elif isinstance(node, ast.Constant):
        yield from _constants(node.value)
    elif isinstance(node, ast.Name | ast.Attribute):
        name = node.id if isinstance(node, ast.Name) else node.attr
        if name in NAMES and isinstance(node.ctx, ast.Load):
            made = copy.deepcopy(node)
            setattr(made, "id" if isinstance(node, ast.Name) else "attr", NAMES[name])
            yield made
    elif isinstance(node, ast.IfExp):
        yield ast.IfExp(test=node.test, body=node.orelse, orelse=node.body)


def _is_type(node: ast.BinOp) -> bool:
    """``float | None`` is a type, not arithmetic."""
    return isinstance(node.right, ast.Constant) and node.right.value is None


def _constants(value: object) -> Iterator[ast.expr]:
    if isinstance(value, bool):
        yield ast.Constant(not value)
    elif isinstance(value, int):
        yield ast.Constant(value + 1)
        yield ast.Constant(value - 1)
    elif isinstance(value, float):
        yield ast.Constant(2.0 * value if value else 1.0)
        yield ast.Constant(0.5 * value if value else -1.0)


def sample(root: Path, place: str, n: int, seed: int) -> list[Mutant]:
    """A seeded sample of the mutants of a package or of one file, without repeats.

    Its beginning is a smaller sample of the same kind.
    """
    here = root / place
    if not here.is_file():
        here = root / "telemetry" / place
    every = [
        m
        for path in ([here] if here.is_file() else sorted(here.rglob("*.py")))
        for m in mutants_of(path, path.relative_to(root).as_posix())
    ]
    chosen = random.Random(f"{seed} {place}").sample(range(len(every)), min(n, len(every)))
    return [every[i] for i in chosen]


MAP = """
import json, os, sys
import coverage, pytest

cov = coverage.Coverage(source=["telemetry"], data_file=None)

class Watch:
    def __init__(self):
        self.seconds, self.files = {}, {}
        self.failed = []
    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_setup(self, item):
        cov.switch_context("file " + item.nodeid.split("::")[0])
        yield
        cov.switch_context("test " + item.nodeid)
    def pytest_runtest_logreport(self, report):
        self.seconds[report.nodeid] = self.seconds.get(report.nodeid, 0.0) + report.duration
        if report.failed:
            self.failed.append(report.nodeid)

watch = Watch()
cov.start()
status = pytest.main(["-q", "--no-header", *sys.argv[2:]], plugins=[watch])
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
"""


def map_tests(tree: Path, kept: Path | None) -> dict[str, Any]:
    """Seconds of each test, and the tests and fixtures that reach each line of each file."""
    if kept is not None and kept.exists():
        found: dict[str, Any] = json.loads(kept.read_text())
        return found
    (tree / "map_tests.py").write_text(MAP)
    out = tree / "map.json" if kept is None else kept.resolve()
    subprocess.run([sys.executable, "map_tests.py", out, *TESTS], cwd=tree, check=True, env=_env())
    found = json.loads(out.read_text())
    if found["failed"]:
        sys.exit(f"these fail without any change: {found['failed']}")
    return found


def reaching(found: dict[str, Any]) -> dict[tuple[str, int], list[str]]:
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


def _env() -> dict[str, str]:
    return {**os.environ, "PYTHONDONTWRITEBYTECODE": "1", "MPLBACKEND": "agg"}


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
        sys.path.insert(0, str(tree))
        return int(pytest.main([*PYTEST, *tests]))
    except BaseException:
        return 1


def tests_for(
    mutant: Mutant, tree: Path, seconds: dict[str, float], reach: dict[tuple[str, int], list[str]]
) -> list[tuple[list[str], float]]:
    """The rounds of tests a mutant meets, each with the seconds it should take; none: not reached.

    What would go over the last round is left out.
    """

    def order(test: str) -> float:
        return seconds.get(test, 0.0)

    lines = range(mutant.line, mutant.end_line + 1)
    every = {t for n in lines for t in reach.get((mutant.path, n), [])}
    if not every and not _function(tree / mutant.path, mutant.line):
        # A constant of the module: it concerns every test that runs anything of this file.
        every = {t for (p, _), ts in reach.items() if p == mutant.path for t in ts}
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


def judge(mutant: Mutant, tree: Path, rounds: list[tuple[list[str], float]]) -> str:
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


def _function(path: Path, line: int) -> str:
    """Name of the innermost function whose body has a line; "" for what runs at the import."""
    inside = [
        node
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef)
        and node.body[0].lineno <= line <= (node.end_lineno or line)
    ]
    return max(inside, key=lambda node: node.lineno).name if inside else ""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sample", type=int, default=60, help="mutants of each package")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=PACKAGES, action="append")
    parser.add_argument("--file", action="append", help="one module, as telemetry/detect/sags.py")
    parser.add_argument("tests", nargs="*", help="every mutant meets these, and no others")
    parser.add_argument("--minutes", type=float, default=600, help="begin no mutant after these")
    parser.add_argument("--map", type=Path, help="keep here which test reaches which line")
    given = parser.parse_args()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit("stopped"))
    counts: dict[str, Counter[str]] = {}
    left: list[str] = []
    until = time.monotonic() + 60 * given.minutes
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder)
        for name in ("telemetry", "tests", "sample_logs"):
            shutil.copytree(ROOT / name, tree / name, ignore=shutil.ignore_patterns("__pycache__"))
        for name in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
            shutil.copy(ROOT / name, tree / name)
        for name in HEAVY:
            importlib.import_module(name)
        if given.tests:
            seconds, reach, quick = {}, {}, given.tests
        else:
            found = map_tests(tree, given.map)
            seconds, reach = found["seconds"], reaching(found)
            quick = sorted(seconds, key=lambda t: seconds[t])[::5][:100]
        begun = time.monotonic()
        if killed(tree, quick, 60.0):
            sys.exit("the tests fail without any change")
        named = [(given.tests, time.monotonic() - begun)]
        places = given.file or given.only or PACKAGES
        drawn = {p: sample(tree, p, given.sample, given.seed) for p in places}
        counts = {package: Counter() for package in drawn}
        # By turns, so that a run that is stopped early has something of each.
        for turn in zip_longest(*(product([p], some) for p, some in drawn.items())):
            for package, mutant in filter(None, turn):
                if time.monotonic() > until:
                    break
                begun = time.monotonic()
                inside = _function(tree / mutant.path, mutant.line)
                same = (mutant.path, inside, mutant.before, mutant.after) in EQUIVALENT
                if same:
                    fate = "no difference"
                else:
                    meets = named if given.tests else tests_for(mutant, tree, seconds, reach)
                    fate = judge(mutant, tree, meets)
                counts[package][fate] += 1
                if fate not in ("killed", "no difference"):
                    left.append(f"{fate}: {mutant.words}")
                took = time.monotonic() - begun
                print(f"{fate:14s} {took:5.1f} s  {mutant.words}", flush=True)
    print("\n| package | mutants | no difference | killed | not killed | killed of the rest |")
    print("|---|---|---|---|---|---|")
    total: Counter[str] = sum(counts.values(), Counter())
    for package, count in [*counts.items(), ("all", total)]:
        n, same, dead = count.total(), count["no difference"], count["killed"]
        print(
            f"| {package} | {n} | {same} | {dead} | {n - same - dead} | "
            f"{100 * dead / max(n - same, 1):.0f} % |"
        )
    print("\nNot killed:")
    print("\n".join(left))


if __name__ == "__main__":
    main()
