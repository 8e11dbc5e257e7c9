"""How soon faults are found across flights, and how often healthy seasons are accused.

    python tests/accuracy/season.py [--seasons 60] [--healthy 100] [--kinds servo-binding,...]
                                    [--light 400] [--seed 9000] [--workers 2] [--save FILE]

Seasons of 20 flights of random aircraft, sensors, dialects, pilots and weather; flight k is judged
from flights 1 to k. Every season goes the whole way: simulated, written as CSV, read, reviewed,
measured, judged. Three baselines on the nodes' stir current are set to the same rate of false
alarms on the seasons with such currents, and on ``--light`` seasons without the CSV besides. Faults
are counted from the flight in which they pass the level that the aims name; a miss counts as never;
any finding on any place before the onset, and any in a healthy season, is false. What a history
carries on of single flights' reviews is not counted here. Intervals are Wilson's, 95 %.

With ``--save`` outcomes are added to a file, one JSON line a season, and seasons already in it are
not run again, so that a long run can be broken off.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path

import numpy as np
from statsmodels.stats.proportion import proportion_confint

sys.path.insert(0, str(Path(__file__).parents[2]))  # works from the sources as well as installed

from season_rivals import RIVALS, found_by, threshold
from season_run import CODES, Outcome, run

from telemetry.simulate import FaultKind

LIGHT_KINDS = (FaultKind.SERVO_BINDING, FaultKind.SERVO_SILENT)


def main() -> None:
    """Run what is asked for and print the tables."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seasons", type=int, default=60, help="of each kind of fault")
    parser.add_argument("--healthy", type=int, default=100)
    parser.add_argument("--kinds", default=",".join(k.value for k in CODES))
    parser.add_argument("--light", type=int, default=400, help="healthy light seasons; 0 for none")
    parser.add_argument("--seed", type=int, default=9000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--save", type=Path)
    options = parser.parse_args()
    kinds = [FaultKind(k) for k in options.kinds.split(",") if k]
    wanted: list[tuple[FaultKind | None, int, str]] = []
    for n in range(max(options.seasons, options.healthy)):
        wanted += [(k, options.seed + n, "full") for k in kinds if n < options.seasons]
        wanted += [(None, options.seed + n, "full")] if n < options.healthy else []
    light_kinds = [k for k in LIGHT_KINDS if k in kinds]
    for n in range(options.light):
        wanted += [(k, options.seed + n, "light") for k in light_kinds if n < options.light // 4]
        wanted.append((None, options.seed + n, "light"))
    outcomes = collect(wanted, options.workers, options.save)
    print_tables(outcomes)


def collect(
    wanted: Sequence[tuple[FaultKind | None, int, str]], workers: int, save: Path | None
) -> list[Outcome]:
    """Outcomes of all seasons asked for, those of an earlier run from the file."""
    kept: dict[tuple[str, int, str], Outcome] = {}
    if save is not None and save.exists():
        for line in save.read_text(encoding="utf-8").splitlines():
            o = Outcome(**json.loads(line))
            kept[o.kind, o.seed, o.path] = o
    todo = [w for w in wanted if _key(*w) not in kept]
    with ProcessPoolExecutor(workers) as pool:
        jobs = {pool.submit(run, *w): w for w in todo}
        for done, job in enumerate(as_completed(jobs), 1):
            outcome = job.result()
            kept[_key(*jobs[job])] = outcome
            if save is not None:
                with save.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(outcome.document()) + "\n")
            print(f"\r{done} of {len(todo)} seasons", end="", file=sys.stderr, flush=True)
    return [kept[_key(*w)] for w in wanted]


def _key(kind: FaultKind | None, seed: int, path: str) -> tuple[str, int, str]:
    return "" if kind is None else kind.value, seed, path


def print_tables(outcomes: Sequence[Outcome]) -> None:
    """The tables of RESULTS.md."""
    full = [o for o in outcomes if o.path == "full"]
    healthy = [o for o in full if not o.kind]
    if healthy:
        print(f"\nHealthy seasons of 20 flights, all codes ({len(healthy)} seasons)\n")
        for level in ("watch", "ground"):
            hit = [o for o in healthy if any(_at_least(f[3], level) for f in o.before)]
            print(f"with a finding at {level} or above: {share(len(hit), len(healthy))}")
        codes: dict[str, int] = {}
        for o in healthy:
            for code in {f[1] for f in o.before}:
                codes[code] = codes.get(code, 0) + 1
        print("by code:", ", ".join(f"{c} {n}" for c, n in sorted(codes.items())) or "none")
    print("\nFaults, the whole way\n")
    print(
        "| fault | seasons | found | flights after it counts: median, 90 % | after onset: median "
        "| place right | servo right | false before | other place accused |"
    )
    print("|---|---|---|---|---|---|---|---|---|")
    for kind in CODES:
        rows = [o for o in full if o.kind == kind.value and o.counts and o.counts <= 20]
        if rows:
            print(_row(kind.value, rows))
    ways = {
        "The whole way, seasons with currents of the nodes": [o for o in full if _has_stirs(o)],
        "Currents of the nodes alone": [o for o in outcomes if o.path == "light"],
    }
    for title, rows in ways.items():
        if any(not o.kind for o in rows) and any(o.kind in LIGHT_KINDS for o in rows):
            _against_rivals(title, rows)


def _row(name: str, rows: Sequence[Outcome]) -> str:
    delays = [_delay(o.found, o.counts) for o in rows]
    onset = [_delay(o.found, o.onset) for o in rows]
    found = [o for o in rows if o.found is not None]
    named = [o for o in rows if o.servo_right is not None]
    return " | ".join(
        [
            f"| {name}",
            str(len(rows)),
            share(len(found), len(rows)),
            f"{_quantile(delays, 0.5)}, {_quantile(delays, 0.9)}",
            _quantile(onset, 0.5),
            share(sum(bool(o.first_place_right) for o in found), len(found)),
            share(sum(bool(o.servo_right) for o in named), len(named)) if named else "-",
            share(sum(bool(o.before) for o in rows), len(rows)),
            share(sum(bool(o.elsewhere) for o in rows), len(rows)) + " |",
        ]
    )


def _has_stirs(outcome: Outcome) -> bool:
    return any(v is not None for values in outcome.stirs.values() for v in values)


def _against_rivals(title: str, outcomes: Sequence[Outcome]) -> None:
    """The baselines on the same seasons, their thresholds from the healthy ones among them."""
    healthy = [o for o in outcomes if not o.kind]
    false = sum(bool(o.before) for o in healthy)
    print(f"\n{title}: {len(healthy)} healthy seasons\n")
    print(f"this program, seasons with any finding: {share(false, len(healthy))}")
    grave = sum(any(f[3] == "ground" for f in o.before) for o in healthy)
    print(f"at ground: {share(grave, len(healthy))}")
    for rate in (0.05, max(false / len(healthy), 1.0 / len(healthy))):
        print(f"\nbaselines set to {100 * rate:.1f} % of healthy seasons\n")
        print("| fault | method | found | after it counts: median, 90 % | place right |")
        print("|---|---|---|---|---|")
        for kind in LIGHT_KINDS:
            rows = [o for o in outcomes if o.kind == kind.value and o.counts and o.counts <= 20]
            if not rows:
                continue
            found = [(o.found, o.first_place_right) for o in rows]
            print(_compared(kind.value, "this program", rows, found))
            if kind is FaultKind.SERVO_SILENT:
                continue  # the baselines watch for a rise
            for name, rival in RIVALS.items():
                limit = threshold(healthy, rival, rate)
                print(_compared("", name, rows, [found_by(o, rival, limit) for o in rows]))


def _compared(
    kind: str, name: str, rows: Sequence[Outcome], found: Sequence[tuple[int | None, bool | None]]
) -> str:
    delays = [_delay(k, o.counts) for (k, _), o in zip(found, rows, strict=True)]
    hits = [right for k, right in found if k is not None]
    return (
        f"| {kind} | {name} | {share(len(hits), len(rows))} "
        f"| {_quantile(delays, 0.5)}, {_quantile(delays, 0.9)} "
        f"| {share(sum(bool(h) for h in hits), len(hits))} |"
    )


def _at_least(level: str, wanted: str) -> bool:
    order = ("clear", "unknown", "watch", "ground")
    return order.index(level) >= order.index(wanted)


def _delay(found: int | None, since: int | None) -> float:
    return np.inf if found is None or since is None else float(found - since)


def _quantile(delays: Sequence[float], q: float) -> str:
    """A quantile of delays; a miss is never."""
    value = float(np.quantile(delays, q, method="inverted_cdf"))
    return "never" if np.isinf(value) else f"{value:.0f}"


def share(hits: int, of: int) -> str:
    """A share with its Wilson interval, %."""
    if of == 0:
        return "-"
    low, high = proportion_confint(hits, of, method="wilson")
    return f"{100 * hits / of:.0f} % ({100 * low:.0f} to {100 * high:.0f})"


if __name__ == "__main__":
    main()
