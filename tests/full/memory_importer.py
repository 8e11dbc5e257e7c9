"""Peak memory of reading a 500 MB log: it must stay under five times the file's size.

    python tests/full/memory_importer.py [--megabytes 500]

Reads in a process of its own and prints the peak; exits with 1 above the limit. Linux and macOS
(the peak is asked of the system).
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

LIMIT = 5.0
_READ = """
import resource, sys
from telemetry import read_log
log = read_log(sys.argv[1])
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(peak * (1 if sys.platform == "darwin" else 1024), len(log.frame), len(log.frame.columns),
      log.provenance.rows_refused)
"""


def make(path: Path, megabytes: int, *, broken: bool) -> None:
    """An invented log of 24 columns; ``broken``: with rows that need repair."""
    rng = np.random.default_rng(2)
    names = ["Zeit [s]", *(f"Knoten {i // 2 + 1} {('Spannung [V]', 'Strom [A]')[i % 2]}"
                           for i in range(23))]  # fmt: skip
    block = np.char.mod("%.3f", rng.gamma(3.0, 2.0, (20_000, 23)))
    rows = [";".join(r).replace(".", ",") for r in block.tolist()]
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(";".join(names) + "\n")
        number = 0
        while file.tell() < megabytes * 1_000_000:
            for row in rows:
                file.write(f"{number / 10:.1f};".replace(".", ",") + row + "\n")
                number += 1
            if broken:
                file.write("# a remark\n1;2;3\n")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--megabytes", type=int, default=500)
    args = parser.parse_args()
    worst = 0.0
    with tempfile.TemporaryDirectory() as folder:
        for broken in (False, True):
            path = Path(folder) / "log.csv"
            make(path, args.megabytes, broken=broken)
            size = path.stat().st_size
            done = subprocess.run(
                [sys.executable, "-c", _READ, str(path)], capture_output=True, text=True, check=True
            )
            peak, rows, columns, refused = map(int, done.stdout.split())
            worst = max(worst, peak / size)
            print(
                f"{size / 1e6:,.0f} MB, {rows:,} rows, {columns} columns, {refused} refused: "
                f"peak {peak / 1e6:,.0f} MB, {peak / size:.2f} times the file"
            )
    return 0 if worst < LIMIT else 1


if __name__ == "__main__":
    raise SystemExit(main())
