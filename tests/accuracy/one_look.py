"""What an expert sees at one look in one log: how often it is found, and healthy logs accused.

    python tests/accuracy/one_look.py [--healthy 480] [--faults 40] [--kinds stall short,...]
                                      [--seed 300000] [--workers 2]

Logs of ``tests/simulated/scenes.py``, a second physics that shares nothing with the project's
simulator: random aircraft, sensors and sizes of faults, at 0.1, 0.2, 0.5 and 1 s in turn, reviewed
without a profile. "Found" is a finding at watch or above of servos or leads at the faulty place;
"silent" nothing at watch or above in the log; "elsewhere" such a finding at another place. No fault
is left out because it is too small to see. A healthy log is accused by any finding of servos or
leads; a low supply that truly was low is none. Intervals are Wilson's, 95 %.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import warnings
from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from statsmodels.stats.proportion import proportion_confint

sys.path.insert(0, str(Path(__file__).parents[2]))  # works from the sources as well as installed

from telemetry.app.pipeline import review
from telemetry.importer import read_log
from telemetry.results import Level
from tests.simulated.scenes import HEALTHY, LEAD_FAULTS, NODE_FAULTS, make

RATES_S = (0.1, 0.2, 0.5, 1.0)
OF_SERVOS_AND_LEADS = {
    *("servo-not-resting", "servo-current-rising", "servo-silent", "servo-heating"),
    *("branch-resistance-high", "branch-resistance-rising", "contact-intermittent"),
    "lead-undersized",
}


@dataclass(frozen=True, kw_only=True)
class Looked:
    """One log: its fault ("" for none), its rate, and what was told of it."""

    kind: str
    fault: str
    update_s: float
    seed: int
    found: bool
    silent: bool
    elsewhere: bool
    grounded: bool
    codes: tuple[str, ...]


def look(job: tuple[int, str, str, float]) -> Looked:
    """Make, write, read and review one log."""
    seed, kind, fault, update_s = job
    warnings.simplefilter("ignore")
    scene = make(seed, kind, fault, update_s=update_s)
    with tempfile.TemporaryDirectory() as folder:
        findings = review(read_log(scene.write(Path(folder) / "made.csv"))).findings
    told = [f for f in findings if f.level >= Level.WATCH]
    ours = [f for f in told if f.code in OF_SERVOS_AND_LEADS]
    return Looked(
        kind=kind,
        fault=fault,
        update_s=update_s,
        seed=seed,
        found=any(f.place == scene.where for f in ours),
        silent=not told,
        elsewhere=any(f.place != scene.where for f in ours),
        grounded=any(f.level is Level.GROUND for f in ours),
        codes=tuple(f.code for f in ours),
    )


def share(hits: int, of: int) -> str:
    """Share in % with its interval."""
    low, high = proportion_confint(hits, of, method="wilson")
    return f"{100 * hits / of:.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def report(looked: Iterable[Looked]) -> None:
    """Print the tables."""
    rows = list(looked)
    healthy = [x for x in rows if not x.fault]
    if healthy:
        print("| healthy, read every | n | accused | at ground |\n|---|---|---|---|")
        for rate in (*RATES_S, None):
            part = [x for x in healthy if rate in (x.update_s, None)]
            accused = sum(bool(x.codes) for x in part)
            name = "all" if rate is None else f"{rate:g} s"
            grounded = sum(x.grounded for x in part)
            print(f"| {name} | {len(part)} | {share(accused, len(part))} | {grounded} |")
        for x in healthy:
            if x.codes:
                print("accused:", x.kind, x.update_s, x.seed, *x.codes, file=sys.stderr)
    faults = list(dict.fromkeys(x.fault for x in rows if x.fault))
    if faults:
        print("\n| fault | n | found at its place | silent | elsewhere | codes |")
        print("|---|---|---|---|---|---|")
    for fault in faults:
        part = [x for x in rows if x.fault == fault]
        codes = Counter(c for x in part if x.found for c in x.codes).most_common(2)
        print(
            f"| {fault} | {len(part)} | {share(sum(x.found for x in part), len(part))} "
            f"| {sum(x.silent for x in part)} | {sum(x.elsewhere for x in part)} "
            f"| {', '.join(f'{c} {n}' for c, n in codes)} |"
        )
    print("\nfound by rate: ", end="")
    for rate in RATES_S if faults else ():
        part = [x for x in rows if x.fault and x.update_s == rate]
        print(f"{rate:g} s {share(sum(x.found for x in part), len(part))}; ", end="")
    print()


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--healthy", type=int, default=480)
    parser.add_argument("--faults", type=int, default=40)
    parser.add_argument("--kinds", default=",".join((*NODE_FAULTS, *LEAD_FAULTS)))
    parser.add_argument("--seed", type=int, default=300000)
    parser.add_argument("--workers", type=int, default=2)
    args = parser.parse_args()

    def jobs(fault: str, count: int, seed: int) -> list[tuple[int, str, str, float]]:
        every = len(HEALTHY)
        return [
            (seed + n, HEALTHY[n % every], fault, RATES_S[(n + n // every) % 4])
            for n in range(count)
        ]

    work = jobs("", args.healthy, args.seed)
    for k, fault in enumerate(args.kinds.split(",") if args.faults else ()):
        work += jobs(fault, args.faults, args.seed + 10000 * (k + 1))
    with ProcessPoolExecutor(args.workers) as pool:
        report(pool.map(look, work, chunksize=4))


if __name__ == "__main__":
    main()
