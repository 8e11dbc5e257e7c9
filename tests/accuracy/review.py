"""How often single healthy flights are accused, and how often faults of one flight are found.

    python tests/accuracy/review.py [--healthy 80] [--faults 24] [--kinds pack-out,...]
                                    [--seed 810000] [--workers 2] [--save FILE]

Flights of random aircraft, sensors, dialects, pilots and weather, each the whole way: simulated,
written as CSV, read, reviewed without a profile. A healthy aircraft flies two flights; a faulty
one flies one, with its fault as far gone as after a season. Faults that leave no trace in that
recording (a contact that never opened) are drawn again. Intervals are Wilson's, 95 %.

What the simulator knows to be so is no false accusation: a lowest voltage that truly was that low,
a pack that truly began with less. Everything else that a healthy flight is told at watch or above
is one.

With ``--save`` outcomes are added to a file, one JSON line each, and are not run again.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import warnings
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np
from statsmodels.stats.proportion import proportion_confint

sys.path.insert(0, str(Path(__file__).parents[2]))  # works from the sources as well as installed

from telemetry.app.pipeline import review
from telemetry.importer import read_log
from telemetry.model.log import Log
from telemetry.results import Finding, Level
from telemetry.simulate import Fault, FaultKind, SimulatedRecording, fly, write_csv
from telemetry.simulate.recording import Truth
from tests.simulated.cases import random_season

HEALTHY_FLIGHTS = 2
# The finding that tells of a fault in a single flight.
CODES = {
    FaultKind.PACK_OUT: ("pack-out",),
    FaultKind.PACK_LOW: ("pack-low",),
    FaultKind.PACK_LEAD: ("source-resistance-high",),
    FaultKind.SWITCH_STEP: ("switch-step",),
    FaultKind.REGULATOR_LIMIT: ("regulator-droop",),
    FaultKind.REGULATOR_HOT: ("regulator-droop",),
    FaultKind.CONNECTOR: ("branch-resistance-high", "lead-undersized"),
    FaultKind.CONTACT: ("sag-unexplained",),
    FaultKind.BROWNOUT: ("brownout", "restart"),
    FaultKind.SENSOR_OFFSET: ("sensor-offset",),
}
# Troubles of the telemetry and the weather that accuse nobody.
HARMLESS = (FaultKind.LINK_LOSS, FaultKind.SPURIOUS, FaultKind.PACK_COLD)
# A stated lowest voltage may differ from the true one by what a sensor is off; a pack is low that
# began with this much of its charge less than the other.
_SENSOR_V = 0.1
_LOW = 0.08


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What one flight was told.

    Attributes
    ----------
    kind : str
        Of the fault; "" for a healthy flight.
    seed, flight : int
    place : str
        Where the fault was.
    verdict : str
    told : list
        Findings at watch or above, and those of the fault's own code at any level: code, place,
        level, and whether the simulator knows it to be so.
    """

    kind: str
    seed: int
    flight: int
    place: str
    verdict: str
    told: list[tuple[str, str, str, bool]]


def flown(
    kind: FaultKind | None, seed: int, dt_s: float = 0.02
) -> Iterator[tuple[SimulatedRecording, Log]]:
    """The recordings of one aircraft with their logs as read back from CSV."""
    rng = np.random.default_rng([seed, 0 if kind is None else 1 + list(FaultKind).index(kind)])
    while True:
        flights = HEALTHY_FLIGHTS if kind is None else 1
        season = random_season(rng, kind, flights=flights, dt_s=dt_s)
        season = replace(season, faults=tuple(_full_grown(f) for f in season.faults))
        recordings = list(fly(season))
        if kind is None or _left_a_trace(kind, recordings[0]):
            break
    with warnings.catch_warnings(), tempfile.TemporaryDirectory() as folder:
        warnings.simplefilter("ignore")  # of libraries, on odd columns: not what is measured here
        for k, recording in enumerate(recordings, 1):
            path = Path(folder) / f"flight {k}.csv"
            write_csv(path, recording, dialect=season.dialect)
            yield recording, read_log(path)


def _full_grown(fault: Fault) -> Fault:
    """The fault as it is after a season: fourteen flights on, where it grows."""
    return replace(fault, onset=1, start=fault.start + 14 * fault.growth, growth=0.0, cured=None)


def _left_a_trace(kind: FaultKind, recording: SimulatedRecording) -> bool:
    truth = recording.truth
    return {
        FaultKind.CONTACT: bool(truth.contacts),
        FaultKind.BROWNOUT: bool(truth.outages),
        FaultKind.LINK_LOSS: bool(truth.losses),
        FaultKind.SPURIOUS: bool(truth.wrong),
    }.get(kind, True)


def run(kind: FaultKind | None, seed: int) -> list[Outcome]:
    """Fly, write, read and review the flights of one aircraft."""
    return [outcome(kind, seed, k, r, log) for k, (r, log) in enumerate(flown(kind, seed), 1)]


def outcome(
    kind: FaultKind | None, seed: int, flight: int, recording: SimulatedRecording, log: Log
) -> Outcome:
    """Review one log and hold the findings against the truth."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = review(log)
    own = () if kind is None else CODES.get(kind, ())
    faults = recording.truth.faults
    return Outcome(
        kind="" if kind is None else kind.value,
        seed=seed,
        flight=flight,
        place=faults[0].place if faults else "",
        verdict=str(found.verdict),
        told=[
            (f.code, f.place or "", str(f.level), _is_so(f, recording.truth))
            for f in found.findings
            if f.level >= Level.WATCH or f.code in own
        ],
    )


def _is_so(f: Finding, truth: Truth) -> bool:
    """Whether the simulator knows a measure to be right."""
    place, evidence = f.place or "", f.evidence
    lowest_v = truth.lowest_v.get(place, np.inf)
    if f.code == "undervoltage":
        return lowest_v <= _number(evidence["level_v"])
    if f.code == "margin-low" and "lowest_v" in evidence:
        return lowest_v <= _number(evidence["lowest_v"]) + _SENSOR_V
    if f.code == "pack-low" and place in truth.charge_start:
        return truth.charge_start[place] < max(truth.charge_start.values()) - _LOW
    return False


def _number(value: float | int | str | None) -> float:
    return float(value) if isinstance(value, int | float) else np.nan


def main() -> None:
    """Run what is asked for and print the tables."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--healthy", type=int, default=80, help="aircraft of two flights each")
    parser.add_argument("--faults", type=int, default=24, help="flights of each kind of fault")
    parser.add_argument("--kinds", default=",".join(k.value for k in (*CODES, *HARMLESS)))
    parser.add_argument("--seed", type=int, default=810000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--save", type=Path)
    options = parser.parse_args()
    kinds = [FaultKind(k) for k in options.kinds.split(",") if k]
    wanted: list[tuple[FaultKind | None, int]] = [
        (None, options.seed + n) for n in range(options.healthy)
    ]
    wanted += [(kind, options.seed + n) for kind in kinds for n in range(options.faults)]
    print_tables(collect(wanted, options.workers, options.save))


def collect(
    wanted: Sequence[tuple[FaultKind | None, int]], workers: int, save: Path | None
) -> list[Outcome]:
    """Outcomes of all flights asked for, those of an earlier run from the file."""
    kept: dict[tuple[str, int], list[Outcome]] = {}
    if save is not None and save.exists():
        for line in save.read_text(encoding="utf-8").splitlines():
            o = Outcome(**json.loads(line))
            kept.setdefault((o.kind, o.seed), []).append(o)
    todo = [w for w in wanted if _key(*w) not in kept]
    with ProcessPoolExecutor(workers) as pool:
        jobs = {pool.submit(run, *w): w for w in todo}
        for done, job in enumerate(as_completed(jobs), 1):
            kept[_key(*jobs[job])] = job.result()
            if save is not None:
                with save.open("a", encoding="utf-8") as file:
                    file.writelines(json.dumps(asdict(o)) + "\n" for o in job.result())
            print(f"\r{done} of {len(todo)} aircraft", end="", file=sys.stderr, flush=True)
    return [o for w in wanted for o in kept[_key(*w)]]


def _key(kind: FaultKind | None, seed: int) -> tuple[str, int]:
    return "" if kind is None else kind.value, seed


def print_tables(outcomes: Sequence[Outcome]) -> None:
    """The tables of RESULTS.md."""
    print(
        "\n| flights | n | accused wrongly, watch or ground | at ground | verdict clear, unknown "
        "| wrong codes |\n|---|---|---|---|---|---|"
    )
    for kind in ("", *HARMLESS):
        rows = [o for o in outcomes if o.kind == str(kind)]
        if rows:
            print(_accused(str(kind) or "healthy", rows))
    print(
        "\n| fault, full grown | n | told | place right, of these | watch, ground "
        "| another place accused |\n|---|---|---|---|---|---|"
    )
    for kind, codes in CODES.items():
        rows = [o for o in outcomes if o.kind == kind.value]
        if rows:
            print(_found(kind.value, rows, codes))


def wrong(o: Outcome) -> list[tuple[str, str, str, bool]]:
    """What a flight was told at watch or above and is not so."""
    return [t for t in o.told if t[2] in ("watch", "ground") and not t[3]]


def _accused(name: str, rows: Sequence[Outcome]) -> str:
    false = [wrong(o) for o in rows]
    codes: dict[str, int] = {}
    for code in (c for told in false for c in {t[0] for t in told}):
        codes[code] = codes.get(code, 0) + 1
    return " | ".join(
        [
            f"| {name}",
            str(len(rows)),
            share(sum(bool(told) for told in false), len(rows)),
            share(sum(any(t[2] == "ground" for t in told) for told in false), len(rows)),
            ", ".join(str(sum(o.verdict == v for o in rows)) for v in ("clear", "unknown")),
            (", ".join(f"{c} {n}" for c, n in sorted(codes.items())) or "none") + " |",
        ]
    )


def _found(name: str, rows: Sequence[Outcome], codes: tuple[str, ...]) -> str:
    told = [[t for t in o.told if t[0] in codes] for o in rows]
    right = [
        [t for t in own if o.place in (t[1], "bus")] for o, own in zip(rows, told, strict=True)
    ]
    levels = [{t[2] for t in own} for own in right]
    elsewhere = [any(o.place not in (t[1], "bus") for t in wrong(o)) for o in rows]
    n_told = sum(bool(own) for own in told)
    grave = sum("ground" in x for x in levels)
    return " | ".join(
        [
            f"| {name}",
            str(len(rows)),
            share(n_told, len(rows)),
            share(sum(bool(own) for own in right), n_told),
            f"{sum('watch' in x and 'ground' not in x for x in levels)}, {grave}",
            share(sum(elsewhere), len(rows)) + " |",
        ]
    )


def share(hits: int, of: int) -> str:
    """A share with its Wilson interval, %."""
    if of == 0:
        return "-"
    low, high = proportion_confint(hits, of, method="wilson")
    return f"{100 * hits / of:.1f} % ({100 * low:.1f} to {100 * high:.1f})"


if __name__ == "__main__":
    main()
