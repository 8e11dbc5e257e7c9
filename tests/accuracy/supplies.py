"""How often packs and regulators of a second physics are accused, and their faults found.

    python tests/accuracy/supplies.py [--healthy 8] [--faults 16] [--seed 990000] [--workers 2]

Flights of random packs, diodes, switches and regulators (``tests/simulated/supplies.py``), written
as CSV, read, and reviewed without a profile. Accused is a healthy flight with a finding on packs
or supply at watch or above; undervoltage and margins, which say what was read, do not count.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import warnings
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))  # works from the sources as well as installed

from telemetry.app.pipeline import review
from telemetry.importer import read_log
from telemetry.results import Level
from tests.simulated.supplies import FAULTS, HARMLESS, HEALTHY, make_supply

FOUND_BY = {
    "both weak": {"source-resistance-high"},
    "both cold": {"source-resistance-high"},
    "one weak": {"source-resistance-high"},
    "one faded": {"pack-weak"},
    "half charged": {"pack-low"},
    "cross charging": {"pack-low"},
    "lost in calm": {"pack-out"},
    "regulator limit": {"regulator-droop"},
    "regulator dropout": {"regulator-droop"},
    "regulator hot": {"regulator-droop"},
    "knee": {"pack-low"},
    "wing at zero": {"brownout"},
}
ACCUSING = {
    *("pack-low", "pack-out", "source-resistance-high", "regulator-droop", "switch-step"),
    *("sag-unexplained", "brownout", "pack-weak"),
}


def told(job: tuple[int, str]) -> dict[str, Level]:
    """The codes of one flight at watch or above, with their worst level."""
    seed, what = job
    kind, fault = (what, "") if what in HEALTHY else ("sound", what)
    with warnings.catch_warnings(), tempfile.TemporaryDirectory() as folder:
        warnings.simplefilter("ignore")
        scene = make_supply(seed, kind, fault)
        one = review(read_log(scene.write(Path(folder) / "log.csv")))
    out: dict[str, Level] = {}
    for f in one.findings:
        if f.level >= Level.WATCH:
            out[f.code] = max(f.level, out.get(f.code, f.level))
    return out


def main() -> None:
    """Run what is asked for and print the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--healthy", type=int, default=8, help="flights of each healthy kind")
    parser.add_argument("--faults", type=int, default=16, help="flights of each fault")
    parser.add_argument("--seed", type=int, default=990000)
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args()
    jobs = [(options.seed + n, k) for k in (*HEALTHY, *HARMLESS) for n in range(options.healthy)]
    jobs += [(options.seed + n, k) for k in FAULTS for n in range(options.faults)]
    with ProcessPoolExecutor(options.workers) as pool:
        results = list(zip(jobs, pool.map(told, jobs, chunksize=4), strict=True))
    print("| flights | n | found, or of sound ones accused | silent |\n|---|---|---|---|")
    for what in (*HEALTHY, *HARMLESS, *FAULTS):
        rows = [codes for (_, kind), codes in results if kind == what]
        wanted = FOUND_BY.get(what, ACCUSING)
        hits = sum(bool(wanted & set(codes)) for codes in rows)
        print(f"| {what} | {len(rows)} | {hits} | {sum(not codes for codes in rows)} |")


if __name__ == "__main__":
    main()
