"""Run every check of tests/OUTSIDE_CHECKS.md and print the page with its results filled in.

    python tests/full/outside_checks.py            # prints
    python tests/full/outside_checks.py --write    # puts the results into the page

Exit status 1 if a check failed or ran no test.
"""

from __future__ import annotations

import re
import sys
from collections import Counter, defaultdict
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "tests" / "OUTSIDE_CHECKS.md"
ROW = re.compile(r"^\|(?P<claim>.*)\|(?P<source>.*)\| `(?P<node>tests/\S+::\w+)` \|.*\|$")


class Results:
    """Counts the outcomes of each test function."""

    def __init__(self) -> None:
        self.counts: dict[str, Counter[str]] = defaultdict(Counter)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.when == "call" or report.outcome != "passed":
            self.counts[report.nodeid.split("[")[0]][report.outcome] += 1

    def words(self, node: str) -> str:
        """As "12 passed" or "3 passed, 1 skipped"; "not run" where no test ran."""
        count = self.counts[node]
        order = ("passed", "failed", "skipped")
        return ", ".join(f"{count[o]} {o}" for o in order if count[o]) or "not run"


def main() -> int:
    lines = PAGE.read_text(encoding="utf-8").splitlines()
    rows = {i: m for i, line in enumerate(lines) if (m := ROW.match(line)) is not None}
    nodes = list(dict.fromkeys(m["node"] for m in rows.values()))
    results = Results()
    sys.path.insert(0, str(ROOT))  # works from the sources as well as installed
    pytest.main(["-q", "--no-header", f"--rootdir={ROOT}", *nodes], plugins=[results])
    for i, m in rows.items():
        lines[i] = f"|{m['claim']}|{m['source']}| `{m['node']}` | {results.words(m['node'])} |"
    text = "\n".join(lines) + "\n"
    if "--write" in sys.argv[1:]:
        PAGE.write_text(text, encoding="utf-8")
    else:
        print(text)
    good = all(results.counts[n] and not results.counts[n]["failed"] for n in nodes)
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
