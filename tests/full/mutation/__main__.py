"""Mutation run: does a test notice a wrong sign, bound, constant or condition?

Draws a seeded sample of mutants of telemetry/numerics, detect, measure, circuit, trends, checks,
importer, book, report and cli, makes each in a copy of the tree, and runs the tests that reach the
changed line, quickest first. A mutant is killed when one fails or when they run many times longer
than they should. Before that, one run of the tests under coverage tells which test reaches which
line, and how long it takes. Results: tests/full/MUTATION.md.

    python -m tests.full.mutation --sample 60 --seed 1

takes hours; ``--only report`` runs one package with the tests that may meet it, ``--map DIR``
keeps what the run under coverage found for the next call. Survivors are printed with file, line and
change: each is a test that is missing or a change that makes no difference (``EQUIVALENT`` lists
those that were looked at, with the reason). While a test is written, one module against the tests
named takes minutes, as every mutant meets all of them and nothing is run under coverage:

    python -m tests.full.mutation --file telemetry/detect/sags.py tests/detect/test_events.py

Needs the extra ``full`` (coverage) and a system that can fork.
"""

from __future__ import annotations

import argparse
import importlib
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from itertools import chain, zip_longest
from pathlib import Path

from statsmodels.stats.proportion import proportion_confint

from tests.full.mutation.equivalent import EQUIVALENT
from tests.full.mutation.killing import HEAVY, Rounds, judge, killed
from tests.full.mutation.meeting import (
    PACKAGES,
    map_tests,
    reaching,
    tests_for,
    tests_of,
)
from tests.full.mutation.mutants import Mutant, function_at, sample

ROOT = Path(__file__).parents[3]
SAME, DEAD = "no difference", "killed"


def copy_tree(tree: Path) -> None:
    """What the tests need, where mutants are made."""
    for name in ("telemetry", "tests", "sample_logs", "notebooks"):
        shutil.copytree(ROOT / name, tree / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
        shutil.copy(ROOT / name, tree / name)


def meeting(tree: Path, given: argparse.Namespace) -> Callable[[Mutant], Rounds]:
    """Which tests each mutant meets; ends the run where they fail without any change."""
    begun = time.monotonic()
    if given.tests:
        quick = given.tests
    else:
        packages = given.only or [path.split("/")[1] for path in given.file or ()] or PACKAGES
        found = map_tests(tree, tests_of(packages), given.map)
        seconds, reach = found["seconds"], reaching(found)
        quick = sorted(seconds, key=lambda t: seconds[t])[:100]
    if killed(tree, quick, 60.0):
        sys.exit("the tests fail without any change")
    if given.tests:
        named = [(given.tests, time.monotonic() - begun)]
        return lambda _: named
    return lambda mutant: tests_for(mutant, tree, seconds, reach)


def fates(
    tree: Path, mutants: Iterable[Mutant], meets: Callable[[Mutant], Rounds], until: float
) -> dict[Mutant, str]:
    """What became of each mutant, printed as it is known; none is begun after ``until``."""
    found: dict[Mutant, str] = {}
    for mutant in mutants:
        if time.monotonic() > until:
            break
        begun = time.monotonic()
        inside = function_at(tree / mutant.path, mutant.line)
        same = (mutant.path, inside, mutant.before, mutant.after) in EQUIVALENT
        found[mutant] = SAME if same else judge(mutant, tree, meets(mutant))
        took = time.monotonic() - begun
        print(f"{found[mutant]:14s} {took:5.1f} s  {mutant.words}", flush=True)
    return found


def table(counts: Mapping[str, Counter[str]]) -> str:
    """Counts by place; shares with Wilson's 95 % interval."""
    rows = [
        "| package | mutants | no difference | killed | not killed | killed of the rest |",
        "|---|---|---|---|---|---|",
    ]
    for place, count in [*counts.items(), ("all", sum(counts.values(), Counter()))]:
        n, same, dead = count.total(), count[SAME], count[DEAD]
        low, high = proportion_confint(dead, max(n - same, 1), method="wilson")
        share = f"{100 * dead / max(n - same, 1):.0f} % ({100 * low:.0f} to {100 * high:.0f})"
        rows.append(f"| {place} | {n} | {same} | {dead} | {n - same - dead} | {share} |")
    return "\n".join(rows)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sample", type=int, default=60, help="mutants of each package")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=PACKAGES, action="append")
    parser.add_argument("--file", action="append", help="one module, as telemetry/detect/sags.py")
    parser.add_argument("tests", nargs="*", help="every mutant meets these, and no others")
    parser.add_argument("--minutes", type=float, default=600, help="begin no mutant after these")
    parser.add_argument(
        "--map", type=Path, help="keep in this folder which test reaches which line"
    )
    given = parser.parse_args()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit("stopped"))
    until = time.monotonic() + 60 * given.minutes
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder)
        copy_tree(tree)
        for name in HEAVY:
            importlib.import_module(name)
        meets = meeting(tree, given)
        drawn = {
            place: sample(tree, place, given.sample, given.seed)
            for place in given.file or given.only or PACKAGES
        }
        # By turns, so that a run that is stopped early has something of each.
        turns = chain.from_iterable(zip_longest(*drawn.values()))
        found = fates(tree, filter(None, turns), meets, until)
    counts = {place: Counter(found[m] for m in some if m in found) for place, some in drawn.items()}
    print(f"\n{table(counts)}\n\nNot killed:")
    print("\n".join(f"{fate}: {m.words}" for m, fate in found.items() if fate not in (SAME, DEAD)))


if __name__ == "__main__":
    main()
